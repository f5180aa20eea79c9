// Ring: the photograph under the marks, as large as wanted; the loupe. What was measured comes from the server, this draws it.

const COLOURS = { measured: "#E69F00", rejected: "#CC79A7", curve: "#FFF6D8", mine: "#56B4E9", out: "#F0E442", ground: "#0E1013" };
/** Whether fingers do the pointing: the chosen mark is drawn larger then. */
const coarse = window.matchMedia("(pointer: coarse)");

/** The circle through three points, or none where they lie on a line: centre and radius. */
export function circleThrough([[ax, ay], [bx, by], [cx, cy]]) {
  const d = 2 * (ax * (by - cy) + bx * (cy - ay) + cx * (ay - by));
  if (Math.abs(d) < 1e-6) return null;
  const [a, b, c] = [ax * ax + ay * ay, bx * bx + by * by, cx * cx + cy * cy];
  const x = (a * (by - cy) + b * (cy - ay) + c * (ay - by)) / d;
  const y = (a * (cx - bx) + b * (ax - cx) + c * (bx - ax)) / d;
  return { x, y, r: Math.hypot(ax - x, ay - y) };
}

export class Stage {
  constructor(ring) {
    this.ring = ring;
    this.canvas = document.getElementById("photo");
    this.picture = document.getElementById("picture");
    this.glass = document.getElementById("glass");
    this.scale = 1;
    this.x = 0;
    this.y = 0;
    this.width = 1;
    this.height = 1;
    this.isWhole = true;
    this.light = { brightness: 1, contrast: 1 };
    this.shows = true;
    this.cursor = null;
    this.image = new Image();
    this.image.addEventListener("load", () => {
      this.width = this.image.naturalWidth;
      this.height = this.image.naturalHeight;
      this.fit();
      this.whole();
    });
    window.addEventListener("resize", () => { this.fit(); if (this.isWhole) this.whole(); else this.draw(); });
  }

  /** As high as the picture is at this width, and no higher than the sheet allows. */
  fit() {
    if (this.image.naturalWidth) this.canvas.style.height = `${Math.round((this.canvas.clientWidth * this.height) / this.width)}px`;
  }

  // the centre of the top-left pixel is (0, 0)
  toScreen = ([x, y]) => [this.x + (x + 0.5) * this.scale, this.y + (y + 0.5) * this.scale];
  toPhoto = ([x, y]) => [(x - this.x) / this.scale - 0.5, (y - this.y) / this.scale - 0.5];

  whole() {
    const { clientWidth: w, clientHeight: h } = this.canvas;
    this.scale = Math.min(w / this.width, h / this.height);
    this.x = (w - this.width * this.scale) / 2;
    this.y = (h - this.height * this.scale) / 2;
    this.isWhole = true;
    this.draw();
  }

  zoom(by, about = [this.canvas.clientWidth / 2, this.canvas.clientHeight / 2]) {
    const scale = Math.max(0.05, Math.min(24, this.scale * by));
    const k = scale / this.scale;
    this.x = about[0] - k * (about[0] - this.x);
    this.y = about[1] - k * (about[1] - this.y);
    this.scale = scale;
    this.isWhole = false;
    this.later();
  }

  pan(dx, dy) {
    this.x += dx;
    this.y += dy;
    this.isWhole = false;
    this.later();
  }

  /** Brings a place of the photograph into view. */
  show(at) {
    const [x, y] = this.toScreen(at);
    const { clientWidth: w, clientHeight: h } = this.canvas;
    const over = (value, size) => (value < 24 ? 24 - value : value > size - 24 ? size - 24 - value : 0);
    const [dx, dy] = [over(x, w), over(y, h)];
    if (dx || dy) this.pan(dx, dy);
  }

  later() {
    if (this.asked) return;
    this.asked = true;
    requestAnimationFrame(() => { this.asked = false; this.draw(); });
  }

  draw() {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const { clientWidth: w, clientHeight: h } = this.canvas;
    const view = [this.x, this.y, this.scale, w, h, this.image.naturalWidth].join();
    if (view !== this.drawn) {
      this.drawn = view;
      const ctx = fresh(this.picture, w, h, ratio);
      ctx.imageSmoothingEnabled = this.scale < 4;
      if (this.image.naturalWidth) ctx.drawImage(this.image, this.x, this.y, this.width * this.scale, this.height * this.scale);
    }
    // with the whole picture in view and no mark to set, a finger scrolls the page
    this.canvas.style.touchAction = this.isWhole && !this.ring.marking() ? "pan-y" : "none";
    const ctx = fresh(this.canvas, w, h, ratio);
    if (this.shows) this.overlay(ctx, this.toScreen, this.scale, 1);
    if (this.cursor && document.activeElement === this.canvas) crossHair(ctx, this.toScreen(this.cursor), COLOURS.curve, 14);
  }

  /** Brightness and contrast of what is shown; what is measured stays. */
  lit(light) {
    this.light = light;
    this.picture.style.filter = `brightness(${light.brightness}) contrast(${light.contrast})`;
  }

