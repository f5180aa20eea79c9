// Ring: mouse, fingers and keys on the photograph.

/** How near a hand must come to a mark, in screen pixels. */
const NEAR = { mouse: 14, pen: 18, touch: 28 };
/** The same while the step still needs marks: a ring can be smaller on a phone than two fingertips, and its marks lie as near. */
const NEAR_WHILE_MARKING = 9;

/** 1, 2 or 5 times a power of ten, not above the value. */
function nice(value) {
  const ten = 10 ** Math.floor(Math.log10(value));
  return [5, 2, 1].map((n) => n * ten).find((step) => step <= value) ?? ten;
}

export function hands(ring, stage, acts) {
  const { canvas } = stage;
  const at = (event) => { const box = canvas.getBoundingClientRect(); return [event.clientX - box.left, event.clientY - box.top]; };
  const fingers = new Map();
  let drag = null;
  const gap = () => { const [a, b] = [...fingers.values()]; return Math.max(1, Math.hypot(a[0] - b[0], a[1] - b[1])); };
  const between = () => { const [a, b] = [...fingers.values()]; return [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2]; };
  const far = (place) => Math.hypot(place[0] - drag.from[0], place[1] - drag.from[1]) > 6;

  function near(place, kind) {
    let [best, least] = [-1, ring.needs() > 0 ? NEAR_WHILE_MARKING : NEAR[kind] ?? 14];
    ring.all().forEach((mark, k) => {
      const [x, y] = stage.toScreen([mark.x_px, mark.y_px]);
      const d = Math.hypot(x - place[0], y - place[1]);
      if (d < least) { least = d; best = k; }
    });
    return best;
  }

  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    const place = at(event);
    fingers.set(event.pointerId, place);
    if (fingers.size === 2) { drag = { kind: "pinch", gap: gap(), middle: between() }; stage.hideGlass(); return; }
    const hit = stage.shows ? near(place, event.pointerType) : -1;
    const isTouch = event.pointerType === "touch";
    if (hit >= 0) {
      const mark = ring.all()[hit];
      ring.chosen = hit;
      drag = { kind: "mark", from: place, start: [mark.x_px, mark.y_px], before: ring.snapshot() };
    } else if (ring.marking()) drag = { kind: isTouch ? "place" : "add", from: place, last: place };
    else drag = { kind: "pan", from: place, last: place };
    if (isTouch && drag.kind !== "pan") stage.magnify(stage.toPhoto(place), place);
    acts.chose();
    stage.later();
  });

  canvas.addEventListener("pointermove", (event) => {
    const place = at(event);
    if (event.pointerType === "mouse" && ring.marking()) stage.magnify(stage.toPhoto(place), place);
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, place);
    if (!drag) return;
    if (drag.kind === "add" && far(place)) drag.kind = "pan";
    if (drag.kind === "pan") { stage.pan(place[0] - drag.last[0], place[1] - drag.last[1]); drag.last = place; }
    if (drag.kind === "place") stage.magnify(stage.toPhoto(place), place);
    if (drag.kind === "pinch" && fingers.size === 2) {
      const [wide, middle] = [gap(), between()];
      stage.pan(middle[0] - drag.middle[0], middle[1] - drag.middle[1]);
      stage.zoom(wide / drag.gap, middle);
      Object.assign(drag, { gap: wide, middle });
    }
    if (drag.kind === "mark" && (drag.moved || far(place))) {
      drag.moved = true;
      const to = [0, 1].map((k) => drag.start[k] + (place[k] - drag.from[k]) / stage.scale);
      ring.move(ring.chosen, to);
      stage.magnify(to, place);
      acts.moving();
    }
  });

  canvas.addEventListener("pointerup", (event) => {
    const place = at(event);
    fingers.delete(event.pointerId);
    if (drag?.kind === "mark" && drag.moved) acts.moved(drag.before);
    if (drag?.kind === "add" || drag?.kind === "place") acts.add(stage.toPhoto(place));
    if (event.pointerType !== "mouse") stage.hideGlass();
    drag = null;
  });
  // the mouse that a browser makes of a finger would take the focus from the field that is asked for
  canvas.addEventListener("touchend", (event) => { if (event.cancelable) event.preventDefault(); });
  canvas.addEventListener("pointercancel", (event) => { fingers.delete(event.pointerId); drag = null; stage.hideGlass(); });
  canvas.addEventListener("pointerleave", (event) => { if (event.pointerType === "mouse" && !drag) stage.hideGlass(); });
  canvas.addEventListener("wheel", (event) => { event.preventDefault(); stage.zoom(event.deltaY < 0 ? 1.2 : 1 / 1.2, at(event)); }, { passive: false });

  keys(ring, stage, acts);
}

