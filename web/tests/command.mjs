// The command line, whose answers the page must give too.
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

/** The first place where two records differ by more than 1e-6; `null` where they don't. Times and file names aside. */
export function difference(a, b, path = "") {
  if (path === ".elapsed_ms" || path === ".photo.file") return null;
  if (typeof a === "number" && typeof b === "number") {
    // Numbers about zero (a skew, a share of the budget) have no relative error: a billionth of a unit is nothing.
    return Math.abs(a - b) <= 1e-6 * Math.max(Math.abs(a), Math.abs(b)) + 1e-9 ? null : `${path}: ${a} and ${b}`;
  }
  if (a === null || b === null || typeof a !== "object" || typeof b !== "object") return a === b ? null : `${path}: ${a} and ${b}`;
  for (const key of new Set([...Object.keys(a), ...Object.keys(b)])) {
    const found = difference(a[key] ?? null, b[key] ?? null, `${path}.${key}`);
    if (found) return found;
  }
  return null;
}
