// Path: the beam follows the hand; every number comes from the server, here it is only drawn.
import { follow } from "./over.js";
import { sentence } from "./page.js";

const form = document.getElementById("setting");
const scene = document.getElementById("scene");
const flats = { front: document.getElementById("flat-front"), side: document.getElementById("flat-side") };
const words = document.getElementById("path-words");
let now = null;
let frozen = null;
/** Where the eye stands: turned about the upright and the level, and how near. */
const eye = { turn: 0.55, rise: 0.3, far: 1 };

function colours() {
  const style = getComputedStyle(document.documentElement);
  const of = (name) => style.getPropertyValue(`--${name}`).trim();
  return { beam: of("beam"), core: of("core"), quiet: of("quiet"), hairline: of("hairline"), text: of("text"), panel: of("panel"), stated: of("predicted"), ground: of("ground") };
}

// asking

let asking = false;
let again = false;
async function ask() {
  if (!form) return;
  if (asking) { again = true; return; }
  asking = true;
  const query = new URLSearchParams(new FormData(form));
  try {
    const response = await fetch(`/path/at?${query}`);
    const answer = await response.json();
    if (response.ok) { now = { ...answer, query: query.toString() }; tell(answer); if (!frozen) follow(now.query); } else { now = null; words.textContent = `${sentence(answer.sentence)} ${sentence(answer.remedy ?? "")}`; clear(); }
  } catch { words.textContent = "The server does not answer."; }
  asking = false;
  requestAnimationFrame(draw);
  if (again) { again = false; ask(); }
}

function clear() {
  for (const place of document.querySelectorAll("[data-figure]")) place.textContent = "\u2013";
}

function tell(path) {
  for (const [name, text] of Object.entries(path.figures)) document.querySelector(`[data-figure=${name}]`).textContent = text;
  const cautions = path.caveats.map((caveat) => sentence(caveat.sentence) + " " + sentence(caveat.remedy));
  if (path.meets_gun) cautions.unshift("The beam comes round to the gun.");
  words.textContent = cautions.join(" ");
  words.className = path.caveats.some((caveat) => caveat.code === "beyond-rating") ? "caution" : "";
}

// drawing

function fit(canvas) {
  const ratio = Math.min(window.devicePixelRatio || 1, 2);
  const width = canvas.clientWidth;
  const height = Math.round(width * (canvas.id === "scene" ? 0.68 : 0.9));
  if (canvas.width !== Math.round(width * ratio)) { canvas.width = Math.round(width * ratio); canvas.height = Math.round(height * ratio); }
  const ctx = canvas.getContext("2d");
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.clearRect(0, 0, width, height);
  return { ctx, width, height };
}

/** Lines of what stands around, mm, each a list of points. */
function things(around) {
  const lines = [];
  for (const coil of around.coils) lines.push({ kind: "coil", points: loop(coil) });
  if (around.glass) {
    for (const [a, b] of [[[1, 0, 0], [0, 1, 0]], [[0, 0, 1], [0, 1, 0]], [[1, 0, 0], [0, 0, 1]]]) {
      lines.push({ kind: "glass", points: circle([0, 0, 0], a, b, around.glass) });
    }
  }
  if (around.muzzle && around.direction) {
    const back = around.direction.map((d, i) => around.muzzle[i] - 24 * d);
    lines.push({ kind: "gun", points: [back, around.muzzle] });
  }
  return lines;
}

function loop(coil) {
  const z = coil.axis;
  const helper = Math.abs(z[1]) < 0.9 ? [0, 1, 0] : [1, 0, 0];
  const a = unit(cross(helper, z));
  const b = cross(z, a);
  if (!coil.square) return circle(coil.centre, a, b, coil.radius);
  const corner = (u, v) => coil.centre.map((c, i) => c + coil.radius * (u * a[i] + v * b[i]));
  return [corner(1, 1), corner(-1, 1), corner(-1, -1), corner(1, -1), corner(1, 1)];
}

function circle(centre, a, b, radius) {
  return Array.from({ length: 73 }, (_, k) => {
    const t = (k * Math.PI) / 36;
    return centre.map((c, i) => c + radius * (Math.cos(t) * a[i] + Math.sin(t) * b[i]));
  });
}
const cross = (p, q) => [p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]];
const unit = (p) => { const length = Math.hypot(...p) || 1; return p.map((x) => x / length); };

function stroke(ctx, points, project, style) {
  ctx.beginPath();
  points.forEach((point, k) => { const [x, y] = project(point); if (k) ctx.lineTo(x, y); else ctx.moveTo(x, y); });
  Object.assign(ctx, { lineJoin: "round", lineCap: "round", strokeStyle: style.colour, lineWidth: style.width, globalAlpha: style.alpha ?? 1 });
  ctx.setLineDash(style.dash ?? []);
  ctx.stroke();
  ctx.globalAlpha = 1;
}

function glow(ctx, points, project, c) {
  for (const [width, alpha] of [[13, 0.1], [8, 0.2], [4.5, 0.5]]) stroke(ctx, points, project, { colour: c.beam, width, alpha });
  stroke(ctx, points, project, { colour: c.core, width: 1.6 });
}

