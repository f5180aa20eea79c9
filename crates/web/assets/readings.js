// Readings: typed in the dark, saved row by row; Enter goes on.
import { send, say, refusal, refresh, ask, isReplacing } from "./page.js";

const form = document.getElementById("next-reading");
const said = document.getElementById("next-said");
const undoButton = document.getElementById("undo");
const peek = document.getElementById("peek");

/** The button says what it takes back; the server remembers, so that it survives a reload. */
function tellUndo() {
  const words = document.getElementById("undo-next")?.dataset.undo ?? "";
  undoButton.disabled = words === "";
  document.getElementById("undo-words").textContent = words;
}
document.addEventListener("shown", tellUndo);
tellUndo();

form.addEventListener("submit", (event) => { event.preventDefault(); add(); });

async function add(keep = false) {
  const cells = [...new FormData(form)].filter(([, typed]) => typed.trim() !== "");
  const run = form.elements.run.value;
  const answer = await send("/readings/add", { cells, keep });
  if (answer.ask) { ask(said, answer.ask, () => add(true), () => form.elements.voltage_V.select()); return; }
  if (!answer.ok) {
    say(said, `Not saved: ${refusal(answer)}`, "fault");
    const column = answer.faults?.[0]?.found.match(/`([a-zA-Z_]+)`$/)?.[1];
    (form.elements[column] ?? form.elements.voltage_V).focus();
    return;
  }
  say(said, `Run ${run} is saved.`, "good");
  for (const name of ["voltage_V", "current_A", "diameter_mm", "diameter_u_mm", "remark"]) form.elements[name].value = "";
  form.elements.run.value = answer.more.next_run;
  form.elements.voltage_V.focus();
  await refresh();
  if (peek.checked) check(run);
}

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
  if (last) {
    form.elements.run.value = last.dataset.run;
    for (const name of ["voltage_V", "current_A", "field_sense"]) form.elements[name].value = last.querySelector(`[name=${name}]`)?.value ?? "";
    for (const name of ["gun_tilt_deg", "bench_turned_deg"]) form.elements[name].value = last.querySelector(`[name=${name}]`)?.value ?? "";
  }
  form.elements.voltage_V.focus();
  form.elements.voltage_V.select();
});

undoButton.addEventListener("click", async () => {
  const answer = await send("/readings/undo", {});
  const words = answer.more?.words;
  if (!answer.ok) say(said, `Not taken back: ${refusal(answer)}`, "fault");
  else say(said, words ? `Taken back: ${words}.` : "Nothing to take back.", words ? "good" : "");
  if (answer.ok) form.elements.run.value = answer.more.next_run;
  await refresh();
});

/** Saves one cell of the table. */
async function save(field, keep = false) {
  const row = field.closest("tr[data-line]");
  if (!row || field.value === field.dataset.seen) return;
  const typed = field.value;
  const answer = await set(row, field.name, typed, keep);
  const line = row.nextElementSibling.querySelector(".said");
  if (answer.ok) {
    await refresh();
  } else if (answer.ask) {
    ask(line, answer.ask, () => save(field, true), () => { field.focus(); field.select(); });
  } else if (answer.conflict) {
    conflict(line, answer.conflict.now, typed);
  } else {
    field.setAttribute("aria-invalid", "true");
    say(line, `Not saved: ${refusal(answer)}`, "fault");
  }
}

