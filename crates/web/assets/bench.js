// Bench: each number is saved as its field is left; a fault or a conflict stands beside the field.
import { send, say, refusal, refresh } from "./page.js";

const saving = new WeakSet();

async function save(field) {
  if (saving.has(field) || field.value === field.dataset.seen) return;
  saving.add(field);
  const typed = field.value;
  const { table, key, seen } = field.dataset;
  const answer = await send("/bench/set", { table, key, seen, typed });
  saving.delete(field);
  if (answer.ok) {
    field.dataset.seen = answer.more.value;
    if (field.value === typed) field.value = answer.more.value;
    field.removeAttribute("aria-invalid");
    await refresh();
    const now = document.getElementById(field.id);
    now?.classList.add("just-saved");
    const line = document.getElementById(`${field.id}-said`);
    if (line) say(line, "Saved", "quiet");
    setTimeout(() => { if (line?.textContent === "Saved") line.textContent = ""; now?.classList.remove("just-saved"); }, 2500);
    return;
  }
  // another change may have shown the page anew meanwhile: the field stands there under the same name
  const here = document.getElementById(field.id) ?? field;
  const said = document.getElementById(`${field.id}-said`);
  if (document.activeElement !== here) here.value = typed;
  if (answer.conflict) {
    conflict(here, said, answer.conflict.now, typed);
  } else {
    here.setAttribute("aria-invalid", "true");
    say(said, `Not saved: ${refusal(answer)}`, "fault");
  }
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

const work = document.getElementById("work");
work.addEventListener("focusout", (event) => { if (event.target.matches("input[data-key]")) save(event.target); });
work.addEventListener("change", (event) => { if (event.target.matches("select[data-key]")) save(event.target); });
work.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !event.target.matches("input[data-key]")) return;
  event.preventDefault();
  const fields = [...work.querySelectorAll("[data-key]")];
  const next = fields[fields.indexOf(event.target) + 1];
  if (next) next.focus(); else save(event.target);
});
work.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && event.target.matches("input[data-key]")) event.target.value = event.target.dataset.seen;
});
