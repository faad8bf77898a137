// The measuring core in its worker, as functions that return promises.

let worker = null;
let next = 1;
const waiting = new Map();

function start() {
  worker = new Worker(new URL("./worker.js", import.meta.url), { type: "module" });
  worker.onmessage = ({ data }) => {
    const call = waiting.get(data.id);
    if (!call) return;
    if ("stage" in data) return call.progress?.(data.stage, data.index, data.of);
    if ("part" in data) return call.progress?.(data.part);
    waiting.delete(data.id);
    if ("done" in data) return call.resolve(data.done);
    if (data.broken) stop();
    call.reject(Object.assign(new Error(data.failed), { broken: data.broken }));
  };
  worker.onerror = () => {
    const calls = [...waiting.values()];
    stop();
    calls.forEach((call) => call.reject(Object.assign(new Error("worker"), { broken: true })));
  };
}

function ask(what, value, progress) {
  if (!worker) start();
  const id = next++;
  return new Promise((resolve, reject) => {
    waiting.set(id, { resolve, reject, progress });
    worker.postMessage({ id, what, value });
  });
}

function stop() {
  worker?.terminate();
  worker = null;
  waiting.clear();
}

/** Gets the core ready before it is needed. */
export const version = () => ask("version");

/** Measures photos, one setup each; `together` is the setup of the one record of all. */
export const measure = (photos, setups, together, progress) => ask("measure", { photos, setups, together }, progress);

/** The newest photo, upright, at most `longest` px along its longer side, as an ImageBitmap. */
export const picture = (longest) => ask("picture", longest);

/** Measures one photo under each of several settings; `progress` is told of each as it comes. */
export const details = (photo, setups, progress) => ask("details", { photo, setups }, progress);

/** Counts, shaping and words for one piece. */
export const plan = (asked) => ask("plan", asked);

/** The gauge of each of several kept measurements in words; each is the text of `{"uid", "reading"}` as the log keeps it. */
export const gauges = (kept) => ask("gauges", kept);

/** How two swatches differ; each is the text of `{"uid", "reading"}` as the log keeps it. */
export const compare = (first, second) => ask("compare", [first, second]);

/** Ends whatever is being measured, at once. Promises that wait are never settled. */
export function cancel() {
  stop();
  version();
}
