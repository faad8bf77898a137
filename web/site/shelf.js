// The swatches kept in this browser: one entry each, as a line of the same JSON Lines that `walewise log export` writes.

const SCHEMA = "walewise.swatch/1";

let opened = null;
function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open("walewise", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("swatches", { keyPath: "uid" });
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => {
      opened = null;
      reject(request.error);
    };
  });
  return opened;
}

async function transact(mode, work) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction("swatches", mode);
    const result = work(transaction.objectStore("swatches"));
    transaction.oncomplete = () => resolve(result?.result ?? result);
    transaction.onerror = transaction.onabort = () => reject(transaction.error);
  });
}

/** A name like those the command line gives: 16 random bytes in hexadecimal. */
const uid = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");

/** This instant as the command's log writes it: no zeros at the end of a second's fraction. */
export function instant(now = new Date()) {
  return now.toISOString().replace(/(\.\d*?)0+Z$/, "$1Z").replace(".Z", "Z");
}

const today = () => {
  const now = new Date();
  return new Date(now.getTime() - now.getTimezoneOffset() * 60_000).toISOString().slice(0, 10);
};

/** All entries, newest first; each is `{uid, line, entry}` with the line's own text kept. */
export async function all() {
  const kept = await transact("readonly", (store) => store.getAll());
  return kept.map(({ uid: name, line }) => ({ uid: name, line, entry: JSON.parse(line) })).sort((a, b) => b.entry.id - a.entry.id);
}

const put = (name, line) => transact("readwrite", (store) => store.put({ uid: name, line }));

/** Puts the record's own text in the place of its parsed form, so that no digit of it changes. */
const lineOf = (entry, recordText) => {
  const place = `@record-${uid()}@`;
  const reading = { photo: place };
  const [measurement] = entry.measurements;
  return JSON.stringify({ ...entry, measurements: [{ ...measurement, reading }] }).replace(JSON.stringify(place), () => recordText);
};

/** Keeps a measurement as a new swatch; its number. */
export async function keep({ record, text, options }, said) {
  const kept = await all();
  const id = Math.max(0, ...kept.map((one) => one.entry.id)) + 1;
  const within = Math.max(0, ...kept.flatMap((one) => one.entry.measurements.map((m) => m.id))) + 1;
  const now = instant();
  const pattern = record.stitch_pattern;
  const words = (value) => value.trim() || null;
  const measurement = {
    id: within, uid: uid(), added_at: now, deleted_at: null, measured_on: today(), state: said.state || null, stretched_to_mm: null,
    photo: record.photo.file || null, photo_sha256: record.photo.sha256, picture: null, options, replaced_by: null,
  };
  const entry = {
    schema: SCHEMA, id, uid: uid(), added_at: now, deleted_at: null,
    swatch: {
      made_on: today(), knitter: words(said.knitter), yarn: words(said.yarn), fibre: null, yarn_weight: null, ball_g: null, ball_m: null, dye_lot: null,
      needle_mm: said.needle > 0 ? said.needle : null, needle_material: null, stitch: pattern?.name ?? null, repeat_stitches: pattern?.repeat_stitches ?? null,
      repeat_rows: pattern?.repeat_rows ?? null, worked: null, note: words(said.note),
    },
    tags: [], measurements: [measurement],
    history: [{ at: now, kind: "added", field: null, before: null, after: null }, { at: now, kind: "measured", field: String(within), before: null, after: null }],
  };
  await put(entry.uid, lineOf(entry, text));
  return id;
}

/** Marks a swatch as deleted, or brings it back; nothing is lost. */
export async function setDeleted(name, deleted) {
  const one = (await all()).find((kept) => kept.uid === name);
  const at = instant();
  const event = { at, kind: deleted ? "deleted" : "restored", field: null, before: null, after: null };
  // The measurements keep their own text: only what stands around them is written anew.
  const outer = one.line.replace(/"deleted_at":(null|"[^"]*")/, `"deleted_at":${deleted ? JSON.stringify(at) : "null"}`);
  await put(name, outer.replace(/\](\s*)\}(\s*)$/, (_, a, b) => `${one.entry.history.length ? "," : ""}${JSON.stringify(event)}]${a}}${b}`));
}

/** All of it as JSON Lines, by number. */
export async function exported() {
  const kept = await all();
  return kept.sort((a, b) => a.entry.id - b.entry.id).map((one) => `${one.line}\n`).join("");
}

/** Whether two entries say the same, numbers in the log aside. */
function same(a, b) {
  const plain = (entry) => ({ ...entry, id: 0, measurements: entry.measurements.map((m) => ({ ...m, id: 0 })) });
  const sorted = (value) => (Array.isArray(value) ? value.map(sorted) : value && typeof value === "object" ? Object.fromEntries(Object.keys(value).sort().map((key) => [key, sorted(value[key])])) : value);
  return JSON.stringify(sorted(plain(a))) === JSON.stringify(sorted(plain(b)));
}

/**
 * Brings lines in, all or none: `{added, there, differing}`. A swatch that is there already is never changed. Throws
 * `{line, why}` for a line that is no swatch.
 */
export async function imported(text, why) {
  const read = text.split("\n").map((line, index) => ({ line: line.trim(), number: index + 1 })).filter(({ line }) => line);
  const entries = read.map(({ line, number }) => {
    let entry;
    try {
      entry = JSON.parse(line);
    } catch {
      throw { line: number, why: why.json };
    }
    if (entry?.schema !== SCHEMA) throw { line: number, why: why.kind };
    if (typeof entry.uid !== "string" || !Array.isArray(entry.measurements) || !Array.isArray(entry.history) || !entry.swatch) throw { line: number, why: why.json };
    return { line, entry };
  });
  const kept = new Map((await all()).map((one) => [one.uid, one.entry]));
  const numbers = new Set([...kept.values()].map((entry) => entry.id));
  const count = { added: 0, there: 0, differing: 0 };
  const fresh = [];
  for (const { line, entry } of entries) {
    const before = kept.get(entry.uid);
    if (before) {
      count.there += 1;
      if (!same(before, entry)) count.differing += 1;
      continue;
    }
    // Its number is kept where it is free.
    let id = entry.id;
    if (!Number.isInteger(id) || numbers.has(id)) id = Math.max(0, ...numbers) + 1;
    numbers.add(id);
    kept.set(entry.uid, entry);
    fresh.push({ uid: entry.uid, line: id === entry.id ? line : line.replace(/"id":\s*-?\d+/, `"id":${id}`) });
    count.added += 1;
  }
  await transact("readwrite", (store) => fresh.forEach((one) => store.put(one)));
  return count;
}
