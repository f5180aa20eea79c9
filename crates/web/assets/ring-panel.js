// Ring: what is typed and answered beside the photograph: labels of the scale, where it stands, to which run it belongs.
import { send, say, refusal } from "./page.js";

/** A typed number with point or comma; none where it is no number. */
function number(field) {
  const value = Number(field.value.trim().replace(",", ".").replace("\u2212", "-"));
  const is = field.value.trim() !== "" && Number.isFinite(value);
  if (is) field.removeAttribute("aria-invalid"); else field.setAttribute("aria-invalid", "true");
  return is ? value : null;
}

const FACTOR = { mm: 1, cm: 10 };
const tidy = (mm) => Math.round(mm * 1000) / 1000;

export class Panel {
  constructor(ring, steps, acts) {
    Object.assign(this, { ring, steps, acts });
    const by = (id) => document.getElementById(id);
    this.parts = { beam: by("panel-beam"), scale: by("panel-scale"), place: by("panel-place"), move: by("panel-match") };
    this.fields = by("labels");
    this.unit = by("label-unit");
    this.said = by("panel-said");
    this.shown = "";
    this.unit.addEventListener("change", () => { this.shown = ""; this.tell(); });
    for (const radio of document.querySelectorAll("input[name=known]")) {
      radio.checked = radio.value === ring.known;
      radio.addEventListener("change", () => { ring.known = radio.value; this.shown = ""; this.steps.go("scale"); });
    }
    this.parts.scale.addEventListener("submit", (event) => { event.preventDefault(); this.typed(); });
    this.parts.place?.addEventListener("submit", (event) => { event.preventDefault(); this.stand(); });
    this.parts.place?.addEventListener("input", () => this.draw());
    this.parts.move?.addEventListener("submit", (event) => { event.preventDefault(); this.match(); });
    if (this.parts.place) this.draw();
  }

  tell() {
    const { tool } = this.ring;
    const isAsked = this.steps.stands().beam === "ask";
    for (const [name, part] of Object.entries(this.parts)) {
      if (part) part.hidden = name !== tool || (name === "beam" && !isAsked);
    }
    this.said.textContent = "";
    if (tool === "scale") this.rows();
  }

  /** One field a label, or one for the diameter of bulb or coil; what is being typed stays. */
  rows() {
    const { ring } = this;
    const isRound = ring.known !== "scale";
    const marks = isRound ? ring.of(ring.known).slice(0, 1) : ring.of("scale");
    const isReady = ring.of(ring.known).length >= (isRound ? 3 : 1);
    const wanted = isReady ? `${ring.known} ${marks.length} ${this.unit.value}` : "";
    document.getElementById("label-save").hidden = !isReady;
    this.unit.closest("label").hidden = !isReady;
    if (wanted === this.shown) return;
    this.shown = wanted;
    const typed = [...this.fields.querySelectorAll("input")].map((field) => field.value);
    this.fields.textContent = "";
    if (!isReady) return;
    marks.forEach((mark, k) => {
      const label = document.createElement("label");
      const field = document.createElement("input");
      Object.assign(field, { size: 6, inputMode: "decimal", autocomplete: "off", enterKeyHint: k + 1 < marks.length ? "next" : "done" });
      field.value = mark.along_mm != null ? String(tidy(mark.along_mm / FACTOR[this.unit.value])) : typed[k] ?? "";
      field.addEventListener("keydown", (event) => this.next(event, field));
      if (ring.stated[mark.what]) field.placeholder = "as stated";
      label.append(isRound ? `Diameter of the ${ring.known === "bulb" ? "bulb" : "coil\u2019s rim"} ` : `Label ${k + 1} says `, field);
      this.fields.append(label);
    });
  }

