// Board: a lesson, slide by slide and step by step, by keys, touch or a clicker.
import { draw } from "./over-draw.js";

const lesson = document.getElementById("lesson");
const slides = [...document.querySelectorAll("article.board")];
const said = document.getElementById("board-said");
let [at, step] = [0, 0];

const veils = (slide) => [...slide.querySelectorAll(".board-veiled")];

function show(tell = true) {
  slides.forEach((slide, k) => { slide.hidden = k !== at; });
  const slide = slides[at];
  const all = veils(slide);
  all.forEach((veil, k) => { veil.classList.toggle("open", k < step); veil.querySelectorAll("dd").forEach((dd) => { dd.inert = k >= step; }); });
  const opened = all.slice(0, step).map((veil) => veil.dataset.step);
  lay(slide, opened.includes("measured") || (opened.includes("predicted") && !all.some((veil) => veil.dataset.step === "measured")));
  document.getElementById("before").disabled = at === 0 && step === 0;
  document.getElementById("reveal").disabled = at === slides.length - 1 && step >= all.length;
  history.replaceState(null, "", `#${at + 1}.${step}`);
  if (tell) said.textContent = step ? all[step - 1].textContent : slide.getAttribute("aria-label");
  if (opened[opened.length - 1] === "guess" && matchMedia("(hover: hover)").matches && tell) all[step - 1].querySelector("input").focus();
}

function on() {
  if (document.body.classList.contains("blank")) { blank(); return; }
  if (step < veils(slides[at]).length) step += 1;
  else if (at < slides.length - 1) { at += 1; step = 0; } else return;
  show();
}

function back() {
  if (step > 0) step -= 1;
  else if (at > 0) { at -= 1; step = veils(slides[at]).length; } else return;
  show();
}

function blank() { document.body.classList.toggle("blank"); }

function fill() {
  if (document.fullscreenElement) document.exitFullscreen();
  else lesson?.requestFullscreen?.().catch(() => {});
}

/** The predicted ring over the photograph, as its camera sees it, asked for when it is first shown. */
async function lay(slide, isOpen) {
  const figure = slide.querySelector(".board-photo[data-over]");
  if (!figure) return;
  const canvas = figure.querySelector("canvas");
  const legend = figure.querySelector(".board-legend");
  canvas.hidden = !isOpen;
  legend.hidden = !isOpen || !figure.laid;
  if (!isOpen) return;
  if (!figure.laid && !figure.asked) {
    figure.asked = true;
    const response = await fetch(`/path/over?${figure.dataset.over}&photo=${encodeURIComponent(figure.dataset.photo)}`);
    if (response.ok) figure.laid = (await response.json()).laid;
    legend.hidden = canvas.hidden || !figure.laid;
  }
  if (figure.laid) over(figure);
}

function over(figure) {
  const canvas = figure.querySelector("canvas");
  if (!canvas.hidden && figure.laid) draw(canvas, figure.laid, null);
}
new ResizeObserver(() => slides[at]?.querySelectorAll(".board-photo").forEach(over)).observe(document.body);

document.getElementById("reveal")?.addEventListener("click", on);
document.getElementById("before")?.addEventListener("click", back);
document.getElementById("fill")?.addEventListener("click", fill);

// a clicker sends PageDown and PageUp, F5 or Shift+F5 to begin, and a full stop or b to blank
const KEYS = { " ": on, ArrowRight: on, ArrowDown: on, PageDown: on, ArrowLeft: back, ArrowUp: back, PageUp: back, Backspace: back, f: fill, F5: fill, b: blank, ".": blank,
  Home: () => { [at, step] = [0, 0]; show(); }, End: () => { [at, step] = [slides.length - 1, 0]; show(); } };
document.addEventListener("keydown", (event) => {
  if (!slides.length || event.ctrlKey || event.metaKey || event.altKey) return;
  const inField = event.target.closest("input, select");
  if (inField && event.key === "Enter") { event.preventDefault(); inField.blur(); on(); return; }
  if (inField && !["PageDown", "PageUp", "F5"].includes(event.key)) return;
  if (event.target.closest("button, a, summary") && [" ", "Enter"].includes(event.key)) return;
  const act = KEYS[event.key.length === 1 ? event.key.toLowerCase() : event.key];
  if (!act) return;
  event.preventDefault();
  event.stopImmediatePropagation();
  act();
}, { capture: true });

let from = null;
lesson?.addEventListener("touchstart", (event) => { from = event.touches.length === 1 ? [event.touches[0].clientX, event.touches[0].clientY] : null; }, { passive: true });
lesson?.addEventListener("touchend", (event) => {
  if (!from || event.target.closest("button, a, input, label")) return;
  const [dx, dy] = [event.changedTouches[0].clientX - from[0], event.changedTouches[0].clientY - from[1]];
  if (Math.abs(dx) > 40 && Math.abs(dx) > 2 * Math.abs(dy)) { if (dx < 0) on(); else back(); }
});

function take(tell) {
  const [slide, shown] = location.hash.slice(1).split(".").map(Number);
  at = Math.min(slides.length - 1, Math.max(0, (slide || 1) - 1));
  step = Math.min(veils(slides[at]).length, Math.max(0, shown || 0));
  show(tell);
}
if (slides.length) {
  take(false);
  window.addEventListener("hashchange", () => take(true));
}