  overlay(ctx, project, perPx, size) {
    const { seen } = this.ring;
    const c = COLOURS;
    if (seen) {
      if (seen.outline_px.length) path(ctx, seen.outline_px.map(project), c.curve, 1);
      const step = Math.max(1, Math.ceil(seen.points.length / 90));
      seen.points.forEach((p, k) => { if (k % step === 0) dot(ctx, project([p.x_px, p.y_px]), 2.6 * size, p.accepted ? c.measured : c.rejected, !p.accepted); });
      for (const [, points] of seen.rejected) points.forEach((p, k) => { if (k % step === 0) dot(ctx, project(p), 2.6 * size, c.rejected, true); });
      for (const mark of seen.marks) path(ctx, mark.ends_px.map(project), c.measured, 1);
    }
    for (const circle of this.ring.circles()) {
      ctx.beginPath();
      const [x, y] = project([circle.x, circle.y]);
      ctx.arc(x, y, circle.r * perPx, 0, 7);
      stroke(ctx, c.mine, 1.5, [7, 5]);
    }
    const all = this.ring.all();
    const corners = all.filter((mark) => mark.what === "leave-out").map((mark) => [mark.x_px, mark.y_px]);
    if (corners.length > 1) path(ctx, [...corners, corners[0]].map(project), c.out, 1.5, [6, 4]);
    all.forEach((mark, k) => this.handle(ctx, mark, k, project([mark.x_px, mark.y_px]), size));
  }

  handle(ctx, mark, k, [x, y], size) {
    const isChosen = k === this.ring.chosen;
    const r = (isChosen ? 10 : 7) * size;
    const colour = mark.what === "leave-out" ? COLOURS.out : COLOURS.mine;
    for (const [ink, wide] of [["#000", 3.5], [colour, 1.6]]) {
      cross(ctx, x, y, r, mark.what);
      stroke(ctx, ink, wide);
    }
    if (size === 1 && isChosen) {
      ctx.beginPath();
      ctx.arc(x, y, coarse.matches ? 24 : 15, 0, 7);
      stroke(ctx, colour, 2);
    }
    const label = this.ring.label(mark, k);
    if (!label) return;
    ctx.font = "14px system-ui";
    ctx.lineWidth = 3;
    ctx.strokeStyle = "#000";
    ctx.strokeText(label, x + 12, y - 10);
    ctx.fillStyle = colour;
    ctx.fillText(label, x + 12, y - 10);
  }

  /** Shows a place of the photograph enlarged, away from the hand. */
  magnify(at, hand = null) {
    const side = this.glass.width;
    this.glass.hidden = false;
    const [x, y] = hand ?? this.toScreen(at);
    // only from one side to the other when the hand comes near it, so that it does not flicker
    if (y < side + 40) this.glass.classList.toggle("left", x > this.canvas.clientWidth / 2);
    const ctx = this.glass.getContext("2d");
    const zoom = Math.max(4, this.scale * 3);
    const span = side / zoom;
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.fillStyle = COLOURS.ground;
    ctx.fillRect(0, 0, side, side);
    ctx.imageSmoothingEnabled = false;
    const [left, top] = [at[0] + 0.5 - span / 2, at[1] + 0.5 - span / 2];
    ctx.filter = this.picture.style.filter || "none";
    if (this.image.naturalWidth) ctx.drawImage(this.image, left, top, span, span, 0, 0, side, side);
    ctx.filter = "none";
    if (this.shows) this.overlay(ctx, (p) => [(p[0] + 0.5 - left) * zoom, (p[1] + 0.5 - top) * zoom], zoom, 0.8);
    crossHair(ctx, [side / 2, side / 2], COLOURS.curve, 14);
  }

  hideGlass() {
    this.glass.hidden = true;
  }
}

function fresh(canvas, w, h, ratio) {
  canvas.width = w * ratio;
  canvas.height = h * ratio;
  const ctx = canvas.getContext("2d");
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  return ctx;
}

function stroke(ctx, colour, wide, dash = []) {
  ctx.strokeStyle = colour;
  ctx.lineWidth = wide;
  ctx.setLineDash(dash);
  ctx.stroke();
  ctx.setLineDash([]);
}

function path(ctx, points, colour, wide, dash) {
  ctx.beginPath();
  points.forEach(([x, y], k) => { if (k) ctx.lineTo(x, y); else ctx.moveTo(x, y); });
  stroke(ctx, colour, wide, dash);
}

function dot(ctx, [x, y], r, colour, open) {
  ctx.beginPath();
  ctx.arc(x, y, r, 0, 7);
  ctx.lineWidth = 1.4;
  ctx.strokeStyle = open ? colour : "#000";
  ctx.fillStyle = colour;
  if (!open) ctx.fill();
  ctx.stroke();
}

/** A cross for the beam, a square for a length, a slanted cross for a corner. */
function cross(ctx, x, y, r, what) {
  ctx.beginPath();
  if (what === "beam") { ctx.moveTo(x - r, y); ctx.lineTo(x + r, y); ctx.moveTo(x, y - r); ctx.lineTo(x, y + r); return; }
  const s = r * 0.7;
  if (what === "leave-out") { ctx.moveTo(x - s, y - s); ctx.lineTo(x + s, y + s); ctx.moveTo(x + s, y - s); ctx.lineTo(x - s, y + s); return; }
  ctx.rect(x - s, y - s, 2 * s, 2 * s);
  ctx.moveTo(x - 2, y);
  ctx.lineTo(x + 2, y);
}

/** Four strokes with the place between them free. */
function crossHair(ctx, [x, y], colour, r) {
  for (const [ink, wide] of [["#000", 3], [colour, 1]]) {
    ctx.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) { ctx.moveTo(x + 4 * dx, y + 4 * dy); ctx.lineTo(x + r * dx, y + r * dy); }
    stroke(ctx, ink, wide);
  }
}
