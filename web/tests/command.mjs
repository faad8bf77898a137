// The command line, whose answers the page must give too.
import assert from "node:assert/strict";
import { execFile } from "node:child_process";
import { existsSync, readFileSync, statSync } from "node:fs";
import { join } from "node:path";
import { root } from "./site.mjs";

const built = ["release", "quick", "debug"].map((profile) => join(root, "target", profile, "walewise")).filter(existsSync);
export const binary = process.env.WALEWISE_BIN ?? built.sort((a, b) => statSync(b).mtimeMs - statSync(a).mtimeMs)[0];

/** Runs `walewise` with these arguments: exit status, standard output, standard error. */
export const walewise = (...words) =>
  new Promise((done) => execFile(binary, words, { maxBuffer: 1 << 26 }, (error, out, err) => done({ status: error ? error.code : 0, out, err })));

/** The options written beside a sample photo, and what they mean in the page's settings. */
export function beside(photo) {
  const about = JSON.parse(readFileSync(photo.replace(/\.jpg$/, ".json"), "utf8"));
  const setup = {};
  for (let at = 0; at < about.arguments.length; at++) {
    const word = about.arguments[at];
    const length = word.match(/^--card-length=(.*)$/);
    if (word === "--stitch") setup.stitch = about.arguments[++at];
    else if (word === "--repeat") setup.repeat = about.arguments[++at].split("x").map(Number);
    else if (word === "--grid") setup.grid = Number(about.arguments[++at]);
    else if (word === "--card") setup.card = true;
    else if (length) setup.card_length = Number(length[1]);
    else throw new Error(`an option these tests don't know: ${word}`);
  }
  return { options: about.arguments, setup };
}

/** How far apart two values of a gauge may be, relatively. Seen: 4e-7 and less. */
const VALUES = 1e-6;
/**
 * The same for half-widths: how stitches scatter is told from spectra in 32-bit numbers, whose last digits depend on the
 * width of the processor's vectors. Up to 2e-5 was seen.
 */
const HALF_WIDTHS = 2e-4;

/** What is decided about a photo: alike to the letter. */
const decisions = (record) => ({
  status: record.status, refusal: record.refusal?.code, error: record.error?.code, pattern: record.stitch_pattern && { ...record.stitch_pattern, confidence: null }, sha256: record.photo.sha256,
  size: [record.photo.width_px, record.photo.height_px], focal: record.photo.focal_length_35mm, declared: record.lattice?.decision?.declared,
  scale: record.scale && [record.scale.kind, record.scale.unit, record.scale.ruler_on, record.scale.graduations_read],
  cautions: record.cautions.map((caution) => caution.code), sources: record.budget.map((part) => part.source).sort(),
  wanted: record.wanted && [record.wanted.stitches.verdict, record.wanted.rows.verdict],
});

const apart = (a, b) => Math.abs(a - b) / Math.max(Math.abs(a), Math.abs(b));

/** Relative differences of the values and of the half-widths of two measured gauges, the largest of each. */
export function differences(a, b) {
  const axes = ["stitches_per_10cm", "rows_per_10cm"];
  const largest = (name) => Math.max(...axes.map((axis) => apart(a.gauge[axis][name], b.gauge[axis][name])));
  return a.gauge && b.gauge ? { values: largest("value"), halfWidths: largest("expanded_uncertainty") } : { values: 0, halfWidths: 0 };
}

/** Fails unless two records say the same. */
export function alike(a, b, what) {
  assert.deepEqual(decisions(a), decisions(b), what);
  const { values, halfWidths } = differences(a, b);
  assert.ok(values <= VALUES && halfWidths <= HALF_WIDTHS, `${what}: values ${values}, half-widths ${halfWidths} apart`);
}
