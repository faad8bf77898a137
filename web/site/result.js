// What came of the photos: the answer, or why there is none and what helps.
import { announce, field, h, number, s, save, settled } from "./dom.js";
import { drawingFor } from "./drawings.js";
import { annotated } from "./picture.js";
import { Rivals } from "./rivals.js";
import * as engine from "./engine.js";
import { Hand } from "./hand.js";
import { keepForm } from "./keeping.js";
import { byHand, options } from "./settings.js";
import { Viewer } from "./viewer.js";
import { words } from "./words.js";

/** What is typed per 4 in is per 101.6 mm; numbers that are shown come from the core in both units. */
const FOUR_INCHES = 1.016;
/** Longer side of the picture that is saved: what every phone's browser can draw. */
const SAVED_PX = 4000;
/** Contributions that are worth telling, and the share of the largest below which advice is not. */
const LARGEST = 3;
const WORTH_TELLING = 0.01;
const WORTH_ADVICE = 0.25;
const WIDE = matchMedia("(min-width: 60rem)");

export class Result {
  constructor(measuring, app) {
    this.measuring = measuring;
    this.app = app;
    WIDE.addEventListener("change", () => this.shown && this.arrange());
  }

  get shown() {
    return this.side?.isConnected ?? false;
  }

  /** Dims what no longer holds while the photo is measured again. */
  busy(on) {
    if (on) announce(words.working);
    for (const part of [this.side, this.rest]) {
      part?.classList.toggle("again", on);
      part?.setAttribute("aria-busy", String(on));
    }
  }

  /** Shows what the engine gave for the settings `asked`. */
  show(done, asked) {
    const last = done.answers[done.answers.length - 1];
    const main = done.all ?? last;
    this.rivals = null;
    Object.assign(this, { asked, overlay: last.overlay, text: main.record, record: JSON.parse(main.record), said: main.said, count: done.answers.length });
    const first = !this.shown;
    if (first) this.frame();
    this.busy(false);
    if (done.picture) {
      this.viewer.element.hidden = false;
      // A card that was not found can be anywhere: then the picture stays, to set things by hand, and is not saved.
      this.viewer.show(done.picture, last.overlay, this.record.scale?.kind === "id1");
      this.hand.element.hidden = false;
      this.hand.saw(last.overlay, JSON.parse(last.record));
    } else {
      this.viewer.element.hidden = true;
      this.hand.element.hidden = this.record.status === "unreadable";
    }
    this.fill();
    if (first) {
      const open = words.refusals[this.record.refusal?.code]?.open;
      if (open) this.hand.open(open);
      scrollTo({ top: 0 });
      this.side.querySelector("h1").focus({ preventScroll: true });
    }
    announce(this.headline());
  }

  frame() {
    this.viewer = new Viewer();
    this.hand = new Hand(this.measuring, this.app, this.viewer);
    this.side = h("div", { class: "stack" });
    this.rest = h("div", { class: "stack" });
    this.layout = h("div");
    this.measuring.root.replaceChildren(this.layout);
    this.arrange();
  }

  /** Side by side where there is room; on a narrow screen the figures, the picture, then the rest. */
  arrange() {
    if (WIDE.matches) this.layout.replaceChildren(h("div", { class: "stack" }, this.viewer.element, this.hand.element), h("div", { class: "stack" }, this.side, this.rest));
    else this.layout.replaceChildren(this.side, this.viewer.element, this.hand.element, this.rest);
    this.layout.className = WIDE.matches ? "two" : "stack";
  }

  headline() {
    const { gauge, refusal } = this.record;
    if (gauge) return `${this.said.stitches[this.app.unit]} ${words.stitches}, ${this.said.rows[this.app.unit]} ${words.rows}, ${words.per[this.app.unit]}`;
    return refusal ? words.refusals[refusal.code].title : words.failed_title;
  }

