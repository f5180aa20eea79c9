// Path over a photograph: the server lays it, here both are drawn.

import { draw } from "./over-draw.js";
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
  requestAnimationFrame(show);
  if (again) { again = false; ask(); }
}

function show() {
  if (laid && image.naturalWidth) draw(canvas, laid, image);
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
image.addEventListener("load", show);
window.addEventListener("resize", show);
