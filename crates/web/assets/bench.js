// Bench: each number is saved as its field is left, those that belong together at once; what is odd is asked about at its field.
import { send, say, refusal, refresh, ask, isReplacing } from "./page.js";

const saving = new WeakSet();
const work = document.getElementById("work");
const isChanged = (field) => field.value !== field.dataset.seen;
const saidOf = (field) => document.getElementById(`${field.id}-said`);

async function save(field, keep = false) {
  if (saving.has(field) || (!keep && !isChanged(field))) return;
  const group = field.closest(".together");
  const fields = group ? together(group, field) : field.id === "coils-shape" ? shaped(field) : [field];
  if (!fields) return;
  fields.forEach((one) => saving.add(one));
  const typed = fields.map((one) => one.value);
  const changes = fields.map((one) => ({ table: one.dataset.table, key: one.dataset.key, seen: one.dataset.seen, typed: one.dataset.becomes ?? one.value }));
  const answer = await send("/bench/set", { changes, keep });
  fields.forEach((one) => { saving.delete(one); delete one.dataset.becomes; });
  if (answer.ok) { await saved(field, fields, typed, answer.more.values); return; }
  // another change may have shown the page anew meanwhile: the field stands there under the same name
  const here = document.getElementById(field.id) ?? field;
  if (document.activeElement !== here) here.value = typed[fields.indexOf(field)];
  const line = saidOf(here);
  if (answer.ask) {
    ask(line, answer.ask, () => save(here, true), () => { here.focus(); here.select?.(); });
  } else if (answer.conflict) conflict(here, line, answer.conflict.now, here.value);
  else {
    here.setAttribute("aria-invalid", "true");
    say(line, `Not saved: ${refusal(answer)}`, "fault");
  }
}

async function saved(field, fields, typed, values) {
  fields.forEach((one, k) => {
    // the part may have been shown anew meanwhile: the field stands there under the same name
    const here = document.getElementById(one.id) ?? one;
    here.dataset.seen = values[k];
    if (here.value === typed[k]) here.value = values[k];
    here.removeAttribute("aria-invalid");
    const line = saidOf(here);
    if (line) line.textContent = "";
  });
  await refresh();
  const line = () => document.getElementById(`${field.id}-said`);
  const now = document.getElementById(field.id);
  // what was said of it meanwhile, or typed, goes before
  if (!now || line()?.textContent || isChanged(now)) return;
  now.classList.add("just-saved");
  say(line(), "Saved", "quiet");
  setTimeout(() => {
    if (line()?.textContent === "Saved") line().textContent = "";
    document.getElementById(field.id)?.classList.remove("just-saved");
  }, 2500);
}

/** The fields of a group once all that it needs are there, or all are empty; else what is still missing is said. */
function together(group, field) {
  const fields = [...group.querySelectorAll("[data-key]")];
  const needs = group.dataset.needs.split(" ").map((key) => fields.find((one) => one.dataset.key === key));
  const missing = needs.filter((one) => one.value.trim() === "");
  const line = group.querySelector("[data-together-said]");
  line.textContent = "";
  if (missing.length && fields.some((one) => one.value.trim() !== "")) {
    const names = missing.map((one) => group.querySelector(`label[for="${one.id}"]`).firstChild.textContent.trim().toLowerCase());
    const isTaken = fields.some((one) => one.dataset.seen !== "");
    say(line, isTaken ? `These stand together: empty the others too, or fill in ${names.join(", ")}.` : `Saved together once ${names.join(", ")} ${names.length === 1 ? "is" : "are"} in.`, "quiet");
    return null;
  }
  return [field, ...fields.filter((one) => one !== field && isChanged(one))];
}

/** Another shape: the radius becomes the half side, or the other way round. */
function shaped(field) {
  const [from, to] = field.value === "square" ? ["mean_radius", "mean_half_side"] : ["mean_half_side", "mean_radius"];
  const size = document.getElementById(`coils-${from}`);
  if (!size?.dataset.seen) return [field];
  const other = size.cloneNode();
  other.dataset.key = to;
  other.dataset.seen = "";
  other.value = size.dataset.seen;
  size.dataset.becomes = "";
  return [field, size, other];
}

/** Both values, and a button for each. */
function conflict(field, said, now, typed) {
  said.textContent = "";
  const words = document.createElement("span");
  words.className = "fault";
  words.textContent = `Meanwhile the file was changed to \u201c${now}\u201d; you typed \u201c${typed}\u201d. `;
  const keep = document.createElement("button");
  keep.type = "button";
  keep.textContent = "Keep the file's";
  keep.addEventListener("click", async () => { field.dataset.seen = now === "nothing" ? "" : now; field.value = field.dataset.seen; said.textContent = ""; await refresh(); });
  const mine = document.createElement("button");
  mine.type = "button";
  mine.textContent = "Save mine";
  mine.addEventListener("click", () => { field.dataset.seen = now === "nothing" ? "" : now; field.value = typed; said.textContent = ""; save(field); });
  said.append(words, keep, " ", mine);
  keep.focus();
}

/** The part of the drawing that a field measures lights up. */
function light(id) {
  for (const part of document.querySelectorAll(".bench-drawing .dim")) part.classList.toggle("on", Boolean(id) && part.dataset.for.split(" ").includes(id));
}

work.addEventListener("focusin", (event) => light(event.target.closest("[data-entry]")?.dataset.entry));
work.addEventListener("pointerover", (event) => {
  const entry = event.target.closest("[data-entry]") ?? document.activeElement?.closest?.("[data-entry]");
  light(entry?.dataset.entry);
});
work.addEventListener("focusout", (event) => { if (!isReplacing && event.target.matches("input[data-key]")) save(event.target); });
work.addEventListener("change", (event) => { if (event.target.matches("select[data-key]")) save(event.target); });
work.addEventListener("keydown", (event) => {
  if (!event.target.matches("input[data-key]")) return;
  if (event.key === "Escape") event.target.value = event.target.dataset.seen;
  if (event.key !== "Enter") return;
  event.preventDefault();
  const fields = [...work.querySelectorAll("[data-key]")].filter((field) => field.checkVisibility());
  const next = fields[fields.indexOf(event.target) + 1];
  if (next) next.focus(); else save(event.target);
});
work.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.id === "bench-undo") {
    const answer = await send("/bench/undo", {});
    await refresh();
    if (!answer.ok) say(document.getElementById("bench-name-said"), `Not taken back: ${refusal(answer)}`, "fault");
  }
  if (button.dataset.unknown) {
    const field = document.getElementById(button.dataset.for);
    if (button.dataset.default) { field.value = button.dataset.default; await save(field); }
    const fields = [...work.querySelectorAll(".essential input[data-key]")];
    const at = fields.findIndex((one) => one.id === button.dataset.for);
    say(document.getElementById(`${button.dataset.for}-said`), button.dataset.unknown, "quiet");
    fields[at + 1]?.focus();
  }
});