function set(row, column, typed, keep = false) {
  return send("/readings/set", { line: Number(row.dataset.line), raw: row.dataset.raw, cells: [[column, typed]], keep });
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
work.addEventListener("focusout", (event) => { if (!isReplacing && event.target.matches("table.readings input")) save(event.target); });
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
  if (button.dataset.act === "delete") {
    const answer = await send("/readings/remove", { line: Number(row.dataset.line), raw: row.dataset.raw });
    if (answer.ok) {
      say(said, `A reading of run ${row.dataset.run} was deleted; Undo brings it back.`, "good");
      form.elements.run.value = answer.more.next_run;
    } else say(said, `Not deleted: ${refusal(answer)}`, "fault");
    await refresh();
  }
  if (button.dataset.act === "strike") {
    if (row.classList.contains("struck")) {
      await set(row, "struck_because", "");
      await refresh();
    } else {
      const line = row.nextElementSibling.querySelector(".said");
      line.textContent = "";
      const reason = document.createElement("input");
      reason.setAttribute("aria-label", "Why this run does not count");
      reason.placeholder = "why it does not count, then Enter";
      reason.addEventListener("keydown", async (event) => {
        if (event.key === "Escape") { line.textContent = ""; refresh(); }
        if (event.key !== "Enter") return;
        event.preventDefault();
        if (!reason.value.trim()) { reason.placeholder = "type why first: it stays in the table"; return; }
        const answer = await set(row, "struck_because", reason.value.trim());
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
  const [names, refused, renamed] = [[], [], []];
  for (const file of files) {
    say(photoSaid(), `Saving ${file.name} (${names.length + refused.length + 1} of ${files.length}) \u2026`);
    const answer = await send(`/photos/new?name=${encodeURIComponent(file.name)}`, file, "PUT");
    if (!answer.ok) { refused.push(refusal(answer)); continue; }
    names.push(answer.more.name);
    if (answer.more.name !== file.name) renamed.push(answer.more.name);
  }
  await refresh();
  const words = [names.length ? `${names.length} saved.` : "", renamed.length ? `Names were taken or could not stand, so these are called ${renamed.join(", ")}.` : "", ...refused];
  say(photoSaid(), words.filter(Boolean).join(" "), refused.length ? "fault" : "good");
  const asked = document.querySelector("[data-accept]");
  asked?.scrollIntoView({ block: "nearest" });
  if (names.length === 1 && !refused.length && isOneOfItsOwn(names[0], asked)) location.href = `/ring?name=${encodeURIComponent(names[0])}`;
}

/** Whether one picture with its own scale came in: it is measured at once, and matched to its run there. */
function isOneOfItsOwn(name, asked) {
  if (!asked) return !document.querySelector("tr[data-run]");
  const pairs = JSON.parse(asked.dataset.accept);
  return pairs.length === 1 && pairs[0].ring === name && pairs[0].scale === name;
}

/** One change of the photographs; its words stand beside the photograph, or where photographs come in. */
async function photos(address, body, line = photoSaid()) {
  const answer = await send(address, body);
  if (answer.ok) await refresh(); else say(line, `Not saved: ${refusal(answer)}`, "fault");
  return answer;
}

function askName(button) {
  const line = button.closest("li").querySelector(".said");
  const field = document.createElement("input");
  field.setAttribute("aria-label", `New name of ${button.dataset.rename}`);
  field.value = button.dataset.rename;
  field.addEventListener("keydown", async (event) => {
    if (event.key === "Escape") { line.textContent = ""; button.focus(); }
    if (event.key !== "Enter" || !field.value.trim()) return;
    const to = field.value.trim();
    line.textContent = "";
    await photos("/photos/rename", { photo: button.dataset.rename, to }, line);
  });
  line.textContent = "";
  line.append(field);
  field.focus();
  field.setSelectionRange(0, field.value.lastIndexOf("."));
}

work.addEventListener("change", async (event) => {
  if (event.target.id === "photo-files") upload([...event.target.files]);
  if (event.target.matches("select[data-photo]") && event.target.value) {
    const [shows, ...rest] = event.target.value.split(":");
    const field = event.target;
    field.blur();
    await photos("/photos/match", { photo: field.dataset.photo, shows, run: rest.join(":") });
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
  const button = event.target.closest("button");
  if (!button) return;
  const { accept, rename, remove, restore } = button.dataset;
  if (accept) await accepted(JSON.parse(accept));
  if (rename) askName(button);
  if (remove) { await photos("/photos/remove", { name: remove }); say(photoSaid(), `${remove} was removed; Undo brings it back.`, "good"); }
  if (restore) await photos("/photos/restore", { name: restore });
  if ("phone" in button.dataset) document.getElementById("phone").innerHTML = await (await fetch("/phone")).text();
});

/** All that was proposed is matched; a ring alone is looked at right away. */
async function accepted(pairs) {
  const answer = await photos("/photos/accept", { pairs });
  if (!answer.ok) return;
  const address = `/ring?name=${encodeURIComponent(pairs[0].ring)}`;
  if (pairs.length === 1) { location.href = address; return; }
  say(photoSaid(), `${pairs.length} rings matched. `, "good");
  const link = document.createElement("a");
  link.href = address;
  link.textContent = "Look at the first.";
  photoSaid().append(link);
}
