// Ring: the marks of a photograph: which are complete and kept in the folder, which still wait.
import { circleThrough } from "./ring-stage.js";

/** Marks of a kind that together say something; fewer change nothing and are not saved. */
export const ENOUGH = { beam: 3, scale: 2, bulb: 3, coil: 3, "leave-out": 3 };
/** Kinds of marks on something of known size. */
const LENGTHS = ["scale", "bulb", "coil"];

/** Marks that say something and are kept in the folder, loose ones that wait for more, and what was seen with the first. */
export function state(data) {
  const hundredth = (value) => Math.round(value * 100) / 100;
  const marks = JSON.parse(data.marks || "[]");
  return {
    photo: data.photo, role: data.role, run: data.run, scale: data.scale,
    offset: data.offset, distance: data.distance, stated: { bulb: data.bulb, coil: data.coil },
    marks, loose: [], chosen: -1, seen: null, isFresh: false, fine: false, tool: "move",
    known: LENGTHS.find((what) => marks.some((mark) => mark.what === what)) ?? "scale",
    all() { return [...this.marks, ...this.loose]; },
    of(what) { return this.all().filter((mark) => mark.what === what); },
    /** How many marks the step still needs before they say something; none where nothing is marked. */
    needs() { const what = this.tool === "scale" ? this.known : this.tool; return Math.max(0, (ENOUGH[what] ?? 0) - this.of(what).length); },
    marking() { return this.tool !== "move" && this.tool !== "place"; },
    snapshot() { return structuredClone({ marks: this.marks, loose: this.loose }); },
    restore({ marks, loose }) { this.marks = structuredClone(marks); this.loose = structuredClone(loose); this.chosen = -1; },
    add(tool, [x, y]) {
      const what = tool === "scale" ? this.known : tool;
      const mark = { what, x_px: hundredth(x), y_px: hundredth(y), along_mm: null, across_mm: null };
      this.loose.push(mark);
      this.chosen = this.all().indexOf(mark);
    },
    move(k, [x, y]) { const mark = this.all()[k]; mark.x_px = hundredth(x); mark.y_px = hundredth(y); },
    drop(k) { const mark = this.all()[k]; this.marks = this.marks.filter((m) => m !== mark); this.loose = this.loose.filter((m) => m !== mark); this.chosen = -1; },
    clear(what) { this.marks = this.marks.filter((m) => m.what !== what); this.loose = this.loose.filter((m) => m.what !== what); this.chosen = -1; },
    /** Whether bulb or coil give the millimetres, whose place is known. */
    hasOutline() { return this.marks.some((m) => m.what === "bulb" || m.what === "coil") && !this.marks.some((m) => m.what === "scale"); },
    /** Puts each kind of mark where it belongs: kept once there are enough of it, each with its length. */
    sort() {
      const chosen = this.all()[this.chosen];
      const hasLength = (mark) => !LENGTHS.includes(mark.what) || mark.along_mm != null || this.stated[mark.what];
      const isReady = (mark) => hasLength(mark) && this.of(mark.what).filter(hasLength).length >= ENOUGH[mark.what];
      // one length at a time: what was completed last stands for the scale
      if (!this.marks.some((mark) => mark.what === this.known) && this.of(this.known).some(isReady)) {
        for (const other of LENGTHS.filter((what) => what !== this.known)) this.clear(other);
      }
      const [ready, loose] = [this.all().filter(isReady), this.all().filter((mark) => !isReady(mark))];
      this.marks = ready;
      this.loose = loose;
      this.chosen = chosen ? this.all().indexOf(chosen) : -1;
    },
    /** Circles through three marks, while no better line is there. */
    circles() {
      const isFollowed = this.seen?.points.length && this.marks.some((mark) => mark.what === "beam");
      const kinds = ["bulb", "coil", ...(isFollowed ? [] : ["beam"])];
      const three = kinds.map((what) => this.of(what)).filter((marks) => marks.length >= 3);
      return three.map((marks) => circleThrough(marks.slice(0, 3).map((m) => [m.x_px, m.y_px]))).filter(Boolean);
    },
    label(mark) {
      if (mark.what !== "scale") return "";
      return mark.along_mm != null ? `${mark.along_mm} mm` : `label ${this.of("scale").indexOf(mark) + 1}`;
    },
  };
}

