// The picture that is saved: the photo with its marks, and below it the result in words.
import { STYLES, blanked, paths } from "./marks.js";
import { words } from "./words.js";

/** Widths of marks are for a screen of so many px. */
const SCREEN = 1200;
const QUALITY = 0.9;
const TEXT = { size: 26, small: 19, margin: 28 };

/**
 * The picture as a JPEG file without EXIF. `bitmap` shows the whole photo and is used up, `overlay` is what was seen in it,
 * `lines` are the result.
 */
export async function annotated(bitmap, overlay, lines) {
  const pen = Math.max(bitmap.width, bitmap.height) / SCREEN;
  const marks = paths(overlay);
  const legend = marks.filter(([kind]) => words.legend[kind]).map(([kind]) => ({ kind, text: words.legend[kind], size: TEXT.small }));
  const rows = [...lines.map((text) => ({ text, size: TEXT.size })), ...legend];
  const step = (row) => row.size * 1.5 * pen;
  const bar = rows.reduce((sum, row) => sum + step(row), 2 * TEXT.margin * pen);
  const canvas = document.createElement("canvas");
  canvas.width = bitmap.width;
  canvas.height = Math.ceil(bitmap.height + bar);
  const context = canvas.getContext("2d");
  context.fillStyle = "#ffffff";
  context.fillRect(0, 0, canvas.width, canvas.height);
  context.drawImage(bitmap, 0, 0);
  context.save();
  context.beginPath();
  context.rect(0, 0, bitmap.width, bitmap.height);
  context.clip();
  const scale = bitmap.width / overlay.width;
  for (const [kind, d] of [...marks, ...blanked(overlay)]) draw(context, STYLES[kind], d, scale, pen);
  context.restore();
  bitmap.close();
  write(context, rows, canvas.height - bar + TEXT.margin * pen, pen, step);
  return new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
}

function draw(context, style, d, scale, pen) {
  const inPicture = new Path2D();
  inPicture.addPath(new Path2D(d), new DOMMatrix([scale, 0, 0, scale, 0, 0]));
  context.globalAlpha = style.opacity ?? 1;
  if (style.fill) {
    context.fillStyle = style.fill;
    return context.fill(inPicture);
  }
  context.strokeStyle = style.stroke;
  context.lineWidth = style.width * pen;
  context.lineCap = style.round ? "round" : "butt";
  context.setLineDash((style.dash ?? []).map((length) => length * pen));
  return context.stroke(inPicture);
}

/** The words below the picture; those about a mark stand behind it. */
function write(context, rows, top, pen, step) {
  let y = top;
  for (const row of rows) {
    const { kind } = row;
    let x = TEXT.margin * pen;
    const middle = y + step(row) / 2;
    if (kind) {
      for (const layer of [`${kind}-edge`, kind]) if (STYLES[layer]) draw(context, STYLES[layer], kind === "loop" ? `M${x + 11 * pen} ${middle}h.01` : `M${x} ${middle}h${22 * pen}`, 1, pen);
      x += 36 * pen;
    }
    context.globalAlpha = 1;
    context.fillStyle = "#1d282c";
    context.font = `${row.size * pen}px system-ui, sans-serif`;
    context.textBaseline = "middle";
    // Too long a line is made narrower, never cut.
    context.fillText(row.text, x, middle, context.canvas.width - x - TEXT.margin * pen);
    y += step(row);
  }
}