  fill() {
    const { record } = this;
    this.rivals?.end();
    this.rivals = null;
    const [first, rest] = record.gauge ? this.answer() : [record.refusal ? this.refusal() : this.failure(), []];
    this.side.replaceChildren(...first.filter(Boolean));
    this.rest.replaceChildren(...rest.filter(Boolean));
  }

  complain(message) {
    this.side.prepend(h("p", { class: "problem", role: "alert" }, message));
  }

  // The answer.

  answer() {
    const unit = this.app.unit;
    const names = this.count > 1 ? words.together_from(this.count) : words.measured_on(this.record.photo.file);
    const first = [
      h("div", { class: "stack close" }, h("h1", { tabindex: "-1" }, words.answer_title), h("p", { class: "quiet" }, names)),
      h("div", { class: "figures" }, this.figure("stitches", unit), this.figure("rows", unit)),
      this.inWords(unit),
      h("div", { class: "row wide" },
        h("button", { type: "button", class: "main-button", onclick: () => this.app.castOn(this.text, names) }, words.to_cast_on),
        h("button", { type: "button", id: "keep", onclick: () => this.keep() }, words.keep)),
      (this.keeping = h("div", { hidden: true })),
      this.carefully(),
      this.wanted(unit),
    ];
    const rest = [
      this.why(),
      this.basis(unit),
      h("div", { class: "row" },
        this.app.again(words.another, (files) => this.measuring.take(files)),
        this.count === 1 && h("button", { type: "button", onclick: () => this.savePicture() }, words.save_picture),
        h("button", { type: "button", onclick: () => save("walewise.json", `${this.text}\n`, "application/json") }, words.save_record)),
    ];
    return [first, rest];
  }

  figure(what, unit) {
    const [value, spread] = this.said[what][unit].split("\u00a0±\u00a0");
    return h("div", { class: "card figure" }, h("div", {}, h("span", { class: "value" }, value), " ", h("span", { class: "spread" }, `± ${spread}`)),
      h("div", { class: "what" }, words[what]), h("div", { class: "quiet" }, words.per[unit]));
  }

  inWords(unit) {
    const sentence = (what) => h("p", {}, words.sure(...this.said[`${what}_between`][unit], words[what], words.per[unit]));
    const { next_stitches: stitches, next_rows: rows } = this.said;
    const other = unit === "cm" ? "in" : "cm";
    return h("div", { class: "stack close" }, sentence("stitches"), sentence("rows"),
      h("p", { class: "quiet" }, `${words.swatch_gauge(this.said.stitches[other], this.said.rows[other], words.per[other])}.`),
      stitches && h("p", { class: "quiet" }, words.as_it_lies, " ", words.next(stitches[unit], rows[unit], words.per[unit])));
  }

  // Am I there?

  wanted(unit) {
    const { set } = this.measuring;
    const times = unit === "cm" ? 1 : FOUR_INCHES;
    const changed = settled(500, () => {
      if (Boolean(set.wanted[0]) === Boolean(set.wanted[1])) this.measuring.measure();
    });
    const input = (index, label, id) => field(label, h("input", { type: "text", inputmode: "decimal", autocomplete: "off", id,
      value: set.wanted[index] ? String(Number((set.wanted[index] * times).toFixed(2))) : "", oninput: (event) => {
        const typed = number(event.target.value);
        set.wanted[index] = typed > 0 ? typed / times : null;
        changed();
      } }));
    const focused = ["wanted-stitches", "wanted-rows"].includes(document.activeElement?.id) ? document.activeElement : null;
    // Typing goes on while the answer is drawn anew.
    if (focused && this.wantedFields?.contains(focused)) requestAnimationFrame(() => focused.focus());
    else this.wantedFields = h("div", { class: "fields" }, input(0, words.wanted_stitches, "wanted-stitches"), input(1, words.wanted_rows, "wanted-rows"));
    const answer = this.record.wanted;
    return h("section", { class: `card stack close${answer ? " soft" : ""}`, id: "wanted" }, h("h2", {}, words.wanted_title),
      h("p", { class: "quiet" }, `${words.wanted_lead.replace(/:$/, "")}, ${words.per[unit]}:`), this.wantedFields,
      answer && [this.verdict("stitches", answer.stitches, unit), this.verdict("rows", answer.rows, unit), h("p", {}, this.tryThis(answer))]);
  }

