// What every station shares: looks, keys, changes sent to the server, and the folder watched for changes made elsewhere.

/** The folder's stamp that this page last knew. */
let stamp = document.documentElement.dataset.stamp;
/** Which notebook this page shows; none before one is open. */
const { notebook } = document.documentElement.dataset;
/** Changes sent by this page, and those not answered yet: what the folder looks like meanwhile may be our own doing. */
let sent = 0;
let unanswered = 0;

/** Sends a change; gives the answer's body with `ok` and `status`; `signal` gives it up. */
export async function send(address, body, method = "POST", signal = undefined) {
  sent += 1;
  unanswered += 1;
  try {
    const isBytes = body instanceof Blob;
    const response = await fetch(address, {
      method,
      signal,
      headers: { "content-type": isBytes ? "application/octet-stream" : "application/json", ...(notebook ? { "x-notebook": notebook } : {}) },
      body: isBytes ? body : JSON.stringify(body),
    });
    const text = await response.text();
    let answer = {};
    try { answer = JSON.parse(text); } catch { answer = { sentence: "The server refused this." }; }
    answer.ok = response.ok;
    answer.status = response.status;
    if (answer.stamp) stamp = answer.stamp;
    return answer;
  } catch {
    return { ok: false, status: 0, sentence: "The server does not answer: it may have been stopped. What you typed is not saved." };
  } finally {
    unanswered -= 1;
  }
}

/** A number as the server's own: hyphen-minus becomes a minus sign. */
export function fixed(value, digits) {
  return Number.isFinite(value) ? value.toFixed(digits).replace("-", "\u2212") : "\u2013";
}

/** Puts words into an element, as words. */
export function say(element, words, kind = "") {
  element.textContent = "";
  const span = document.createElement("span");
  span.className = kind;
  span.textContent = words;
  element.append(span);
}

/** Asks before something odd is kept: the words, a button that keeps it and one that goes back. */
export function ask(line, words, yes, no) {
  say(line, `${words} `, "caution");
  const button = (text, does) => {
    const one = document.createElement("button");
    one.type = "button";
    one.textContent = text;
    one.addEventListener("click", () => { line.textContent = ""; does(); });
    return one;
  };
  const keep = button("Keep it", yes);
  line.append(keep, " ", button("Change it", no));
  keep.focus();
}

/** A sentence of the library with a capital and a full stop. */
export function sentence(text) {
  const whole = text.charAt(0).toUpperCase() + text.slice(1);
  return !whole || /[.!?]$/.test(whole) ? whole : `${whole}.`;
}