function paint(canvas, project) {
  const c = colours();
  const { ctx } = canvas;
  const path = now ?? frozen;
  if (!path) return;
  for (const line of things(path.around)) {
    const style = { coil: { colour: c.quiet, width: 4, alpha: 0.55 }, glass: { colour: c.quiet, width: 1, alpha: 0.6 }, gun: { colour: c.text, width: 8, alpha: 0.85 } }[line.kind];
    stroke(ctx, line.points, project, style);
  }
  if (frozen) stroke(ctx, frozen.drawn_mm, project, { colour: c.stated, width: 2, dash: [7, 5] });
  if (now) {
    glow(ctx, now.drawn_mm, project, c);
    if (now.glass_point_mm) {
      const [x, y] = project(now.glass_point_mm);
      stroke(ctx, [[0, 0], [1, 1]], (p) => (p[0] ? [x + 6, y + 6] : [x - 6, y - 6]), { colour: c.text, width: 2 });
      stroke(ctx, [[0, 0], [1, 1]], (p) => (p[0] ? [x + 6, y - 6] : [x - 6, y + 6]), { colour: c.text, width: 2 });
    }
  }
}

function extent() {
  const path = now ?? frozen;
  if (!path) return 100;
  const coil = Math.max(0, ...path.around.coils.map((coil) => coil.radius + Math.hypot(...coil.centre) * 0.3));
  return Math.max(60, path.around.glass ?? 0, coil * 1.02, 0);
}

export let lastFrame = 0;
function draw() {
  if (!form) return;
  const begun = performance.now();
  const room = extent();
  const big = fit(scene);
  const [st, ct, sr, cr] = [Math.sin(eye.turn), Math.cos(eye.turn), Math.sin(eye.rise), Math.cos(eye.rise)];
  const distance = 4.2 * room * eye.far;
  const scale = 0.46 * Math.min(big.width, big.height * 1.1) * 4.2;
  paint(big, ([x, y, z]) => {
    const x1 = x * ct - z * st;
    const z1 = x * st + z * ct;
    const y1 = y * cr - z1 * sr;
    const depth = distance - (y * sr + z1 * cr);
    return [big.width / 2 + (scale * x1) / depth, big.height / 2 - (scale * y1) / depth];
  });
  const flat = (canvas, h) => {
    const area = fit(canvas);
    const k = (0.46 * Math.min(area.width, area.height)) / ((now ?? frozen)?.around.glass ?? room) / 1.08;
    paint(area, (p) => [area.width / 2 + k * p[h], area.height / 2 - k * p[1]]);
  };
  flat(flats.front, 0);
  flat(flats.side, 2);
  lastFrame = performance.now() - begun;
  document.documentElement.dataset.frame = lastFrame.toFixed(2);
}

// hands

form?.addEventListener("input", (event) => {
  const field = event.target;
  if (field.type === "range") document.getElementById(field.dataset.for).value = field.value;
  if (field.type === "number") document.getElementById(field.id.replace("-box", "-slide")).value = field.value;
  ask();
});
form?.addEventListener("submit", (event) => event.preventDefault());
document.getElementById("freeze")?.addEventListener("click", (event) => {
  frozen = frozen ? null : now;
  event.target.setAttribute("aria-pressed", String(Boolean(frozen)));
  event.target.textContent = frozen ? "Let the frozen one go" : "Freeze this prediction";
  follow((frozen ?? now)?.query);
  draw();
});
document.getElementById("over-setting")?.addEventListener("click", () => {
  const run = document.getElementById("over-photo").selectedOptions[0].dataset;
  for (const name of ["voltage", "current", "tilt", "turned"]) {
    document.getElementById(`${name}-box`).value = run[name];
    document.getElementById(`${name}-slide`).value = run[name];
  }
  form.querySelector(`[name=sense][value="${run.sense ?? "+"}"]`).checked = true;
  ask();
});
document.getElementById("front")?.addEventListener("click", () => { eye.turn = 0; eye.rise = 0; draw(); });

let held = null;
scene?.addEventListener("pointerdown", (event) => { held = [event.clientX, event.clientY]; scene.setPointerCapture(event.pointerId); });
scene?.addEventListener("pointermove", (event) => {
  if (!held) return;
  eye.turn += (event.clientX - held[0]) * 0.008;
  eye.rise = Math.max(-1.5, Math.min(1.5, eye.rise + (event.clientY - held[1]) * 0.008));
  held = [event.clientX, event.clientY];
  requestAnimationFrame(draw);
});
scene?.addEventListener("pointerup", () => { held = null; });
scene?.addEventListener("keydown", (event) => {
  const step = { ArrowLeft: [-0.1, 0], ArrowRight: [0.1, 0], ArrowUp: [0, 0.1], ArrowDown: [0, -0.1] }[event.key];
  if (step) { eye.turn += step[0]; eye.rise = Math.max(-1.5, Math.min(1.5, eye.rise + step[1])); }
  if (event.key === "+") eye.far = Math.max(0.4, eye.far / 1.15);
  if (event.key === "-") eye.far = Math.min(3, eye.far * 1.15);
  if (step || event.key === "+" || event.key === "-") { event.preventDefault(); draw(); }
});
window.addEventListener("resize", draw);
document.addEventListener("look-changed", draw);
document.addEventListener("folder-changed", ask);
document.addEventListener("unit-changed", ask);
ask();
