// The swatches that were kept: a list, export and import.
import { announce, h, save } from "./dom.js";
import * as engine from "./engine.js";
import * as shelf from "./shelf.js";
import { words } from "./words.js";

export class Swatches {
  constructor(root, app) {
    this.root = root;
    this.app = app;
    /** Names of the swatches to compare, the newest choice last. */
    this.beside = [];
  }

  async show(message) {
    let kept = [];
    let problem = null;
    try {
      kept = (await shelf.all()).filter((one) => !one.entry.deleted_at);
    } catch {
      problem = words.storage_failed;
    }
    const file = h("input", { type: "file", accept: ".jsonl,.ndjson,application/json", id: "import", "aria-label": words.log_import, onchange: (event) => this.import(event.target.files[0]) });
    this.root.replaceChildren(h("div", { class: "stack" }, h("h1", { tabindex: "-1" }, words.log_title), h("p", { class: "lead" }, words.log_lead),
      (problem ?? message) && h("p", { class: "problem", role: "status", id: "log-message" }, problem ?? message),
      this.deleted && h("div", { class: "row" }, h("span", {}, words.deleted(this.deleted.entry.id)), h("button", { type: "button", onclick: () => this.restore() }, words.undo)),
      h("div", { class: "row" }, h("button", { type: "button", id: "export", onclick: () => this.export() }, words.log_export), h("label", { class: "button" }, words.log_import, file)),
      (this.comparison = h("div", { "aria-live": "polite" })),
      kept.length ? h("div", { class: "grid" }, kept.map((one) => this.card(one))) : h("p", { class: "card quiet" }, words.log_empty)));
    this.beside = this.beside.filter((uid) => kept.some((one) => one.uid === uid));
    await Promise.all([this.compare(kept), this.gauges(kept)]);
  }

  /** Writes the gauge of each swatch in the core's words as soon as it has time: a photo may be being measured. */
  async gauges(kept) {
    const measured = kept.filter((one) => newestOf(one.entry));
    const said = await engine.gauges(measured.map(readingText)).catch(() => []);
    said.forEach(({ stitches, rows }, index) => {
      const { unit } = this.app;
      const place = this.root.querySelector(`[data-swatch="${measured[index].entry.id}"] .gauge`);
      if (place && stitches) place.textContent = words.swatch_gauge(stitches[unit], rows[unit], words.per[unit]);
    });
  }

  /** Sets the two swatches that are chosen side by side. */
  async compare(kept) {
    const two = this.beside.map((uid) => kept.find((one) => one.uid === uid)).sort((a, b) => a.entry.id - b.entry.id);
    if (two.length === 1) return this.comparison.replaceChildren(h("p", { class: "quiet" }, words.compare_one(heading(two[0]))));
    if (two.length < 2) return this.comparison.replaceChildren();
    const found = await engine.compare(...two.map((one) => readingText(one))).catch((error) => ({ error: error.message }));
    return this.comparison.replaceChildren(h("section", { class: "card soft stack close", id: "comparison" }, h("h2", {}, words.compare_title(...two.map(heading))),
      found.error ? h("p", {}, words.compare_failed(found.error)) : this.findings(found, two)));
  }

  findings(found, two) {
    const { unit } = this.app;
    const per = words.per[unit];
    const sentence = (what) => {
      const { finding, more, size, source } = found[what];
      const [first, second] = more === "first" ? two : [...two].reverse();
      const surer = words.compare_surer.find(([word]) => source?.includes(word))?.[1] ?? words.compare_larger;
      return h("p", {}, h("strong", {}, `${words.compare_findings[finding]}. `), words.compare_sentences[finding](size[unit].replaceAll(" ± ", "\u00a0±\u00a0"), words[what], per, heading(first), heading(second)),
        finding === "cant_tell" && ` ${surer}`);
    };
    const states = two.map((one) => newestOf(one.entry)?.state ?? null);
    const stitches = two.map((one) => one.entry.swatch.stitch ?? null);
    const careful = [states[0] !== states[1] && words.compare_states, stitches[0] !== stitches[1] && words.compare_patterns].filter(Boolean);
    return [h("h3", {}, words.columns.stitches), sentence("stitches"), h("h3", {}, words.columns.rows), sentence("rows"), careful.map((text) => h("p", { class: "problem" }, text)),
      h("p", { class: "quiet" }, `${found.shared ? `${words.compare_shared} ` : ""}${words.compare_these}`)];
  }

  /** Takes a swatch into the comparison or out of it; a third takes the place of the first. */
  async toggle(one) {
    this.beside = this.beside.includes(one.uid) ? this.beside.filter((uid) => uid !== one.uid) : [...this.beside, one.uid].slice(-2);
    await this.show();
    this.root.querySelector(`[data-swatch="${one.entry.id}"] [aria-pressed]`)?.focus({ preventScroll: true });
    // On a small screen it stands above what was touched.
    if (this.beside.length === 2) this.comparison.scrollIntoView({ block: "nearest" });
  }

  card(one) {
    const { entry } = one;
    const about = entry.swatch;
    const newest = newestOf(entry);
    const record = newest?.reading.photo;
    const refused = record && !record.gauge;
    const details = [about.stitch && (words.patterns[about.stitch] ?? about.stitch), about.needle_mm && words.needle_of(about.needle_mm), newest?.state && words.states[newest.state], about.knitter, about.made_on?.replaceAll("-", "\u2011")].filter(Boolean);
    return h("article", { class: "card swatch", "data-swatch": String(entry.id) }, h("h2", {}, heading(one)), newest && h("p", { class: "gauge" }, refused && words.refused_kept), h("p", { class: "quiet" }, details.join(", ")), about.note && h("p", {}, about.note),
      h("div", { class: "row" }, record?.gauge && h("button", { type: "button", onclick: () => this.app.castOn(JSON.stringify(record), words.swatch_heading(entry.id, about.yarn)) }, words.to_cast_on),
        newest && !refused && h("button", { type: "button", "aria-pressed": String(this.beside.includes(one.uid)), "aria-label": `${words.compare}: ${heading(one)}`, onclick: () => this.toggle(one) }, words.compare),
        h("button", { type: "button", "aria-label": `${words.delete}: ${words.swatch_heading(entry.id, about.yarn)}`, onclick: () => this.delete(one) }, words.delete)));
  }

  async delete(one) {
    await shelf.setDeleted(one.uid, true);
    this.deleted = one;
    announce(words.deleted(one.entry.id));
    await this.show();
    this.root.querySelector("h1").focus();
  }

  async restore() {
    const { uid } = this.deleted;
    this.deleted = null;
    await shelf.setDeleted(uid, false);
    await this.show();
    this.root.querySelector("h1").focus();
  }

  async export() {
    save(words.file_name, await shelf.exported(), "application/x-ndjson");
  }

  async import(file) {
    if (!file) return;
    let message;
    try {
      const { added, there, differing } = await shelf.imported(await file.text(), { json: words.log_bad_json, kind: words.log_bad_kind });
      message = words.log_imported(added, there, differing);
    } catch (problem) {
      message = problem.line ? words.log_not(problem.line, problem.why) : words.storage_failed;
    }
    await this.show(message);
    announce(message);
  }
}

const heading = ({ entry }) => words.swatch_heading(entry.id, entry.swatch.yarn);

/** The measurement that counts. */
function newestOf(entry) {
  const counting = entry.measurements.filter((m) => !m.deleted_at && !m.replaced_by);
  return counting[counting.length - 1];
}

/** What the core compares, as text. */
function readingText({ entry }) {
  const { uid, reading } = newestOf(entry);
  return JSON.stringify({ uid, reading });
}
