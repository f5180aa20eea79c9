// Ring: the diameter and what stands beside it, in words.
import { fixed, sentence } from "./page.js";

export class Result {
  constructor(ring, steps) {
    Object.assign(this, { ring, steps });
    this.place = document.getElementById("diameter");
    this.more = document.getElementById("diameter-more");
    this.list = document.getElementById("ring-words");
  }

  tell() {
    const { seen } = this.ring;
    if (!seen) return;
    const q = seen.entry?.ring_diameter_mm;
    if (q) this.diameter(seen.entry); else this.scaleAlone();
    this.list.textContent = "";
    // where the scale stands is asked with its drawing, in fewer words
    const isAsked = this.steps.stands().place === "open" && seen.px_per_mm && seen.points.length;
    if (seen.trouble && !isAsked) this.add(`${sentence(seen.trouble.sentence)} ${sentence(this.remedy(seen))}`, "fault", this.link(seen));
    for (const caveat of seen.caveats) this.add(`${sentence(caveat.sentence)} ${sentence(caveat.remedy)}`, "quiet");
  }

  diameter(entry) {
    const { ring, plane } = this.ring.seen.told;
    const how = { "by-hand": "by hand", unsure: "not sure: enters no mass before you say yes" }[entry.status];
    this.place.textContent = `${ring} mm`;
    const parts = [how, `${fixed(entry.arc_seen_deg, 0)}\u00b0 of the ring seen`, `${fixed(this.ring.seen.px_per_mm, 2)} px/mm`];
    if (plane) parts.push(`in the scale\u2019s plane ${plane} mm`);
    this.more.textContent = parts.filter(Boolean).join(" \u00b7 ");
  }

  scaleAlone() {
    const { seen } = this.ring;
    this.place.textContent = seen.marks.length && this.ring.role === "scale" ? `${seen.marks.length} marks of the scale` : "\u2013";
    this.more.textContent = seen.px_per_mm ? `${fixed(seen.px_per_mm, 3)} px/mm` : "";
  }

  /** What to do, said of this photograph as it is matched. */
  remedy(seen) {
    const { ring } = this;
    if (seen.trouble.photo !== ring.photo) return "Mark two labels of the scale there";
    if (seen.px_per_mm) return ring.of("beam").length >= 3 ? seen.trouble.remedy : "mark three points on the beam";
    const marks = "mark two numbered labels of the scale";
    return ring.role === "free" ? `${marks}; if it is on another picture, match this one to a run and name its scale` : marks;
  }

  link(seen) {
    return seen.trouble.photo !== this.ring.photo ? seen.trouble.photo : null;
  }

  add(text, kind, photo = null) {
    const p = document.createElement("p");
    p.className = kind;
    p.textContent = text;
    if (photo) {
      const a = document.createElement("a");
      a.href = `/ring?name=${encodeURIComponent(photo)}`;
      a.textContent = `Open ${photo}`;
      p.append(" ", a, ".");
    }
    this.list.append(p);
  }
}