  verdict(what, axis, unit) {
    const planned = unit === "cm" ? axis.piece_planned_cm : Number((axis.piece_planned_cm / 2.54).toFixed(1));
    return h("div", {}, h("p", { class: "verdict" }, `${words.verdicts[axis.verdict][what]}.`),
      axis.verdict === "cant_tell" && h("p", { class: "quiet" }, words.chances(axis.probability_too_tight, axis.probability_matches, axis.probability_too_loose)),
      h("p", {}, words.comes_out[what](planned, this.said[`wanted_${what}`][unit], words[`unit_${unit}`])));
  }

  tryThis({ stitches, rows }) {
    if (stitches.verdict === "too_tight") return words.try_larger;
    if (stitches.verdict === "too_loose") return words.try_smaller;
    if (stitches.verdict === "matches" && ["too_tight", "too_loose"].includes(rows.verdict)) return words.keep_needle;
    if (stitches.verdict === "matches" && rows.verdict === "matches") return words.there;
    return words.measure_more;
  }

  // How sure, and on what.

  carefully() {
    const cautions = this.record.cautions.filter((caution) => caution.code !== "outline_unknown");
    const sentence = (text) => `${text.charAt(0).toUpperCase()}${text.slice(1)}${/[.!?]$/.test(text) ? "" : "."}`;
    return cautions.length > 0 && h("section", { class: "card warm stack close" }, h("h2", {}, words.careful), h("ul", {}, cautions.map((c) => h("li", {}, sentence(c.message)))));
  }

  why() {
    const variance = (part) => part.stitches_percent ** 2 + part.rows_percent ** 2;
    const parts = this.record.budget.filter((part) => variance(part) > 0).sort((a, b) => variance(b) - variance(a));
    if (parts.length === 0) return null;
    const all = parts.reduce((sum, part) => sum + variance(part), 0);
    const known = (part) => words.sources.find(([word]) => part.source.includes(word)) ?? [null, part.source, null];
    // What has one name for a person is one thing.
    const named = new Map();
    for (const part of parts) {
      const [, name, help] = known(part);
      const share = (named.get(name)?.share ?? 0) + variance(part) / all;
      named.set(name, { name, share, help: named.get(name)?.help ?? help });
    }
    const largest = [...named.values()].sort((a, b) => b.share - a.share).filter(({ share }) => share >= WORTH_TELLING).slice(0, LARGEST);
    const advice = new Set(largest.filter(({ share }) => share >= WORTH_ADVICE * largest[0].share).map(({ help }) => help).filter(Boolean));
    const bar = (share) => h("div", { class: "bar" }, s("svg", { viewBox: "0 0 100 1", preserveAspectRatio: "none", "aria-hidden": "true" }, s("rect", { width: 100 * share, height: 1 })));
    return h("section", { class: "card stack close", id: "why" }, h("h2", {}, words.why_title), h("p", { class: "quiet" }, words.why_lead),
      h("ul", { class: "bars" }, largest.map(({ name, share }) => h("li", {}, h("div", { class: "row" }, h("span", {}, name), h("span", { class: "quiet" }, words.share(share))), bar(share)))),
      advice.size > 0 && [h("h3", {}, words.better_title), h("ul", {}, [...advice].map((text) => h("li", {}, text)))]);
  }

