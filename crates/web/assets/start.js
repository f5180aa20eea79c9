// Start: a new notebook, one of those there are, or the demo.
import { send, say, sentence, refusal } from "./page.js";

const said = document.getElementById("start-said");
const picker = document.getElementById("picker");
const form = document.getElementById("new-notebook");
const by = (id) => document.getElementById(id);
let wanted = "notebook";
let here = null;

async function go(address, body, line = said) {
  const answer = await send(address, body);
  if (answer.ok && answer.to) location.href = answer.to;
  else if (!answer.ok) say(line, refusal(answer), "fault");
  return answer;
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const { name, parent, here } = form.elements;
  go("/start/new", { name: name.value, parent: parent?.value ?? "", here: Boolean(here) });
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const { open, forget, pick, into } = button.dataset;
  if (open) go("/start/open", { folder: open });
  if (forget) { await send("/start/forget", { folder: forget }); button.closest("li").remove(); }
  if (pick) { wanted = pick; picker.hidden = false; await look(pick === "parent" ? form.elements.parent.value : ""); by("picker-heading").focus(); }
  if (into) look(into);
  if (button.id === "picker-up") look(here.up);
  if (button.id === "picker-close") close();
  if (button.id === "picker-take") take();
  if (button.id === "demo") demo(button);
});

function close() {
  picker.hidden = true;
  document.querySelector(`[data-pick=${wanted}]`)?.focus();
}

function take() {
  if (wanted === "notebook") { go("/start/open", { folder: here.at }, by("picker-said")); return; }
  form.elements.parent.value = here.at;
  by("new-parent").textContent = here.at;
  close();
}

/** The folders below one, each a button; a notebook opens at once. */
async function look(at) {
  const response = await fetch(`/start/folders?at=${encodeURIComponent(at)}`);
  const answer = await response.json();
  const line = by("picker-said");
  if (!response.ok) { say(line, refusal(answer), "fault"); return; }
  here = answer;
  line.textContent = answer.left_out ? `${answer.left_out} more are not shown.` : answer.folders.length ? "" : "No folder in here.";
  by("picker-heading").textContent = wanted === "parent" ? "Where new notebooks go" : "Look for a notebook";
  by("picker-at").textContent = answer.at;
  by("picker-up").disabled = !answer.up;
  const takes = by("picker-take");
  takes.hidden = wanted === "notebook" && !answer.is_notebook;
  takes.textContent = wanted === "parent" ? "Put it here" : "Open this one";
  by("picker-list").replaceChildren(...answer.folders.map(folder));
}

function folder({ name, path, is_notebook }) {
  const item = document.createElement("li");
  const button = document.createElement("button");
  button.type = "button";
  button.textContent = is_notebook ? `${name} \u2013 notebook` : name;
  button.dataset[is_notebook && wanted === "notebook" ? "open" : "into"] = path;
  item.append(button);
  return item;
}

async function demo(button) {
  button.disabled = true;
  const answer = await go("/start/demo", {});
  if (!answer.making) { button.disabled = false; return; }
  const box = by("demo-wait");
  box.hidden = false;
  const timer = setInterval(async () => {
    const stand = await (await fetch("/start/demo")).json();
    if (stand.runs) {
      const bar = box.querySelector("progress");
      if (stand.of) { bar.max = stand.of; bar.value = stand.done; }
      box.querySelector("p").textContent = stand.of ? `Drawing photographs \u2013 ${stand.of - stand.done} left` : "Drawing photographs \u2026";
      return;
    }
    clearInterval(timer);
    if (!stand.trouble) { location.href = "/mass"; return; }
    box.hidden = true;
    button.disabled = false;
    say(said, `${sentence(stand.trouble.sentence)} ${sentence(stand.trouble.remedy)}`, "fault");
  }, 400);
}
