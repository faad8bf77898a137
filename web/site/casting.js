// From a gauge to counts that can be knitted: a form, and what it comes to.
import { choice, field, h, save, settled } from "./dom.js";
import * as engine from "./engine.js";
import { words } from "./words.js";

/** Fields that hold a whole number, or nothing. */
const WHOLE = ["multiple", "balance", "edges", "row_multiple", "per_row"];
/** A whole number; `null` for anything else. Longer ones than any count are none. */
const whole = (value) => (/^\d{1,9}$/.test(value.trim()) ? Number(value.trim()) : null);

export class Casting {
  constructor(root, app) {
    this.root = root;
    this.app = app;
    this.gauge = null;
    this.said = { stitches: "22", rows: "30", over: "10 cm", name: "", width: "", ease: "", tolerance: "", length: "", round: "", sideways: false, washed: false, multiple: "", balance: "", edges: "", row_multiple: "", shape_to: "", per_row: "" };
    this.changed = settled(300, () => this.work());
    this.show();
  }

  /** Takes a measurement's gauge: its record as JSON text, and what to call it. */
  take(text, name) {
    this.gauge = { text, name, record: JSON.parse(text) };
    this.show();
    this.work();
  }

  show() {
    this.out = h("div", { class: "stack", "aria-live": "polite" }, h("p", { class: "quiet" }, words.cast_empty));
    this.root.replaceChildren(h("div", { class: "two" }, h("div", { class: "stack" }, h("h1", { tabindex: "-1" }, words.cast_title), h("p", { class: "lead" }, words.cast_lead), this.gaugeFields(), this.pieceFields()), this.out));
    this.work();
  }

  input(name, label, { unit = false, hint, whole = false } = {}) {
    const control = h("input", { type: "text", inputmode: whole ? "numeric" : "decimal", autocomplete: "off", id: `cast-${name}`, value: this.said[name], oninput: (event) => {
      this.said[name] = event.target.value;
      this.changed();
    } });
    if (name === "name" || name === "stitches" || name === "rows") control.removeAttribute("inputmode");
    const about = field(unit ? `${label}, ${words[`unit_${this.app.unit}`]}` : label, control, hint);
    return about;
  }

  gaugeFields() {
    if (this.gauge) {
      const { stitches_per_10cm: stitches, rows_per_10cm: rows } = this.gauge.record.gauge;
      return h("section", { class: "card soft stack close" }, h("p", { class: "verdict" }, words.from_swatch(stitches.value.toFixed(1), rows.value.toFixed(1), this.gauge.name.replace(/^From /, ""))),
        h("div", { class: "row" }, h("button", { type: "button", onclick: () => { this.gauge = null; this.show(); } }, words.use_typed)));
    }
    const overs = choice(Object.entries(words.overs), this.said.over, (value) => { this.said.over = value; this.changed(); });
    return h("section", { class: "card stack close" }, h("div", { class: "fields" }, this.input("stitches", words.gauge_stitches), this.input("rows", words.gauge_rows), field(words.gauge_over, overs)), h("p", { class: "hint" }, words.gauge_hint));
  }

  pieceFields() {
    const worked = choice([["", words.flat], ["round", words.round]], this.said.round, (value) => { this.said.round = value; this.changed(); });
    const tick = (name) => h("label", { class: "check" }, h("input", { type: "checkbox", checked: this.said[name], onchange: (event) => { this.said[name] = event.target.checked; this.changed(); } }), words[name]);
    return h("section", { class: "card stack" },
      h("div", { class: "fields" }, this.input("width", words.piece_width, { unit: true }), this.input("ease", words.piece_ease, { unit: true })),
      h("div", { class: "fields" }, this.input("length", words.piece_length, { unit: true }), field(words.worked, worked)),
      h("div", { class: "fields" }, this.input("multiple", words.multiple, { whole: true }), this.input("balance", words.balance, { whole: true })),
      h("div", { class: "fields" }, this.input("tolerance", words.piece_tolerance, { unit: true }), this.input("name", words.piece_name)),
      tick("washed"),
      h("details", {}, h("summary", {}, words.more), h("div", { class: "stack" },
        tick("sideways"),
        h("div", { class: "fields" }, this.input("edges", words.edges, { whole: true }), this.input("row_multiple", words.row_multiple, { whole: true })),
        h("div", { class: "fields" }, this.input("shape_to", words.shape_to, { whole: true }), this.input("per_row", words.per_row, { whole: true })))));
  }

