// Path over a photograph: the server lays it, here both are drawn.

import { sentence } from "./page.js";

const chosen = document.getElementById("over-photo");
const canvas = document.getElementById("over-view");
const said = document.getElementById("over-said");
const setting = document.getElementById("over-setting");
const image = new Image();
let query = "";
let laid = null;
let asking = false;
let again = false;

/** The prediction to lay: the frozen one, else the one under the hand. */
export function follow(next) {
  if (next === undefined) return;
  query = next;
  ask();
}

async function ask() {
  if (!chosen?.value || !query) return;
  if (asking) { again = true; return; }
  asking = true;
  if (!laid) said.textContent = "Measuring the photograph \u2026";
  try {
    const response = await fetch(`/path/over?${query}&photo=${encodeURIComponent(chosen.value)}`);
    const answer = await response.json();
    laid = response.ok ? answer.laid : null;
    said.textContent = response.ok ? answer.said : `${sentence(answer.sentence)} ${sentence(answer.remedy ?? "")}`;
  } catch { said.textContent = "The server does not answer."; }
  asking = false;
  canvas.hidden = !laid;
  requestAnimationFrame(draw);
  if (again) { again = false; ask(); }
}

function draw() {
  if (!laid || !image.naturalWidth) return;
  const ratio = Math.min(window.devicePixelRatio || 1, 2);
  const width = canvas.clientWidth;
  const k = width / laid.width_px;
  const height = laid.height_px * k;
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(height * ratio);
  const ctx = canvas.getContext("2d");
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  ctx.drawImage(image, 0, 0, width, height);
  // the centre of the top-left pixel is (0, 0)
  const place = ([x, y]) => [(x + 0.5) * k, (y + 0.5) * k];
  const step = Math.max(1, Math.ceil(laid.beam_px.length / 90));
  laid.beam_px.forEach((p, n) => {
    if (n % step) return;
    const [x, y] = place(p);
    ctx.beginPath(); ctx.arc(x, y, 2.6, 0, 7);
    ctx.fillStyle = "#E69F00"; ctx.strokeStyle = "#000"; ctx.lineWidth = 1; ctx.fill(); ctx.stroke();
  });
  for (const [colour, wide] of [["#000", 3.6], ["#56B4E9", 1.8]]) {
    ctx.beginPath();
    laid.path_px.forEach((p, n) => { const [x, y] = place(p); if (n) ctx.lineTo(x, y); else ctx.moveTo(x, y); });
    ctx.strokeStyle = colour; ctx.lineWidth = wide; ctx.setLineDash([9, 6]); ctx.stroke(); ctx.setLineDash([]);
  }
}

chosen?.addEventListener("change", () => {
  setting.disabled = !chosen.value;
  laid = null;
  canvas.hidden = true;
  said.textContent = "";
  if (!chosen.value) return;
  image.src = `/photos/view?name=${encodeURIComponent(chosen.value)}`;
  ask();
});
image.addEventListener("load", draw);
window.addEventListener("resize", draw);
