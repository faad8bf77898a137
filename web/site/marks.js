// The marks drawn over a picture: on the page, and in the picture that is saved.

/** How each kind of mark is drawn; widths are for a screen. The later lie over the earlier. */
export const STYLES = {
  line: { stroke: "#9fdcff", width: 1, opacity: 0.55 },
  fifth: { stroke: "#ffffff", width: 1.4, opacity: 0.8 },
  tenth: { stroke: "#ffe14d", width: 2, opacity: 0.9 },
  outline: { stroke: "#ffffff", width: 2, dash: [8, 6] },
  "region-edge": { stroke: "#ffffff", width: 5, opacity: 0.8 },
  region: { stroke: "#0b63b3", width: 3 },
  "loop-edge": { stroke: "#ffffff", width: 6.5, round: true },
  loop: { stroke: "#d9481c", width: 4.5, round: true },
  missing: { stroke: "#000000", width: 2 },
  "mark-edge": { stroke: "#ffffff", width: 4, opacity: 0.8 },
  mark: { stroke: "#00724d", width: 2 },
  blanked: { fill: "#000000" },
};

/** The attributes of an SVG path of this kind. */
export const attributes = (kind) => {
  const { stroke, fill, width, opacity, dash, round } = STYLES[kind];
  return { stroke, fill: fill ?? "none", "stroke-width": width, opacity, "stroke-dasharray": dash?.join(" "), "stroke-linecap": round ? "round" : null };
};

const path = (points, closed) => (points.length ? `M${points.map((p) => p.join(" ")).join("L")}${closed ? "Z" : ""}` : "");

/** What was seen, as `[kind, path]`: few paths, however many stitches there are. */
export function paths(overlay) {
  const out = [];
  const add = (kind, d) => d && out.push([kind, d]);
  if (overlay.lattice) {
    const sets = { line: [], fifth: [], tenth: [] };
    for (const family of [overlay.lattice.stitches, overlay.lattice.rows]) {
      family.forEach((pieces, index) => {
        const kind = (index + 1) % 10 === 0 ? "tenth" : (index + 1) % 5 === 0 ? "fifth" : "line";
        for (const piece of pieces) sets[kind].push(path(piece));
      });
    }
    for (const [kind, lines] of Object.entries(sets)) add(kind, lines.join(""));
  }
  add("outline", path(overlay.outline ?? [], true));
  add("region-edge", path(overlay.region, true));
  add("region", path(overlay.region, true));
  const dots = overlay.loops.map((p) => `M${p.join(" ")}h.01`).join("");
  add("loop-edge", dots);
  add("loop", dots);
  const arm = (overlay.lattice?.pitch_px ?? 12) * 0.18;
  add("missing", overlay.missing.map(([x, y]) => `M${x - arm} ${y - arm}l${2 * arm} ${2 * arm}M${x + arm} ${y - arm}l${-2 * arm} ${2 * arm}`).join(""));
  const length = Math.max(overlay.width, overlay.height) / 120;
  const ticks = overlay.marks.map(([x, y, dx, dy]) => `M${x} ${y}l${dx * length} ${dy * length}`).join("") + overlay.places.map(([x, y]) => `M${x - length / 2} ${y}h${length}M${x} ${y - length / 2}v${length}`).join("");
  add("mark-edge", ticks);
  add("mark", ticks);
  return out;
}

/** What no picture may show: the face of a bank card. */
export const blanked = (overlay) => (overlay.blanked.length ? [["blanked", path(overlay.blanked, true)]] : []);
