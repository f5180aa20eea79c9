// Field: readings of probe and balance, saved row by row; the line follows.
import { send, say, refusal, refresh, isReplacing } from "./page.js";

const form = document.getElementById("next-field");
const said = document.getElementById("field-said");
const undo = document.getElementById("field-undo");
const work = document.getElementById("work");
const PROBE = "field-probe.csv";
const file = () => form.elements.file.value;

function tellUndo() {
  const words = document.getElementById("field-undo-next")?.dataset.undo ?? "";
  undo.disabled = words === "";
  document.getElementById("field-undo-words").textContent = words;
  // the unit is the table's once there is a row
  form.elements.unit.disabled = Boolean(document.querySelector(`table.field[data-file="${PROBE}"]`));
}
document.addEventListener("shown", tellUndo);
tellUndo();

form.addEventListener("change", (event) => {
  if (event.target.name === "file") for (const part of form.querySelectorAll("[data-of]")) part.hidden = part.dataset.of !== file();
  if (event.target.name === "off") {
    form.elements.current_A.value = event.target.checked ? "0" : "";
    form.elements.current_A.readOnly = event.target.checked;
    if (event.target.checked) form.elements.flux_density.focus();
  }
});

function cells() {
  const { elements } = form;
  const typed = (name, column = name) => [column, elements[name].value.trim()];
  if (file() !== PROBE) return [typed("current_A"), typed("wire_current_A"), typed("wire_length_mm"), typed("load_value", elements.load.value)];
  return [typed("current_A"), typed("flux_density", `flux_density_${elements.unit.value}`), typed("component"), ["probe_reversed", elements.reversed.checked ? "yes" : ""],
    typed("x_mm"), typed("y_mm"), typed("z_mm")];
}

async function add(body) {
  const answer = await send("/field/add", { file: file(), unit: form.elements.unit.value, ...body });
  if (!answer.ok) { say(said, `Not saved: ${refusal(answer)}`, "fault"); return false; }
  say(said, answer.more.rows === 1 ? "Saved." : `${answer.more.rows} rows saved.`, "good");
  await refresh();
  return true;
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const all = cells();
  const wanted = all.slice(0, file() === PROBE ? 2 : 4);
  const empty = wanted.findIndex(([, value]) => !value);
  if (empty >= 0) { say(said, "A reading needs a number in each of the large fields.", "fault"); return; }
  const isSaved = await add({ cells: all.filter(([, value]) => value !== "") });
  if (!isSaved) return;
  for (const name of ["flux_density", "load_value"]) form.elements[name].value = "";
  if (!form.elements.off.checked) form.elements.current_A.value = "";
  (form.elements.off.checked ? form.elements.flux_density : form.elements.current_A).focus();
});

form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("input:not([type=checkbox], [type=radio])")) return;
  const order = [...form.querySelectorAll("label.large:not([hidden]) input")];
  const next = order.slice(order.indexOf(event.target) + 1).find((field) => field.value.trim() === "");
  if (order.includes(event.target) && next) { event.preventDefault(); next.focus(); }
});

/** Several rows in the clipboard are rows of the table. */
form.addEventListener("paste", (event) => {
  const text = event.clipboardData?.getData("text") ?? "";
  if (event.target.matches("textarea") || !/[\n\t]/.test(text.trim())) return;
  event.preventDefault();
  add({ pasted: text });
});
document.getElementById("paste").addEventListener("click", async () => {
  if (await add({ pasted: form.elements.pasted.value })) form.elements.pasted.value = "";
});

undo.addEventListener("click", async () => {
  const answer = await send("/field/undo", {});
  if (answer.ok) say(said, answer.more.words ? `Taken back: ${answer.more.words}.` : "Nothing to take back.", "good");
  else say(said, `Not taken back: ${refusal(answer)}`, "fault");
  await refresh();
});

async function change(row, address, cells) {
  const body = { file: row.closest("table").dataset.file, line: Number(row.dataset.line), raw: row.dataset.raw, cells };
  const answer = await send(address, body);
  if (!answer.ok) say(said, `Not saved: ${refusal(answer)}`, "fault"); else said.textContent = "";
  await refresh();
}
work.addEventListener("focusout", (event) => {
  const field = event.target;
  if (!isReplacing && field.matches("table.field input") && field.value !== field.dataset.seen) change(field.closest("tr"), "/field/set", [[field.name, field.value]]);
});
work.addEventListener("keydown", (event) => {
  if (!event.target.matches("table.field input")) return;
  if (event.key === "Escape") event.target.value = event.target.dataset.seen;
  if (event.key === "Enter") { event.preventDefault(); event.target.blur(); }
});
work.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-remove-row]");
  if (button) change(button.closest("tr"), "/field/remove", []);
});
