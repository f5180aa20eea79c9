// Board: one key reveals what was asked for first.
const boards = [...document.querySelectorAll("article.board")];
const said = document.getElementById("board-said");
let at = 0;

function show(next) {
  if (!boards.length) return;
  boards[at].hidden = true;
  at = Math.max(0, Math.min(boards.length - 1, next));
  boards[at].hidden = false;
  if (said) said.textContent = boards[at].getAttribute("aria-label");
}

function reveal() {
  const veiled = boards[at]?.querySelector(".board-veiled:not(.open)");
  if (veiled) {
    veiled.classList.add("open");
    said.textContent = veiled.textContent;
  } else {
    show(at + 1);
  }
}

document.getElementById("reveal")?.addEventListener("click", reveal);
document.getElementById("before")?.addEventListener("click", () => show(at - 1));
document.getElementById("after")?.addEventListener("click", () => show(at + 1));
document.addEventListener("keydown", (event) => {
  if (event.target.closest("input, select, summary") || event.ctrlKey || event.metaKey || event.altKey) return;
  const onButton = event.target.closest("button, a");
  if (event.key === " " && !onButton) { event.preventDefault(); reveal(); }
  if (event.key === "ArrowRight") show(at + 1);
  if (event.key === "ArrowLeft") show(at - 1);
  if (event.key === "f") { if (document.fullscreenElement) document.exitFullscreen(); else document.documentElement.requestFullscreen?.(); }
});
