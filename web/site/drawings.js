// Small drawings of how to lay swatch and ruler.
import { s } from "./dom.js";

const knit = (x, y, columns, rows, step = 14) => {
  let d = "";
  for (let row = 0; row < rows; row++) for (let column = 0; column < columns; column++) d += `M${x + column * step} ${y + row * 11}l${step / 2 - 1.5} 8l${step / 2 - 1.5} -8`;
  return s("path", { class: "knit", d });
};

const ruler = (x, y, length) => {
  let d = "";
  for (let mark = 0; mark * 6 <= length - 8; mark++) d += `M${x + 4 + mark * 6} ${y}v${mark % 10 === 0 ? 13 : mark % 5 === 0 ? 10 : 6}`;
  return [s("rect", { class: "rule", x, y, width: length, height: 24, rx: 2 }), s("path", { class: "tick", d })];
};

const tick = (x, y) => s("path", { class: "right", d: `M${x} ${y}l6 7l12 -15` });
const cross = (x, y) => s("path", { class: "wrong", d: `M${x} ${y}l14 14M${x + 14} ${y}l-14 14` });
const camera = (x, y, turn) => s("g", { transform: `translate(${x} ${y}) rotate(${turn})` }, s("rect", { class: "rule", x: -26, y: -7, width: 52, height: 14, rx: 4 }), s("rect", { class: "rule", x: -7, y: 7, width: 14, height: 6 }));

const pictures = {
  // From above: swatch, ruler along its edge, all within the frame.
  no_scale: () => [s("rect", { class: "paper", x: 10, y: 6, width: 300, height: 188, rx: 10 }), s("rect", { class: "fabric", x: 66, y: 20, width: 188, height: 122, rx: 6 }), knit(80, 32, 12, 9), ruler(40, 150, 244)],
  level: () => [s("path", { class: "frame", d: "M10 176h300" }), s("rect", { class: "fabric", x: 36, y: 166, width: 88, height: 10 }), camera(80, 50, 0), s("path", { class: "beam", d: "M70 66L40 162M90 66L120 162" }), tick(128, 44), s("rect", { class: "fabric", x: 196, y: 166, width: 88, height: 10 }), camera(216, 62, -38), s("path", { class: "beam", d: "M224 76L206 162M236 66L280 162" }), cross(270, 40)],
  light: () => [s("path", { class: "frame", d: "M10 176h300" }), s("rect", { class: "fabric", x: 110, y: 162, width: 130, height: 14 }), s("circle", { class: "rule", cx: 44, cy: 50, r: 20 }), s("path", { class: "beam", d: "M66 66L140 156M70 56L190 154M60 74L112 160" }), camera(176, 44, 0), tick(226, 46)],
  closer: () => [s("rect", { class: "paper", x: 10, y: 30, width: 140, height: 140, rx: 8 }), s("rect", { class: "fabric", x: 62, y: 78, width: 34, height: 30 }), s("rect", { class: "rule", x: 56, y: 114, width: 48, height: 7 }), cross(22, 42), s("rect", { class: "paper", x: 170, y: 30, width: 140, height: 140, rx: 8 }), s("rect", { class: "fabric", x: 184, y: 42, width: 112, height: 88, rx: 4 }), knit(192, 52, 7, 6), ruler(176, 138, 128), tick(282, 52)],
};

/** Which drawing helps with which refusal. */
const help = {
  no_scale: "no_scale", ruler_unmarked: "no_scale", unit_unclear: "no_scale", not_knit: "closer", too_few_stitches: "closer", too_small: "closer",
  out_of_focus: "light", glare: "light", tilt_too_large: "level", not_flat: "level", lattice_unclear: "light", several_swatches: "no_scale", moire: "no_scale",
};

/** A drawing by its name, said aloud as `label`; without a label it only decorates. */
export function drawing(name, label) {
  const about = label ? { role: "img", "aria-label": label } : { "aria-hidden": "true" };
  return s("svg", { class: "drawing", viewBox: "0 0 320 200", ...about }, pictures[name]().flat());
}

/** The drawing for a refusal; `null` where none helps. */
export const drawingFor = (code, labels) => (help[code] ? drawing(help[code], labels[help[code]]) : null);
