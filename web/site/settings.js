// What was set by hand → what the core is told, the options of the command line that say the same, and their names.

/** Nothing set by hand. */
export const nothing = () => ({
  pattern: "", name: "", repeat: [null, null],
  scale: "auto", span: null, length: null, grid: 10, card: null,
  on: "", thickness: null, class: "",
  region: null, axes: null, expect: null, wanted: [null, null],
  counted: [null, null], over: "edges", corners: null,
});

const patternOf = (set) => {
  if (set.pattern !== "other") return set.pattern ? { stitch: set.pattern } : {};
  const [a, b] = set.repeat;
  return set.name.trim() && a >= 1 && b >= 1 ? { stitch: set.name.trim(), repeat: [a, b] } : {};
};

/** The core's settings. Places belong to one photo and are left out for others. */
export function setup(set, { places = true } = {}) {
  const out = patternOf(set);
  if (set.scale === "cm" || set.scale === "inch") out.ruler = set.scale;
  if (set.scale === "grid" && set.grid > 0) out.grid = set.grid;
  if (set.scale === "card") {
    out.card = true;
    if (set.card) out.card_length = set.card;
  }
  if (set.scale === "id1") out.id1 = true;
  if (set.scale === "span" && set.span && set.length > 0 && places) out.span = { from: set.span[0], to: set.span[1], mm: set.length };
  if (set.on) out.ruler_on = set.on;
  if (set.thickness !== null) out.ruler_thickness = set.thickness;
  if (set.class) out.ruler_class = set.class;
  if (set.axes !== null && places) out.axes = set.axes;
  if (set.region && places) out.region = set.region;
  if (set.expect) out.expect = set.expect;
  if (set.counted[0] > 0 && set.counted[1] > 0) {
    out.counted = set.counted;
    if (set.scale !== "span" && set.over === "corners" && set.corners && places) out.corners = set.corners;
  }
  if (set.wanted[0] && set.wanted[1]) out.wanted = set.wanted;
  return out;
}

/** The options of `walewise measure` for the same settings, as the log keeps them. */
export function options(of) {
  const out = [];
  const say = (name, value) => out.push(`--${name}`, String(value));
  if (of.stitch) say("stitch", of.stitch);
  if (of.repeat) say("repeat", of.repeat.join("x"));
  if (of.ruler) say("ruler", of.ruler);
  if (of.grid) say("grid", of.grid);
  if (of.card) out.push("--card");
  if (of.card_length) say("card-length", of.card_length);
  if (of.id1) out.push("--id1");
  if (of.counted) say("counted", of.counted.join("x"));
  if (of.corners) say("span", of.corners.flat().join(","));
  if (of.span) say("span", `${[...of.span.from, ...of.span.to].join(",")}=${of.span.mm}mm`);
  if (of.axes !== undefined) say("axes", of.axes);
  if (of.region) say("region", of.region.join(","));
  if (of.ruler_class) say("ruler-class", of.ruler_class);
  if (of.ruler_thickness !== undefined) say("ruler-thickness", of.ruler_thickness);
  if (of.ruler_on) say("ruler-on", of.ruler_on);
  if (of.expect) say("expect", of.expect.join("x"));
  return out;
}

/** Names of what was set by hand. */
export const byHand = (of) => ["stitch", "counted", "span", "grid", "card", "id1", "ruler", "ruler_on", "ruler_thickness", "ruler_class", "axes", "region", "expect"].filter((name) => of[name] !== undefined);
