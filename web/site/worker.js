// Measures away from the page's own thread, so that the page stays alive. Stopped by ending the whole worker.
import init, { Session, plan, version } from "./core.js";

// Longer side of the picture handed to the page: sharp when enlarged, and small enough for a phone.
const LONGEST = 2400;

const ready = init();
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
  const pixels = one.picture(LONGEST);
  if (pixels) {
    const image = new ImageData(new Uint8ClampedArray(pixels.rgba.buffer), pixels.width, pixels.height);
    pixels.free();
    picture = await createImageBitmap(image);
  }
  let all = null;
  if (photos.length > 1) {
    const answer = one.together(JSON.stringify(together));
    all = { record: answer.record, said: sayings(answer.said), overlay: null };
    answer.free();
  }
  self.postMessage({ id, done: { answers, all, picture } }, picture ? [picture] : []);
}

self.onmessage = async ({ data: { id, what, value } }) => {
  try {
    await ready;
    if (what === "measure") await measure(id, value);
    if (what === "plan") self.postMessage({ id, done: JSON.parse(plan(JSON.stringify(value))) });
    if (what === "version") self.postMessage({ id, done: version() });
    if (what === "annotated") {
      const bytes = (await session).annotated();
      self.postMessage({ id, done: bytes }, bytes ? [bytes.buffer] : []);
    }
  } catch (error) {
    // A text is a message from the core; anything else broke off inside it, and nothing in there can be used again.
    const said = typeof error === "string";
    self.postMessage({ id, failed: said ? error : String(error?.message ?? error), broken: !said });
  }
};
