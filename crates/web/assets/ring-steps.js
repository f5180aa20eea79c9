// Ring: the steps from a photograph to a diameter, which of them is done, and what the current one asks for.
import { ENOUGH } from "./ring-marks.js";

/** What is shown for a mark in words. */
const NAMES = { beam: "mark", scale: "label", bulb: "point", coil: "point", "leave-out": "corner" };

const more = (count, what) => `${count} more ${NAMES[what]}${count === 1 ? "" : "s"} needed.`;

export class Steps {
  constructor(ring, stage) {
    this.ring = ring;
    this.stage = stage;
    this.asked = document.getElementById("ring-ask");
    this.was = {};
    this.begun = false;
    for (const input of document.querySelectorAll("input[name=tool]")) {
      input.addEventListener("change", () => this.go(input.value, false));
    }
  }

  /** How each step stands: done, open, or a question; undefined while nothing is known. What a person marked counts at once. */
  stands() {
    const { ring } = this;
    const { seen } = ring;
    const isElsewhere = ring.role === "scale" || ring.scale !== ring.photo || ring.hasOutline();
    const place = isElsewhere ? "none" : ring.offset ? "done" : "open";
    const beam = this.beamStands(seen);
    return { beam, scale: this.scaleStands(seen), place, move: seen?.entry && ["done", "none"].includes(beam) ? "done" : "open" };
  }

  beamStands(seen) {
    const { ring } = this;
    if (ring.role === "scale") return "none";
    if (ring.marks.some((mark) => mark.what === "beam")) return "done";
    if (!seen) return undefined;
    // a line without a scale was found, not judged
    const isUnsure = seen.entry ? seen.entry.status === "unsure" : seen.points.length > 0;
    return isUnsure ? "ask" : seen.points.length ? "done" : "open";
  }

  scaleStands(seen) {
    const { ring } = this;
    if (seen?.px_per_mm) return "done";
    const isMarked = ring.marks.some((mark) => ["scale", "bulb", "coil"].includes(mark.what));
    // marks that were looked at and gave no scale are no scale
    if (isMarked && !ring.isFresh) return "done";
    return seen ? "open" : undefined;
  }

  /** The first step that needs a person. */
  next() {
    const stands = this.stands();
    return ["beam", "scale", "place"].find((step) => !["done", "none"].includes(stands[step])) ?? "move";
  }

  begin() {
    this.begun = true;
    this.go(this.next());
  }

  go(tool, isTold = true) {
    const { ring, stage } = this;
    ring.tool = tool;
    ring.chosen = -1;
    const input = document.querySelector(`input[name=tool][value="${tool}"]`);
    if (isTold && input) input.checked = true;
    stage.canvas.classList.toggle("marking", ring.marking());
    stage.hideGlass();
    if (!ring.marking()) stage.cursor = null;
    document.dispatchEvent(new Event("ring-step"));
    document.dispatchEvent(new Event("ring-told"));
  }

  tell() {
    const stands = this.stands();
    for (const [step, how] of Object.entries(stands)) {
      const label = document.querySelector(`.steps [data-step="${step}"]`);
      if (!label) continue;
      label.hidden = how === "none";
      label.dataset.stands = how ?? "open";
      label.querySelector(".unseen").textContent = { done: ", done", ask: ", needs your answer", open: ", open" }[how] ?? "";
    }
    const current = this.ring.tool;
    const isWaiting = this.ring.loose.some((mark) => mark.what !== "leave-out");
    const finished = this.begun && !isWaiting && this.was[current] !== "done" && stands[current] === "done";
    this.was = stands;
    if (finished && ["beam", "scale", "place"].includes(current)) { this.go(this.next()); return; }
    this.asked.textContent = this.words(stands);
  }

  words(stands) {
    const { ring } = this;
    const { tool } = ring;
    const what = tool === "scale" ? ring.known : tool;
    const waiting = ring.loose.filter((mark) => mark.what === what).length;
    if (ring.marking() && waiting && waiting < ENOUGH[what]) return more(ENOUGH[what] - waiting, what);
    if (tool === "beam") return this.beam(stands.beam);
    if (tool === "scale") return this.scale(what, waiting, stands.scale);
    if (tool === "place") return "A scale can\u2019t stand in the ring itself. How far before or behind it was it?";
    if (tool === "leave-out") return "Mark the corners of an outline; light inside it is left out.";
    if (stands.beam === "open") return "No beam yet: begin with three marks on it.";
    if (stands.scale === "open") return "The ring is there; without a scale it has no millimetres.";
    if (stands.place === "open") return "One thing is missing: where the scale stands.";
    return "";
  }

  beam(how) {
    if (how === "ask") return "Is the line that is drawn the beam? Say yes, or mark three points on the beam.";
    if (this.ring.of("beam").length >= 3) return "Drag a mark to correct it; the dots show the line that is followed.";
    if (how === undefined) return "Looking for the beam. You can mark three points on it meanwhile.";
    return how === "done"
      ? "A line was found. If it is not the beam, mark three points on the beam, spread round the ring."
      : "Mark three points on the beam, spread round the ring.";
  }

  scale(what, waiting, how) {
    if (what === "bulb") return "Mark three points on the bulb\u2019s outline, spread round it.";
    if (what === "coil") return "Mark three points on the outer rim of the nearer coil, spread round it.";
    if (waiting >= 2) return "Type what the labels say.";
    if (this.ring.of("scale").length >= 2) return "Drag a label to correct it, or mark another one.";
    return how === "done" ? "A scale was read. If it was read wrongly, mark two of its labels, far apart." : "Mark two numbered labels of the scale, far apart.";
  }
}