  /** Enter goes to the next empty field and saves at the last. */
  next(event, field) {
    if (event.key === "Escape") document.getElementById("photo").focus();
    if (event.key !== "Enter") return;
    const all = [...this.fields.querySelectorAll("input")];
    const empty = all.slice(all.indexOf(field) + 1).find((other) => other.value.trim() === "");
    if (empty) { event.preventDefault(); empty.focus(); }
  }

  /** Once there are enough marks the hands go to the numbers. */
  ask() {
    this.tell();
    const { ring } = this;
    if (ring.of(ring.known).length < (ring.known === "scale" ? 2 : 3)) return;
    const empty = [...this.fields.querySelectorAll("input")].find((field) => field.value === "");
    empty?.focus({ preventScroll: false });
  }

  typed() {
    const { ring, acts } = this;
    const fields = [...this.fields.querySelectorAll("input")];
    const values = fields.map(number);
    const first = values.indexOf(null);
    if (first >= 0 && fields[first].value.trim() === "" && ring.stated[ring.known]) { fields[first].removeAttribute("aria-invalid"); return; }
    if (first >= 0) { say(this.said, "A number is missing.", "fault"); fields[first].focus(); return; }
    if (ring.known === "scale" && values.length >= 2 && new Set(values).size < values.length) {
      say(this.said, "Two labels say the same: each must have a number of its own.", "fault");
      fields[1].focus();
      return;
    }
    const mm = values.map((value) => tidy(value * FACTOR[this.unit.value]));
    acts.lengths(() => ring.of(ring.known).forEach((mark, k) => { mark.along_mm = ring.known === "scale" ? mm[k] : mm[0]; }));
  }

  // where the scale stands

  /** The drawing follows what is typed: the scale before or behind the ring, as far as its frame allows. */
  draw() {
    const form = this.parts.place;
    const sign = form.elements.side.value === "front" ? -1 : 1;
    const mm = Number(form.elements.mm.value.replace(",", ".")) || 0;
    const at = Math.max(-70, Math.min(70, sign * Math.max(12, Math.abs(mm) * 0.6)));
    document.getElementById("scale-bar").setAttribute("transform", `translate(${at} 0)`);
    document.getElementById("scale-gap").setAttribute("x2", String(170 + at));
  }

  async stand() {
    const { ring, acts } = this;
    const { side, mm, u, distance, distance_u } = this.parts.place.elements;
    const values = [mm, u].map(number);
    if (values.includes(null) || values[1] <= 0) {
      say(this.said, "Type the distance and how well you know it, in millimetres.", "fault");
      (values[0] === null ? mm : u).focus();
      return;
    }
    const sign = side.value === "front" ? "" : "-";
    if (distance && distance.value.trim() !== "") {
      const far = [distance, distance_u].map(number);
      if (far.includes(null)) { say(this.said, "Type the camera\u2019s distance and how well you know it, in millimetres.", "fault"); return; }
      if (!(await this.state("camera", "distance", ring.distance, `${far[0]} mm \u00b1 ${far[1]} mm`))) return;
    }
    if (await this.state("scale", "offset", ring.offset, `${sign}${Math.abs(values[0])} mm \u00b1 ${values[1]} mm`)) acts.measure();
  }

  /** Saves one number of the bench file, as the Bench station does. */
  async state(table, key, seen, typed) {
    const answer = await send("/bench/set", { table, key, seen: seen ?? "", typed });
    if (answer.ok) { this.ring[key] = answer.more.value; return true; }
    const words = answer.conflict ? `The bench file was changed meanwhile: it now says ${answer.conflict.now}. Load the page again.` : `Not saved: ${refusal(answer)}`;
    say(this.said, words, "fault");
    return false;
  }

  async match() {
    const { ring } = this;
    const { run, scale } = this.parts.move.elements;
    const wish = { photo: ring.photo, shows: "ring", run: run.value, scale: scale.value };
    const answer = await send("/photos/match", wish);
    if (answer.ok) location.reload(); else say(this.said, `Not saved: ${refusal(answer)}`, "fault");
  }
}
