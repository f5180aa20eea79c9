// Readings: typed in the dark, saved row by row; Enter goes on.
import { send, say, refusal, refresh } from "./page.js";

const form = document.getElementById("next-reading");
const said = document.getElementById("next-said");
const undoButton = document.getElementById("undo");
const peek = document.getElementById("peek");
/** Changes of this page, the last one first to be taken back. */
const done = [];

function remember(change) {
  done.push(change);
  undoButton.disabled = false;
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const cells = [...new FormData(form)].filter(([, typed]) => typed.trim() !== "");
  const run = form.elements.run.value;
  const answer = await send("/readings/add", { cells });
  if (!answer.ok) {
    say(said, `Not saved: ${refusal(answer)}`, "fault");
    const column = answer.faults?.[0]?.found.match(/`([a-zA-Z_]+)`$/)?.[1];
    (form.elements[column] ?? form.elements.voltage_V).focus();
    return;
  }
  remember({ kind: "add", row: answer.more.row });
  say(said, `Run ${run} is saved.`, "good");
  for (const name of ["voltage_V", "current_A", "diameter_mm", "diameter_u_mm", "remark"]) form.elements[name].value = "";
  form.elements.run.value = answer.more.next_run;
  form.elements.voltage_V.focus();
  await refresh();
  if (peek.checked) check(run);
});

form.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("input, select")) return;
  const order = ["run", "voltage_V", "current_A"].map((name) => form.elements[name]);
  const at = order.indexOf(event.target);
  const next = at >= 0 ? order.slice(at + 1).find((field) => field.value.trim() === "") : null;
  if (next) {
    event.preventDefault();
    next.focus();
  }
});

document.getElementById("same-run").addEventListener("click", () => {
  const rows = document.querySelectorAll("tr[data-run]");
  const last = rows[rows.length - 1];
  if (last) form.elements.run.value = last.dataset.run;
  form.elements.voltage_V.focus();
});

undoButton.addEventListener("click", async () => {
  const change = done.pop();
  undoButton.disabled = done.length === 0;
  if (!change) return;
  const answer = change.kind === "add"
    ? await send("/readings/remove", change.row)
    : await send("/readings/set", { ...change.row, cells: change.cells });
  say(said, answer.ok ? "The last change is taken back." : `Not taken back: ${refusal(answer)}`, answer.ok ? "good" : "fault");
  if (answer.ok && answer.more.next_run) form.elements.run.value = answer.more.next_run;
  await refresh();
});

/** Saves one cell of the table. */
async function save(field) {
  const row = field.closest("tr[data-line]");
  if (!row || field.value === field.dataset.seen) return;
  const typed = field.value;
  const answer = await set(row, field.name, typed, field.dataset.seen);
  const line = row.nextElementSibling.querySelector(".said");
  if (answer.ok) {
    await refresh();
  } else if (answer.conflict) {
    conflict(line, answer.conflict.now, typed);
  } else {
    field.setAttribute("aria-invalid", "true");
    say(line, `Not saved: ${refusal(answer)}`, "fault");
  }
}

async function set(row, column, typed, before) {
  const answer = await send("/readings/set", { line: Number(row.dataset.line), raw: row.dataset.raw, cells: [[column, typed]] });
  if (answer.ok && answer.more.row) remember({ kind: "set", row: answer.more.row, cells: [[column, before]] });
  return answer;
}

function conflict(line, now, typed) {
  say(line, `Meanwhile this row was changed to ${now}; you typed \u201c${typed}\u201d. Nothing was written over. `, "fault");
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = "Show the file's row";
  button.addEventListener("click", () => { document.activeElement?.blur(); line.textContent = ""; refresh(); });
  line.append(button);
  button.focus();
}

const work = document.getElementById("work");
work.addEventListener("focusout", (event) => { if (event.target.matches("table.readings input")) save(event.target); });
work.addEventListener("keydown", (event) => {
  if (!event.target.matches("table.readings input")) return;
  if (event.key === "Escape") event.target.value = event.target.dataset.seen;
  if (event.key === "Enter") {
    event.preventDefault();
    const fields = [...work.querySelectorAll(`table.readings input[name="${event.target.name}"]`)];
    const next = fields[fields.indexOf(event.target) + 1];
    if (next) next.focus(); else event.target.blur();
  }
});

work.addEventListener("click", async (event) => {
  const button = event.target.closest("button[data-act]");
  if (!button) return;
  const row = button.closest("tr[data-line]");
  if (button.dataset.act === "check") check(row.dataset.run);
  if (button.dataset.act === "strike") {
    const field = row.querySelector("input[name=struck_because]");
    if (row.classList.contains("struck")) {
      await set(row, "struck_because", "", field.dataset.seen);
      await refresh();
    } else {
      const line = row.nextElementSibling.querySelector(".said");
      line.textContent = "";
      const reason = document.createElement("input");
      reason.setAttribute("aria-label", "Why this run does not count");
      reason.placeholder = "why it does not count, then Enter";
      reason.addEventListener("keydown", async (event) => {
        if (event.key === "Escape") { line.textContent = ""; refresh(); }
        if (event.key !== "Enter" || !reason.value.trim()) return;
        const answer = await set(row, "struck_because", reason.value.trim(), "");
        if (answer.ok) { line.textContent = ""; await refresh(); } else say(line, `Not saved: ${refusal(answer)}`, "fault");
      });
      line.append(reason);
      reason.focus();
    }
  }
});

/** What the model expects of a run whose reading is in. */
async function check(run) {
  const response = await fetch(`/readings/check?run=${encodeURIComponent(run)}`);
  const answer = await response.json();
  const rows = [...document.querySelectorAll("tr[data-run]")].filter((row) => row.dataset.run === run);
  const line = rows[rows.length - 1]?.nextElementSibling.querySelector(".said");
  if (line) say(line, response.ok ? answer.said.join(" ") : refusal(answer), response.ok ? "" : "fault");
}

// Photographs

const photoSaid = () => document.getElementById("photo-said");

async function upload(files) {
  let count = 0;
  const refused = [];
  for (const file of files) {
    say(photoSaid(), `Saving ${file.name} (${count + 1} of ${files.length}) \u2026`);
    const answer = await send(`/photos/new?name=${encodeURIComponent(file.name)}`, file, "PUT");
    if (answer.ok) count += 1; else refused.push(refusal(answer));
  }
  await refresh();
  const words = count ? `${count} saved. ` : "";
  say(photoSaid(), words + refused.join(" "), refused.length ? "fault" : "good");
}

work.addEventListener("change", async (event) => {
  if (event.target.id === "photo-files") upload([...event.target.files]);
  if (event.target.matches("select[data-photo]") && event.target.value) {
    const [shows, ...rest] = event.target.value.split(":");
    const answer = await send("/photos/match", { photo: event.target.dataset.photo, shows, run: rest.join(":") });
    if (!answer.ok) say(photoSaid(), `Not saved: ${refusal(answer)}`, "fault");
    event.target.blur();
    await refresh();
  }
});
work.addEventListener("dragover", (event) => { if (event.target.closest("#drop")) { event.preventDefault(); event.target.closest("#drop").classList.add("over"); } });
work.addEventListener("dragleave", (event) => event.target.closest?.("#drop")?.classList.remove("over"));
work.addEventListener("drop", (event) => {
  if (!event.target.closest("#drop")) return;
  event.preventDefault();
  upload([...event.dataTransfer.files]);
});
work.addEventListener("click", async (event) => {
  if (!event.target.matches("[data-phone]")) return;
  const box = document.getElementById("phone");
  box.innerHTML = await (await fetch("/phone")).text();
});