  basis(unit) {
    const { record, said } = this;
    const pattern = record.stitch_pattern;
    const { scale, lattice } = record;
    const long = unit === "cm" ? `${(scale.length_read_mm / 10).toFixed(1)} cm` : `${(scale.length_read_mm / 25.4).toFixed(1)} ${words.unit_in}`;
    const marks = byHand(this.asked);
    return h("section", { class: "card stack close", id: "basis" }, h("h2", {}, words.basis_title), h("ul", {},
      pattern && h("li", {}, words.pattern_is(words.patterns[pattern.name] ?? pattern.name, pattern.repeat_stitches * pattern.repeat_rows > 1 ? words.repeat_of(pattern.repeat_stitches, pattern.repeat_rows) : "", pattern.source === "recognised")),
      record.counted && h("li", {}, words.counted_by_hand(record.counted.stitches, record.counted.rows, said.counted.width[unit].split("\u00a0")[0], said.counted.height[unit].split("\u00a0")[0], words[`unit_${unit}`], words.count_over_short[record.counted.over])),
      lattice && h("li", {}, words.counted_over(lattice.stitches_counted.toFixed(1), lattice.rows_counted.toFixed(1))),
      h("li", {}, scale.kind === "ruler" ? words.scale_ruler(words.scale_units[scale.unit], long, scale.graduations_read) : words.scale_kinds[scale.kind]),
      scale.kind === "ruler" && scale.ruler_on && h("li", {}, words.ruler_on[scale.ruler_on]),
      scale.tilt_deg > 0.5 && h("li", {}, words.tilt(scale.tilt_deg.toFixed(0))),
      said.swatch && h("li", {}, words.swatch_size(said.swatch.width[unit], said.swatch.height[unit], words[`unit_${unit}`])),
      said.photos?.map((photo) => h("li", {}, photo.stitches ? words.photo_line(photo.file, photo.stitches[unit], photo.rows[unit]) : words.left_out(photo.file, photo.left_out ?? "")))),
      marks.length > 0 && h("p", { id: "by-hand" }, h("strong", {}, `${words.by_hand}: `), marks.map((name) => words.by_hand_items[name]).join(", "), "."));
  }

  keep() {
    this.keeping.hidden = false;
    this.keeping.replaceChildren(keepForm(this.app, { record: this.record, text: this.text, options: options(this.asked) }, () => (this.keeping.hidden = true)));
    this.keeping.querySelector("input").focus();
  }

  async savePicture() {
    const bitmap = await engine.picture(SAVED_PX);
    if (!bitmap) return;
    const { unit } = this.app;
    const line = (what) => `${this.said[what][unit]} ${words[what]} ${words.per[unit]}`;
    const blob = await annotated(bitmap, this.overlay, [line("stitches"), line("rows"), words.confidence]);
    if (blob) save(words.picture_name, blob, "image/jpeg");
  }

  // No answer.

  refusal() {
    const { refusal } = this.record;
    const help = words.refusals[refusal.code];
    return [
      h("div", { class: "stack close" }, h("h1", { tabindex: "-1" }, help.title), h("p", { class: "quiet" }, words.refused_lead)),
      refusal.rivals.length > 0 && (this.rivals = new Rivals(this, refusal)).element,
      h("section", { class: "card warm stack", id: "help" }, drawingFor(refusal.code, words.drawings), h(help.steps.length > 1 ? "ol" : "ul", { class: help.steps.length > 1 ? "numbered" : "plain" }, help.steps.map((step) => h("li", {}, step)))),
      h("div", { class: "row" }, this.app.again(words.again, (files) => this.measuring.take(files), true)),
      h("details", {}, h("summary", {}, words.seen), h("div", {}, h("p", {}, `${refusal.message}.`))),
    ];
  }

  failure() {
    const { error, status } = this.record;
    const known = status === "unreadable" ? words.unreadable[error.code] : words.failed[error.code];
    return [
      h("h1", { tabindex: "-1" }, status === "unreadable" ? words.unreadable_title : words.failed_title),
      h("p", {}, known ?? `${error.message.charAt(0).toUpperCase()}${error.message.slice(1)}.`),
      h("div", { class: "row" }, this.app.again(words.again, (files) => this.measuring.take(files), true)),
    ];
  }
}