  /** What the form says, as the core reads it. */
  asked() {
    const { said, gauge } = this;
    const unit = this.app.unit;
    const text = (value) => value.trim().replace(",", ".");
    const length = (value) => (text(value) === "" ? null : /[a-z%"″]/i.test(value) ? text(value) : `${text(value)} ${unit}`);
    const round = said.round === "round";
    return {
      ...(gauge ? { record: gauge.text } : { stitches: text(said.stitches), rows: text(said.rows) || null, over: said.over }),
      name: said.name.trim() || words.piece_default, width: length(said.width), ease: length(said.ease), tolerance: length(said.tolerance), length: length(said.length),
      round, sideways: said.sideways, washed: said.washed, multiple: whole(said.multiple), balance: whole(said.balance), edge_stitches: whole(said.edges),
      row_multiple: whole(said.row_multiple), shape_to: text(said.shape_to) || null, per_row: said.shape_to.trim() ? whole(said.per_row) : null,
    };
  }

  async work() {
    const asked = this.asked();
    const run = (this.running = {});
    if (!asked.width) return this.out.replaceChildren(h("p", { class: "quiet" }, words.cast_empty));
    const wrong = WHOLE.find((name) => this.said[name].trim() && whole(this.said[name]) === null);
    if (wrong) return this.problem(words.not_whole(words[wrong], this.said[wrong].trim()));
    const answer = await engine.plan(asked).catch((error) => ({ error: { message: error.message } }));
    if (this.running !== run) return undefined;
    return answer.error ? this.problem(answer.error.message) : this.out.replaceChildren(...this.answer(answer).filter(Boolean));
  }

  problem(message) {
    return this.out.replaceChildren(h("p", { class: "problem", role: "alert", id: "cast-problem" }, words.plan_wrong(message)));
  }

  answer(of) {
    const unit = this.app.unit;
    // There is one swatch, which needs no name; where it ends is no matter here.
    const outline = (this.gauge?.record.cautions ?? []).filter(({ code }) => code === "outline_unknown");
    const cautions = of.cautions.filter((text) => !outline.some(({ message }) => text.includes(message))).map((text) => text.replace(/( of)? 'swatch'/g, ""));
    const shown = words[`unit_${unit}`];
    // A number and its ± stay on one line.
    for (const axis of [of.stitches, of.rows].filter(Boolean)) for (const one of [axis, ...axis.candidates]) one.finished[unit] = one.finished[unit].replaceAll(" ", "\u00a0");
    const count = (axis, name, word) => h("div", { class: "card figure", id: name }, h("div", {}, h("span", { class: "big-count" }, String(axis.count)), " ", h("span", { class: "what" }, word(axis.count))), h("p", {}, words.measures(axis.finished[unit], shown)));
    return [
      h("h2", {}, words.cast_on),
      h("div", { class: "figures" }, count(of.stitches, "cast-count", words.cast_count), of.rows && count(of.rows, "cast-row-count", words.row_count)),
      this.table(of.stitches, unit, shown),
      cautions.length > 0 && h("section", { class: "card warm stack close" }, h("h3", {}, words.careful), h("ul", {}, cautions.map((caution) => h("li", {}, caution)))),
      of.steps.length > 0 && h("section", { class: "card stack close", id: "steps" }, h("h3", {}, words.steps), h("ol", {}, of.steps.map((step) => h("li", {}, step)))),
      h("div", { class: "row" }, h("button", { type: "button", onclick: () => save("plan.html", of.page, "text/html") }, words.save_page), h("button", { type: "button", onclick: () => save("plan.toml", of.toml, "application/toml") }, words.save_plan)),
    ];
  }

  table(axis, unit, shown) {
    if (axis.candidates.length < 2) return null;
    const row = (one) => h("tr", { class: one.chosen ? "chosen" : null }, h("th", { scope: "row" }, String(one.count), one.chosen && h("span", { class: "hidden" }, ` (${words.chosen})`)), h("td", {}, one.finished[unit]), h("td", {}, words.chance(one.probability)));
    return h("section", { class: "card tabled" }, h("table", {}, h("caption", {}, words.options_caption), h("thead", {}, h("tr", {}, h("th", { scope: "col" }, words.option_count), h("th", { scope: "col" }, words.option_size(shown)), h("th", { scope: "col" }, words.option_chance))), h("tbody", {}, axis.candidates.map(row))));
  }
}
