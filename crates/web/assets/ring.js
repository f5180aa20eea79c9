// Ring: three clicks on the beam, two on the scale; what they come to is measured by the server and drawn here.
import { send, say, refusal } from "./page.js";
import { Stage } from "./ring-stage.js";
import { hands } from "./ring-hands.js";
import { state } from "./ring-marks.js";
import { Panel } from "./ring-panel.js";
import { Result } from "./ring-result.js";
import { Steps } from "./ring-steps.js";

const desk = document.getElementById("desk");
if (desk) begin();

function begin() {
  const said = document.getElementById("ring-said");
  const ring = state(desk.dataset);
  const stage = new Stage(ring);
  const steps = new Steps(ring, stage);
  const result = new Result(ring, steps);
  const past = [];
  let kept = structuredClone(ring.marks);

  // measuring: one question at a time, the last one counts

  let asking = null;
  let again = false;
  let wholeToo = false;
  async function measure(quick = false) {
    wholeToo ||= !quick;
    if (asking) {
      again = true;
      if (!quick) asking.abort();
      return;
    }
    const mine = new AbortController();
    asking = mine;
    const begun = performance.now();
    const whole = wholeToo;
    wholeToo = false;
    if (whole) desk.setAttribute("aria-busy", "true");
    const answer = await send("/ring/measure", { photo: ring.photo, marks: ring.marks, quick: !whole }, "POST", mine.signal);
    asking = null;
    document.documentElement.dataset.measured = (performance.now() - begun).toFixed(1);
    if (answer.ok) ring.seen = answer; else if (!mine.signal.aborted) say(said, refusal(answer), "fault");
    if (again) { again = false; stage.draw(); await measure(true); return; }
    desk.removeAttribute("aria-busy");
    ring.isFresh = true;
    show();
    strip();
  }

  function show() {
    result.tell();
    steps.tell();
    panel.tell();
    stage.draw();
  }

  // saving: one change after the other

  let saving = Promise.resolve();
  let unsaved = 0;
  function keep() {
    const wish = structuredClone(ring.marks);
    unsaved += 1;
    saving = saving.then(async () => {
      const answer = await send("/ring/keep", { photo: ring.photo, marks: wish, seen: kept });
      unsaved -= 1;
      if (answer.ok) {
        kept = wish;
        say(said, "Marks saved.", "good");
        strip();
      } else if (answer.conflict) {
        say(said, `The marks were changed meanwhile: the file now holds ${answer.conflict.now}, this page ${wish.length}. Load the page again to see the file's, or go on here to keep yours beside it unsaved.`, "fault");
      } else say(said, `Not saved: ${refusal(answer)}`, "fault");
    });
  }

  /** A change is complete: what says something is measured and saved, the rest waits. */
  function changed(before) {
    ring.sort();
    const isSaved = JSON.stringify(before.marks) !== JSON.stringify(ring.marks);
    past.push({ ...before, isSaved });
    say(said, "");
    if (isSaved) { ring.isFresh = false; measure(); keep(); }
    show();
  }

  async function undo() {
    const last = past.pop();
    if (last && !last.isSaved) { ring.restore(last); show(); return; }
    await saving;
    const answer = await send("/ring/undo", { photo: ring.photo });
    if (!answer.ok) { say(said, `Not taken back: ${refusal(answer)}`, "fault"); return; }
    if (!answer.more.words) { say(said, "Nothing to take back."); return; }
    kept = answer.more.marks;
    ring.restore({ marks: structuredClone(kept), loose: last?.loose ?? [] });
    say(said, "The last marks are taken back.", "good");
    measure();
  }

  /** The beam laid straight, once what is measured is what is saved. */
  function strip() {
    if (asking || unsaved) return;
    if (ring.seen?.entry) beam(); else document.getElementById("beam").closest("figure").hidden = true;
  }

  function beam() {
    const picture = document.getElementById("beam");
    const shown = (is) => { picture.closest("figure").hidden = !is; };
    picture.onload = () => shown(true);
    picture.onerror = () => shown(false);
    picture.src = `/ring/beam?name=${encodeURIComponent(ring.photo)}&kind=${document.documentElement.dataset.theme}&at=${Date.now()}`;
  }

  // what hands, keys and buttons do

  const acts = {
    add([x, y]) {
      const before = ring.snapshot();
      ring.add(ring.tool, [x, y]);
      changed(before);
      if (ring.tool === "scale") panel.ask();
    },
    moving() { if (ring.marks.includes(ring.all()[ring.chosen])) measure(true); stage.later(); },
    moved(before) { changed(before); },
    chose() { document.dispatchEvent(new Event("ring-told")); },
    remove() {
      if (ring.chosen < 0) { say(said, "Choose a mark first: click it, or press n."); return; }
      const before = ring.snapshot();
      ring.drop(ring.chosen);
      stage.hideGlass();
      changed(before);
    },
    overlay() {
      stage.shows = !stage.shows;
      document.querySelector("[data-overlay]").setAttribute("aria-pressed", String(stage.shows));
      stage.draw();
    },
    undo,
    /** Numbers typed for marks. */
    lengths(give) { const before = ring.snapshot(); give(); changed(before); },
    /** The line that was found is the beam: three marks on it. */
    yes() {
      const before = ring.snapshot();
      const points = ring.seen.points.filter((point) => point.accepted);
      const places = points.length >= 6 ? points.map((p) => [p.x_px, p.y_px]) : ring.seen.outline_px;
      if (places.length < 6) return;
      ring.clear("beam");
      for (const share of [1, 3, 5]) ring.add("beam", places[Math.floor((share * places.length) / 6)]);
      ring.chosen = -1;
      changed(before);
    },
    measure,
    said,
  };
  const panel = new Panel(ring, steps, acts);

  hands(ring, stage, acts);
  desk.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.dataset.zoom === "in") stage.zoom(1.4);
    if (button.dataset.zoom === "out") stage.zoom(1 / 1.4);
    if (button.dataset.zoom === "all") stage.whole();
    if ("undo" in button.dataset) undo();
    if ("delete" in button.dataset) acts.remove();
    if ("overlay" in button.dataset) acts.overlay();
    if ("yes" in button.dataset) acts.yes();
    if ("mine" in button.dataset) { ring.clear("beam"); steps.go("beam"); show(); }
  });
  for (const name of ["brightness", "contrast"]) {
    const slider = document.getElementById(`ring-${name}`);
    slider.addEventListener("input", () => { stage.lit({ ...stage.light, [name]: Number(slider.value) }); slider.setAttribute("aria-valuetext", `${slider.value} times`); });
  }

  roving(desk.querySelector("[role=toolbar]"), "button");
  roving(document.querySelector("nav.shots ul"), "a");
  stage.image.src = desk.dataset.src;
  document.addEventListener("look-changed", () => { stage.draw(); strip(); });
  document.addEventListener("ring-step", show);
  document.addEventListener("folder-changed", () => {
    say(said, "The notebook was changed elsewhere. Load the page again to see other marks of this photograph.");
    measure();
  });
  say(said, "Looking for the beam and the scale \u2026");
  // marks may be set while the program still looks
  if (ring.role !== "scale" && !ring.marks.length) { steps.begun = true; steps.go("beam"); }
  measure().then(() => { if (/^Looking/.test(said.textContent)) say(said, ""); if (!steps.begun) steps.begin(); show(); });
}

/** One tab stop for a row of links or buttons: arrow keys go along it. */
function roving(row, what) {
  row.addEventListener("keydown", (event) => {
    const by = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!by) return;
    const all = [...row.querySelectorAll(what)];
    const next = all[all.indexOf(document.activeElement) + by];
    if (!next) return;
    event.preventDefault();
    for (const one of all) one.tabIndex = one === next ? 0 : -1;
    next.focus();
  });
}