/** Two pairs of steps: as the picture is seen, and fine ones in tenths of a pixel and pixels. */
function steps(ring, stage) {
  const seen = stage.canvas.clientWidth / stage.scale;
  return ring.fine ? [0.1, 1] : [Math.max(1, nice(seen / 100)), Math.max(1, nice(seen / 12))];
}

function keys(ring, stage, acts) {
  const { canvas } = stage;
  const told = document.getElementById("ring-keys");
  let settled = 0;
  let before = null;

  function tell() {
    const [small, large] = steps(ring, stage);
    const what = ring.chosen >= 0 ? "the chosen mark" : ring.marking() ? "the cross" : "the picture";
    const words = [`Arrows move ${what} by ${small} px, with Shift by ${large} px`, `f: ${ring.fine ? "coarse" : "fine"} steps`];
    if (ring.marking()) words.push("Enter sets a mark");
    if (ring.all().length) words.push("n, p: next and previous mark", "Delete removes it", "Esc lets it go");
    words.push("+ \u2212 0: nearer, farther, whole", "o: overlay", "u: undo");
    told.textContent = `${words.join(" \u00b7 ")}.`;
  }

  function settle() {
    clearTimeout(settled);
    settled = setTimeout(() => { acts.moved(before); before = null; }, 400);
  }

  function arrow([dx, dy], isFar) {
    const size = steps(ring, stage)[isFar ? 1 : 0];
    if (ring.chosen >= 0) {
      const mark = ring.all()[ring.chosen];
      before ??= ring.snapshot();
      const to = [mark.x_px + dx * size, mark.y_px + dy * size];
      ring.move(ring.chosen, to);
      stage.show(to);
      stage.magnify(to);
      acts.moving();
      settle();
    } else if (ring.marking()) {
      const from = stage.cursor ?? centre();
      stage.cursor = [Math.max(0, Math.min(stage.width - 1, from[0] + dx * size)), Math.max(0, Math.min(stage.height - 1, from[1] + dy * size))];
      stage.show(stage.cursor);
      stage.magnify(stage.cursor);
    } else stage.pan(-dx * size * stage.scale, -dy * size * stage.scale);
    stage.later();
  }

  const centre = () => stage.toPhoto([canvas.clientWidth / 2, canvas.clientHeight / 2]);
  function choose(by) {
    const count = ring.all().length;
    if (!count) return;
    ring.chosen = ring.chosen < 0 ? (by > 0 ? 0 : count - 1) : (ring.chosen + by + count) % count;
    const mark = ring.all()[ring.chosen];
    stage.show([mark.x_px, mark.y_px]);
    stage.magnify([mark.x_px, mark.y_px]);
    acts.chose();
    stage.later();
  }

  const does = {
    ArrowLeft: (far) => arrow([-1, 0], far), ArrowRight: (far) => arrow([1, 0], far),
    ArrowUp: (far) => arrow([0, -1], far), ArrowDown: (far) => arrow([0, 1], far),
    n: () => choose(1), p: () => choose(-1),
    f: () => { ring.fine = !ring.fine; },
    Escape: () => { ring.chosen = -1; stage.hideGlass(); acts.chose(); stage.later(); },
    Delete: () => acts.remove(), Backspace: () => acts.remove(),
    Enter: () => { if (ring.marking()) { acts.add(stage.cursor ?? centre()); ring.chosen = -1; stage.later(); } },
    "+": () => stage.zoom(1.3, stage.cursor ? stage.toScreen(stage.cursor) : undefined),
    "=": () => stage.zoom(1.3, stage.cursor ? stage.toScreen(stage.cursor) : undefined),
    "-": () => stage.zoom(1 / 1.3), 0: () => stage.whole(),
    o: () => acts.overlay(), u: () => acts.undo(),
  };
  canvas.addEventListener("keydown", (event) => {
    const act = does[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    act(event.shiftKey);
    tell();
  });
  canvas.addEventListener("focus", () => {
    if (canvas.matches(":focus-visible")) stage.cursor ??= centre();
    tell();
    stage.later();
  });
  canvas.addEventListener("blur", () => { stage.hideGlass(); stage.later(); });
  document.addEventListener("ring-told", tell);
  tell();
}
