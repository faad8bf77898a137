// Measures away from the page's own thread, so that the page stays alive. Stopped by ending the whole worker.
import init, { Session, compare, gauge, plan, version } from "./core.js";

// Longer side of the picture handed to the page: sharp when enlarged, and small enough for a phone.
const LONGEST = 2400;
// Stitches and rows, at least, in the small picture of a reading.
const IN_A_DETAIL = 9;
// Stitches that are tried as its middle.
const CENTRES = 200;

const ready = init({ module_or_path: new URL("./core_bg.wasm", import.meta.url) });
const session = ready.then(() => new Session());
// A number and its ± stay on one line.
const sayings = (text) => JSON.parse(text.replaceAll(" ± ", "\u00a0±\u00a0"));
const clock = () => performance.now();

async function measure(id, { photos, setups, together }) {
  const one = await session;
  one.clear();
  const answers = [];
  let picture = null;
  for (const [index, photo] of photos.entries()) {
    const bytes = new Uint8Array(await photo.arrayBuffer());
    const tell = (stage) => self.postMessage({ id, stage, index, of: photos.length });
    const answer = one.measure(bytes, photo.name, JSON.stringify(setups[index]), clock, tell);
    answers.push({ record: answer.record, said: sayings(answer.said), overlay: JSON.parse(answer.overlay) });
    answer.free();
  }
  const image = imageOf(one, LONGEST);
  if (image) picture = await createImageBitmap(image);
  let all = null;
  if (photos.length > 1) {
    const answer = one.together(JSON.stringify(together));
    all = { record: answer.record, said: sayings(answer.said), overlay: null };
    answer.free();
  }
  self.postMessage({ id, done: { answers, all, picture } }, picture ? [picture] : []);
}

/** The session's newest photo as pixels; `null` where it could not be read. */
function imageOf(one, longest) {
  const pixels = one.picture(longest);
  if (!pixels) return null;
  const image = new ImageData(new Uint8ClampedArray(pixels.rgba.buffer), pixels.width, pixels.height);
  pixels.free();
  return image;
}

async function picture(id, longest) {
  const image = imageOf(await session, longest);
  const bitmap = image && (await createImageBitmap(image));
  self.postMessage({ id, done: bitmap }, bitmap ? [bitmap] : []);
}

/** Measures a photo under each of several settings, and tells of each what a small part of it looks like then. */
async function details(id, { photo, setups }) {
  const bytes = new Uint8Array(await photo.arrayBuffer());
  let part = null;
  for (const [index, setup] of setups.entries()) {
    const one = new Session();
    const answer = one.measure(bytes, photo.name, JSON.stringify(setup), clock, () => {});
    const overlay = JSON.parse(answer.overlay);
    const seen = Boolean(JSON.parse(answer.record).gauge && overlay?.lattice);
    let bitmap = null;
    if (seen) {
      part ??= amidStitches(overlay);
      const image = imageOf(one, LONGEST);
      const times = image.width / overlay.width;
      bitmap = await createImageBitmap(image, ...part.map((value) => Math.round(value * times)));
      const within = ([x, y]) => x >= part[0] && y >= part[1] && x <= part[0] + part[2] && y <= part[1] + part[3];
      Object.assign(overlay, { loops: overlay.loops.filter(within), missing: [], marks: [], places: [], region: [], outline: [] });
    }
    self.postMessage({ id, part: { index, seen, bitmap, overlay: seen ? overlay : null, place: part } }, bitmap ? [bitmap] : []);
    answer.free();
    one.free();
  }
  self.postMessage({ id, done: null });
}

/** A square amid the stitches that were seen (a ruler may lie across the middle of the region): left, top, width, height. */
function amidStitches({ loops, region, lattice, width, height }) {
  const side = Math.min(IN_A_DETAIL * lattice.pitch_px, width, height);
  const around = ([x, y]) => loops.filter(([u, v]) => Math.max(Math.abs(u - x), Math.abs(v - y)) < side / 2).length;
  const step = Math.ceil(loops.length / CENTRES);
  const centres = loops.filter((_, index) => index % step === 0).map((at) => ({ at, count: around(at) }));
  const mean = [0, 1].map((axis) => region.reduce((sum, point) => sum + point[axis], 0) / Math.max(region.length, 1));
  const [x, y] = centres.reduce((best, one) => (one.count > best.count ? one : best), { at: mean, count: 0 }).at;
  const from = (at, size) => Math.min(Math.max(at - side / 2, 0), size - side);
  return [from(x, width), from(y, height), side, side];
}

self.onmessage = async ({ data: { id, what, value } }) => {
  try {
    await ready;
    if (what === "measure") await measure(id, value);
    if (what === "plan") self.postMessage({ id, done: JSON.parse(plan(JSON.stringify(value))) });
    if (what === "version") self.postMessage({ id, done: version() });
    if (what === "gauges") self.postMessage({ id, done: value.map((kept) => sayings(gauge(kept))) });
    if (what === "compare") self.postMessage({ id, done: JSON.parse(compare(...value)) });
    if (what === "picture") await picture(id, value);
    if (what === "details") await details(id, value);
  } catch (error) {
    // A text is a message from the core; anything else broke off inside it, and nothing in there can be used again.
    const said = typeof error === "string";
    self.postMessage({ id, failed: said ? error : String(error?.message ?? error), broken: !said });
  }
};
