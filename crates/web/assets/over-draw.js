// A prediction dashed over a photograph, the photographed beam as dots.

/** Draws on a canvas as wide as it stands; without an image the photograph lies below it. */
export function draw(canvas, laid, image) {
  const ratio = Math.min(window.devicePixelRatio || 1, 2);
  const width = canvas.clientWidth;
  const k = width / laid.width_px;
  const height = laid.height_px * k;
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(height * ratio);
  const ctx = canvas.getContext("2d");
  ctx.setTransform(ratio, 0, 0, ratio, 0, 0);
  if (image) ctx.drawImage(image, 0, 0, width, height);
  // the centre of the top-left pixel is (0, 0)
  const place = ([x, y]) => [(x + 0.5) * k, (y + 0.5) * k];
  const size = Math.max(1, width / 700);
  const step = Math.max(1, Math.ceil(laid.beam_px.length / 90));
  laid.beam_px.forEach((p, n) => {
    if (n % step) return;
    const [x, y] = place(p);
    ctx.beginPath(); ctx.arc(x, y, 2.6 * size, 0, 7);
    ctx.fillStyle = "#E69F00"; ctx.strokeStyle = "#000"; ctx.lineWidth = size; ctx.fill(); ctx.stroke();
  });
  for (const [colour, wide] of [["#000", 3.6 * size], ["#56B4E9", 1.8 * size]]) {
    ctx.beginPath();
    laid.path_px.forEach((p, n) => { const [x, y] = place(p); if (n) ctx.lineTo(x, y); else ctx.moveTo(x, y); });
    ctx.strokeStyle = colour; ctx.lineWidth = wide; ctx.setLineDash([9 * size, 6 * size]); ctx.stroke(); ctx.setLineDash([]);
  }
}