/** Columns of the files as the page calls them. */
const CALLED = {
  voltage_V: "the voltage", current_A: "the current", field_sense: "the sense", gun_tilt_deg: "the gun tilt", bench_turned_deg: "how far the bench is turned",
  diameter_mm: "the diameter", diameter_u_mm: "the diameter\u2019s u", run: "the run", wire_current_A: "the wire\u2019s current", wire_length_mm: "the wire\u2019s length",
  force_mN: "the force", mass_mg: "the mass", component: "the component", x_mm: "x", y_mm: "y", z_mm: "z",
};
const called = (text) => text.replace(/`([A-Za-z_]+)`/g, (whole, name) => CALLED[name] ?? (name.startsWith("flux_density_") ? "the flux density" : whole)).replace(/`([^`]*)`/g, "\u201c$1\u201d");

/** The sentence of a refused change, in the words of the page. */
export function refusal(answer) {
  if (answer.faults && answer.faults.length) {
    const fault = answer.faults[0];
    return [fault.found, `may stand there: ${fault.accepted}`, fault.remedy].map(called).map(sentence).join(" ");
  }
  return `${sentence(answer.sentence ?? "not saved")} ${sentence(answer.remedy ?? "")}`;
}

/** Whether a part is being put in anew: a field that leaves with the old one was not left by the person. */
export let isReplacing = false;

/** Shows the parts of the page that follow the files anew; what is being typed stays. */
export async function refresh() {
  for (const part of document.querySelectorAll("[data-live]")) {
    const response = await fetch(part.dataset.live);
    if (!response.ok) continue;
    const html = await response.text();
    // a question put to the person stays until it is answered
    if (part.querySelector(".said :is(button, input)")) continue;
    const active = document.activeElement;
    const held = part.contains(active) && "value" in active ? hold(active) : null;
    const typed = [...part.querySelectorAll("input[id][data-seen]")].filter((field) => field !== active && field.value !== field.dataset.seen).map(hold);
    const open = [...part.querySelectorAll("details[open] > summary")].map((s) => s.textContent.slice(0, 12));
    isReplacing = true;
    part.innerHTML = html;
    isReplacing = false;
    for (const summary of part.querySelectorAll("details > summary")) {
      if (open.includes(summary.textContent.slice(0, 12))) summary.parentElement.open = true;
    }
    for (const field of typed) put(part, field);
    if (held) restore(part, held);
    part.dispatchEvent(new CustomEvent("shown", { bubbles: true }));
  }
}

function hold(field) {
  const row = field.closest("tr");
  return {
    id: field.id, name: field.name, line: row?.dataset.line, run: row?.dataset.run,
    value: field.value, seen: field.dataset.seen, dirty: field.dataset.seen !== undefined && field.value !== field.dataset.seen,
    start: field.selectionStart, end: field.selectionEnd,
    // what was said of it, such as why it is not saved
    said: [...(document.getElementById(`${field.id}-said`)?.childNodes ?? [])], invalid: field.getAttribute("aria-invalid"),
  };
}

/** Puts back what was typed and not saved; gives the field. */
function put(part, held) {
  let field = held.id ? document.getElementById(held.id) : null;
  if (!field && held.run !== undefined) {
    field = [...part.querySelectorAll(`[name="${held.name}"]`)].find((f) => f.closest("tr")?.dataset.line === held.line);
  }
  if (field && held.dirty) {
    // what was seen stays what it was, so that saving finds the conflict
    field.dataset.seen = held.seen;
    field.value = held.value;
    if (held.said.length) document.getElementById(`${held.id}-said`)?.replaceChildren(...held.said);
    if (held.invalid) field.setAttribute("aria-invalid", held.invalid);
  }
  return field;
}

function restore(part, held) {
  const field = put(part, held);
  if (!field) return;
  field.focus({ preventScroll: true });
  try { field.setSelectionRange(held.start, held.end); } catch { /* not a text field */ }
}

async function watch() {
  if (document.visibilityState !== "visible" || unanswered || !notebook) return;
  const before = sent;
  try {
    const answer = await (await fetch("/now")).json();
    if (sent !== before) return;
    const line = document.getElementById("outside");
    line.hidden = answer.notebook === notebook;
    if (!line.hidden) {
      line.textContent = "Another notebook is open now: nothing typed here is saved. Load this page again to see that one.";
      return;
    }
    if (answer.stamp && answer.stamp !== stamp) {
      stamp = answer.stamp;
      await refresh();
      document.dispatchEvent(new CustomEvent("folder-changed"));
      if (!document.querySelector("[data-live]")) {
        line.hidden = false;
        line.textContent = "The notebook was changed elsewhere. Load this page again to see it.";
      }
    }
  } catch {
    const line = document.getElementById("outside");
    line.hidden = false;
    line.textContent = "The server does not answer. What you type now is not saved.";
  }
}
setInterval(watch, 1500);
document.addEventListener("visibilitychange", watch);

/** Progress of long work, shown until it ends. */
async function wait() {
  const box = document.querySelector("[data-wait]");
  if (!box) return;
  const answer = await (await fetch(`/waits/stand?of=${box.dataset.wait}`)).json();
  if (answer.runs) {
    const bar = box.querySelector("progress");
    if (answer.of) { bar.max = answer.of; bar.value = answer.done; } else bar.removeAttribute("value");
    const left = answer.of ? ` \u2013 ${answer.of - answer.done} left` : "";
    box.querySelector("p").textContent = answer.what.charAt(0).toUpperCase() + answer.what.slice(1) + left;
  } else if (document.querySelector("[data-live]")) {
    await refresh();
  } else {
    location.reload();
  }
}
setInterval(wait, 400);

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.id === "look") nextLook();
  if ("stop" in button.dataset) { button.disabled = true; await send("/waits/stop", { of: button.dataset.stop }); }
  if ("print" in button.dataset) window.print();
  if ("again" in button.dataset) { button.disabled = true; await send("/waits/again", { of: button.dataset.again }); await refresh(); }
});

document.addEventListener("change", async (event) => {
  if (event.target.id !== "unit") return;
  document.cookie = `arcmass-unit=${event.target.value}; path=/; max-age=31536000; samesite=strict`;
  await refresh();
  document.dispatchEvent(new CustomEvent("unit-changed"));
});

// on a narrow screen the line of the day scrolls: the station one is at stands in its middle
const line = document.querySelector("nav.line");
const here = line?.querySelector("[aria-current]")?.closest("li");
if (here && line.scrollWidth > line.clientWidth) line.scrollLeft = here.offsetLeft - (line.clientWidth - here.offsetWidth) / 2;

const LOOKS = ["dark", "light", "dim"];
function nextLook() {
  const root = document.documentElement;
  const look = LOOKS[(LOOKS.indexOf(root.dataset.theme) + 1) % LOOKS.length];
  root.dataset.theme = look;
  document.cookie = `arcmass-look=${look}; path=/; max-age=31536000; samesite=strict`;
  // pictures and the report that carry their own colours follow at once
  for (const picture of document.querySelectorAll("img[data-figure]")) picture.src = picture.src.replace(/kind=\w+/, `kind=${look}`);
  for (const frame of document.querySelectorAll("iframe[data-follows]")) frame.src = `${frame.src.split("?")[0]}?look=${look}`;
  document.dispatchEvent(new CustomEvent("look-changed"));
}

document.addEventListener("keydown", (event) => {
  const typing = event.target.closest("input, select, textarea, [role=application]");
  if (typing || event.ctrlKey || event.metaKey || event.altKey) return;
  if (event.key === "d") nextLook();
  if (event.key === "," || event.key === ".") {
    const links = [...document.querySelectorAll("nav.line a")];
    const at = links.findIndex((link) => link.getAttribute("aria-current") === "page");
    const there = links[at + (event.key === "." ? 1 : -1)];
    if (there) location.href = there.href;
  }
});
