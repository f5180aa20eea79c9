// Ring: marks under the hand; the server measures, this draws.
import { send, say, refusal, fixed } from "./page.js";

const desk = document.getElementById("desk");
if (desk) begin();

function begin() {
  const canvas = document.getElementById("photo");
  const glass = document.getElementById("glass");
  const said = document.getElementById("ring-said");
  const photo = desk.dataset.photo;
  let kept = JSON.parse(desk.dataset.marks || "[]");
  let marks = structuredClone(kept);
  let chosen = -1;
  let seen = null;
  const past = [];
  const view = { scale: 1, x: 0, y: 0 };
  const image = new Image();
  let width = 1;
  let height = 1;

  const hundredth = (value) => Math.round(value * 100) / 100;

  // measuring

  let asking = false;
  let again = false;
  let wholeToo = false;
  async function measure(quick = false) {
    wholeToo ||= !quick;
    if (asking) { again = true; return; }
    asking = true;
    const begun = performance.now();
    const whole = wholeToo;
    wholeToo = false;
    const answer = await send("/ring/measure", { photo, marks, quick: !whole });
    asking = false;
    document.documentElement.dataset.measured = (performance.now() - begun).toFixed(1);
    if (answer.ok) { seen = answer; tell(); } else say(said, refusal(answer), "fault");
    draw();
    if (again) { again = false; measure(true); }
  }

  async function keep() {
    const wish = structuredClone(marks);
    const answer = await send("/ring/keep", { photo, marks: wish, seen: kept });
    if (answer.ok) {
      kept = wish;
      say(said, "Marks saved.", "good");
      beam();
    } else if (answer.conflict) {
      say(said, `The marks were changed meanwhile: the file now holds ${answer.conflict.now}, this page ${wish.length}. Load the page again to see the file's, or go on here to keep yours beside it unsaved.`, "fault");
    } else say(said, `Not saved: ${refusal(answer)}`, "fault");
  }

  function change(next) {
    past.push(structuredClone(marks));
    marks = next;
    measure();
    keep();
  }

  function beam() {
    const picture = document.getElementById("beam");
    const shown = (is) => { picture.closest("figure").hidden = !is; };
    picture.onload = () => shown(true);
    picture.onerror = () => shown(false);
    const look = document.documentElement.dataset.theme;
    picture.src = `/ring/beam?name=${encodeURIComponent(photo)}&kind=${look}&at=${Date.now()}`;
  }

  function tell() {
    const place = document.getElementById("diameter");
    const more = document.getElementById("diameter-more");
    const list = document.getElementById("ring-words");
    const entry = seen.entry;
    const q = entry?.ring_diameter_in_scale_plane_mm;
    if (q) {
      const digits = Math.max(0, 1 - Math.floor(Math.log10(q.standard_uncertainty || 1)));
      place.textContent = `${fixed(q.value, digits)} \u00b1 ${fixed(q.standard_uncertainty, digits)} mm`;
      more.textContent = ` on ${fixed(entry.arc_seen_deg, 0)}\u00b0 of the ring, ${fixed(seen.px_per_mm, 2)} px/mm`;
    } else {
      place.textContent = seen.marks.length ? `${seen.marks.length} marks of the scale` : "\u2013";
      more.textContent = seen.px_per_mm ? ` ${fixed(seen.px_per_mm, 3)} px/mm` : "";
    }
    list.textContent = "";
    const add = (text, kind) => { const p = document.createElement("p"); p.className = kind; p.textContent = text; list.append(p); };
    const cap = (text) => text.charAt(0).toUpperCase() + text.slice(1).replace(/\.?$/, ".");
    if (seen.trouble) add(`${cap(seen.trouble.sentence)} ${cap(seen.trouble.remedy)}`, "fault");
    for (const caveat of seen.caveats) add(`${cap(caveat.sentence)} ${cap(caveat.remedy)}`, "quiet");
  }

  // drawing

  function colours() {
    return { measured: "#E69F00", rejected: "#CC79A7", curve: "#FFF6D8", mine: "#56B4E9", out: "#F0E442" };
  }

  function whole() {
    view.scale = Math.min(canvas.clientWidth / width, canvas.clientHeight / height);
    view.x = (canvas.clientWidth - width * view.scale) / 2;
    view.y = (canvas.clientHeight - height * view.scale) / 2;
  }

  // the centre of the top-left pixel is (0, 0)
  const toScreen = ([x, y]) => [view.x + (x + 0.5) * view.scale, view.y + (y + 0.5) * view.scale];
  const toPhoto = ([x, y]) => [(x - view.x) / view.scale - 0.5, (y - view.y) / view.scale - 0.5];

  function draw() {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const [w, h] = [canvas.clientWidth, canvas.clientHeight];
    canvas.width = w * ratio;
    canvas.height = h * ratio;
    const ctx = canvas.getContext("2d");
    ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
    ctx.imageSmoothingEnabled = view.scale < 4;
    if (image.naturalWidth) ctx.drawImage(image, view.x, view.y, width * view.scale, height * view.scale);
    overlay(ctx, toScreen, 1);
  }

  function overlay(ctx, project, size) {
    const c = colours();
    const line = (points, colour, wide, dash) => {
      ctx.beginPath();
      points.forEach((p, k) => { const [x, y] = project(p); if (k) ctx.lineTo(x, y); else ctx.moveTo(x, y); });
      ctx.strokeStyle = colour; ctx.lineWidth = wide; ctx.setLineDash(dash ?? []); ctx.stroke(); ctx.setLineDash([]);
    };
    const dot = ([x, y], r, colour, open) => {
      ctx.beginPath(); ctx.arc(x, y, r, 0, 7);
      ctx.lineWidth = 1.4; ctx.strokeStyle = open ? colour : "#000"; ctx.fillStyle = colour;
      if (!open) ctx.fill();
      ctx.stroke();
    };
    if (seen) {
      if (seen.outline_px.length) line(seen.outline_px, c.curve, 1);
      const step = Math.max(1, Math.ceil(seen.points.length / 90));
      seen.points.forEach((p, k) => { if (k % step === 0) dot(project([p.x_px, p.y_px]), 2.6 * size, p.accepted ? c.measured : c.rejected, !p.accepted); });
      for (const [, points] of seen.rejected) points.forEach((p, k) => { if (k % step === 0) dot(project(p), 2.6 * size, c.rejected, true); });
      for (const mark of seen.marks) line(mark.ends_px, c.measured, 1);
    }
    const corners = marks.filter((mark) => mark.what === "leave-out").map((mark) => [mark.x_px, mark.y_px]);
    if (corners.length > 1) line([...corners, corners[0]], c.out, 1.5, [6, 4]);
    marks.forEach((mark, k) => {
      const [x, y] = project([mark.x_px, mark.y_px]);
      const r = (k === chosen ? 9 : 6) * size;
      const colour = mark.what === "leave-out" ? c.out : c.mine;
      ctx.strokeStyle = "#000"; ctx.lineWidth = 3.5; cross(ctx, x, y, r, mark.what); ctx.stroke();
      ctx.strokeStyle = colour; ctx.lineWidth = 1.6; cross(ctx, x, y, r, mark.what); ctx.stroke();
      if (mark.along_mm != null) { ctx.font = "14px system-ui"; ctx.lineWidth = 3; ctx.strokeStyle = "#000"; ctx.strokeText(`${mark.along_mm} mm`, x + 10, y - 8); ctx.fillStyle = colour; ctx.fillText(`${mark.along_mm} mm`, x + 10, y - 8); }
    });
  }

  /** A cross for the beam, a square for the scale, a slanted cross for a corner. */
  function cross(ctx, x, y, r, what) {
    ctx.beginPath();
    if (what === "scale") { ctx.rect(x - r * 0.7, y - r * 0.7, r * 1.4, r * 1.4); ctx.moveTo(x - 2, y); ctx.lineTo(x + 2, y); return; }
    const d = what === "leave-out" ? r * 0.7 : 0;
    const s = what === "leave-out" ? r * 0.7 : r;
    ctx.moveTo(x - s, y - d); ctx.lineTo(x + s, y + d);
    ctx.moveTo(x + d, y - s); ctx.lineTo(x - d, y + s);
  }

  function magnify(at) {
    glass.hidden = false;
    const ctx = glass.getContext("2d");
    const zoom = Math.max(4, view.scale * 3);
    const span = 180 / zoom;
    ctx.setTransform(1, 0, 0, 1, 0, 0);
    ctx.fillStyle = "#0E1013";
    ctx.fillRect(0, 0, 180, 180);
    ctx.imageSmoothingEnabled = false;
    const [x, y] = [at[0] + 0.5 - span / 2, at[1] + 0.5 - span / 2];
    if (image.naturalWidth) ctx.drawImage(image, x, y, span, span, 0, 0, 180, 180);
    overlay(ctx, (p) => [(p[0] + 0.5 - x) * zoom, (p[1] + 0.5 - y) * zoom], 0.8);
    ctx.strokeStyle = "#FFF6D8";
    ctx.lineWidth = 1;
    ctx.beginPath();
    ctx.moveTo(90, 76); ctx.lineTo(90, 86); ctx.moveTo(90, 94); ctx.lineTo(90, 104);
    ctx.moveTo(76, 90); ctx.lineTo(86, 90); ctx.moveTo(94, 90); ctx.lineTo(104, 90);
    ctx.stroke();
  }

  // hands

  const tool = () => document.querySelector("input[name=tool]:checked").value;
  const at = (event) => { const box = canvas.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; };
  function near(place) {
    let best = -1;
    let least = 14;
    marks.forEach((mark, k) => {
      const [x, y] = toScreen([mark.x_px, mark.y_px]);
      const d = Math.hypot(x - place[0], y - place[1]);
      if (d < least) { least = d; best = k; }
    });
    return best;
  }

  const fingers = new Map();
  let drag = null;
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    const place = at(event);
    fingers.set(event.pointerId, place);
    if (fingers.size === 2) { drag = { kind: "pinch", gap: gap() }; return; }
    const hit = near(place);
    if (hit >= 0) { chosen = hit; drag = { kind: "mark", before: structuredClone(marks) }; }
    else if (tool() === "move") drag = { kind: "pan", from: place };
    else drag = { kind: "add", from: place };
    draw();
  });
  canvas.addEventListener("pointermove", (event) => {
    const place = at(event);
    magnify(toPhoto(place));
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, place);
    if (!drag) return;
    if (drag.kind === "pan") { view.x += place[0] - drag.from[0]; view.y += place[1] - drag.from[1]; drag.from = place; requestAnimationFrame(draw); }
    if (drag.kind === "pinch" && fingers.size === 2) { const wide = gap(); const [a, b] = [...fingers.values()]; zoom(wide / drag.gap, [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]); drag.gap = wide; }
    if (drag.kind === "mark") {
      const [x, y] = toPhoto(place);
      marks[chosen] = { ...marks[chosen], x_px: hundredth(x), y_px: hundredth(y) };
      measure(true);
      requestAnimationFrame(draw);
    }
  });
  canvas.addEventListener("pointerup", (event) => {
    const place = at(event);
    fingers.delete(event.pointerId);
    if (drag?.kind === "mark" && JSON.stringify(drag.before) !== JSON.stringify(marks)) { past.push(drag.before); measure(); keep(); }
    if (drag?.kind === "add" && Math.hypot(place[0] - drag.from[0], place[1] - drag.from[1]) < 6) add(toPhoto(place));
    drag = null;
  });
  canvas.addEventListener("pointercancel", (event) => { fingers.delete(event.pointerId); drag = null; });
  const gap = () => { const [a, b] = [...fingers.values()]; return Math.max(1, Math.hypot(a[0] - b[0], a[1] - b[1])); };

  function add([x, y]) {
    const what = tool();
    const mark = { what, x_px: hundredth(x), y_px: hundredth(y), along_mm: null, across_mm: null };
    if (what === "scale") { askMillimetres(mark); return; }
    chosen = marks.length;
    change([...marks, mark]);
  }

  function askMillimetres(mark) {
    said.textContent = "";
    const label = document.createElement("label");
    label.textContent = "This mark of the scale stands for ";
    const field = document.createElement("input");
    field.size = 6;
    field.inputMode = "decimal";
    label.append(field, " mm, then Enter");
    said.append(label);
    field.focus();
    field.addEventListener("keydown", (event) => {
      if (event.key === "Escape") { said.textContent = ""; canvas.focus(); }
      if (event.key !== "Enter") return;
      const mm = Number(field.value.replace(",", "."));
      if (!Number.isFinite(mm) || field.value.trim() === "") { field.setAttribute("aria-invalid", "true"); return; }
      chosen = marks.length;
      change([...marks, { ...mark, along_mm: mm }]);
      canvas.focus();
    });
  }

  function remove() {
    if (chosen < 0) return;
    const next = marks.filter((_, k) => k !== chosen);
    chosen = -1;
    change(next);
  }

  function undo() {
    const before = past.pop();
    if (!before) { say(said, "Nothing to take back."); return; }
    marks = before;
    chosen = -1;
    measure();
    keep();
  }

  let settled = 0;
  canvas.addEventListener("keydown", (event) => {
    const far = event.shiftKey ? 1 : 0.1;
    const step = { ArrowLeft: [-far, 0], ArrowRight: [far, 0], ArrowUp: [0, -far], ArrowDown: [0, far] }[event.key];
    if (step && chosen >= 0) {
      event.preventDefault();
      if (!settled) past.push(structuredClone(marks));
      const mark = marks[chosen];
      marks[chosen] = { ...mark, x_px: hundredth(mark.x_px + step[0]), y_px: hundredth(mark.y_px + step[1]) };
      measure(true);
      magnify([marks[chosen].x_px, marks[chosen].y_px]);
      clearTimeout(settled);
      settled = setTimeout(() => { settled = 0; measure(); keep(); }, 400);
    } else if (step) {
      event.preventDefault();
      view.x -= step[0] * 400 * (event.shiftKey ? 0.25 : 1); view.y -= step[1] * 400 * (event.shiftKey ? 0.25 : 1);
      draw();
    }
    if (event.key === "Tab" && marks.length) {
      const next = chosen + (event.shiftKey ? -1 : 1);
      if (next >= 0 && next < marks.length) { event.preventDefault(); chosen = next; tellChosen(); draw(); } else chosen = -1;
    }
    if (event.key === "Delete" || event.key === "Backspace") { event.preventDefault(); remove(); }
    if (event.key === "Enter" && tool() !== "move") { event.preventDefault(); add(toPhoto([canvas.clientWidth / 2, canvas.clientHeight / 2])); }
    if (event.key === "+" || event.key === "=") zoom(1.3);
    if (event.key === "-") zoom(1 / 1.3);
    if (event.key === "0") { whole(); draw(); }
    if (event.key === "u") undo();
  });

  function tellChosen() {
    const mark = marks[chosen];
    say(said, `Mark ${chosen + 1} of ${marks.length}, ${mark.what}, at ${mark.x_px}, ${mark.y_px} px.`);
    magnify([mark.x_px, mark.y_px]);
  }

  function zoom(by, about = [canvas.clientWidth / 2, canvas.clientHeight / 2]) {
    const scale = Math.max(0.05, Math.min(24, view.scale * by));
    const k = scale / view.scale;
    view.x = about[0] - k * (about[0] - view.x);
    view.y = about[1] - k * (about[1] - view.y);
    view.scale = scale;
    requestAnimationFrame(draw);
  }
  canvas.addEventListener("wheel", (event) => { event.preventDefault(); zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, at(event)); }, { passive: false });
  desk.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.dataset.zoom === "in") zoom(1.4);
    if (button.dataset.zoom === "out") zoom(1 / 1.4);
    if (button.dataset.zoom === "all") { whole(); draw(); }
    if ("undo" in button.dataset) undo();
    if ("delete" in button.dataset) remove();
  });

  image.addEventListener("load", () => { width = image.naturalWidth; height = image.naturalHeight; whole(); draw(); });
  image.src = desk.dataset.src;
  window.addEventListener("resize", () => { whole(); draw(); });
  document.addEventListener("look-changed", () => { draw(); beam(); });
  document.addEventListener("folder-changed", () => {
    say(said, "The notebook was changed elsewhere. Load the page again to see other marks of this photograph.");
    measure();
  });
  measure().then(beam);
}
