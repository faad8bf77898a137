// Readings between which the photo does not decide: each with its picture, to choose from.
import { announce, h, s } from "./dom.js";
import * as engine from "./engine.js";
import { attributes, paths } from "./marks.js";
import { words } from "./words.js";

/** Lines that are counted by: of no use in so small a picture. */
const ALIKE = { fifth: "line", tenth: "line" };

export class Rivals {
  /** `result` shows a refusal with rivals; what each of them would look like comes by and by. */
  constructor(result, { rivals }) {
    const { measuring, app, said } = result;
    this.measuring = measuring;
    this.unit = app.unit;
    this.choices = rivals.map((rival, index) => this.choice(rival, said.rivals[index]));
    this.element = h("section", { class: "card stack close", id: "rivals" }, h("h2", {}, words.rivals_title), h("p", { class: "quiet" }, words.rivals_lead),
      h("div", { class: "rivals" }, this.choices.map((one) => one.button)));
    if (measuring.photos.length === 1) this.look(result.asked);
  }

  choice(rival, { pattern, ...said }) {
    const [stitches, rows] = [rival.stitches_per_10cm, rival.rows_per_10cm];
    const crop = h("span", { class: "crop" });
    const about = h("span", { class: "quiet" });
    const button = h("button", { type: "button", class: "rival", onclick: () => this.choose(stitches, rows, pattern) }, crop,
      pattern && h("strong", {}, words.patterns[pattern] ?? pattern), h("span", {}, words.rival(said.stitches[this.unit], said.rows[this.unit], words.per[this.unit])), about);
    return { button, crop, about, expect: [stitches, rows], pattern };
  }

  /** What was said before stays; the pattern is taken over where none was said. */
  choose(stitches, rows, pattern) {
    const { set, result } = this.measuring;
    this.end();
    set.expect = [stitches, rows];
    if (pattern && set.pattern === "") set.pattern = pattern;
    result.hand.build();
    this.measuring.measure();
  }

  /** Measures under each reading in turn. */
  async look(asked) {
    this.looking = true;
    const setups = this.choices.map(({ expect, pattern }) => ({ ...asked, expect, ...(pattern && !asked.stitch ? { stitch: pattern } : {}) }));
    await engine.details(this.measuring.photos[0], setups, (part) => this.show(part)).catch(() => {});
    this.looking = false;
    if (this.element.isConnected) announce(words.rivals_ready);
  }

  show({ index, seen, bitmap, overlay, place }) {
    const { button, crop, about } = this.choices[index];
    crop.classList.add("there");
    if (!seen) {
      button.disabled = true;
      about.textContent = words.rival_fails;
      return;
    }
    const canvas = h("canvas", { width: bitmap.width, height: bitmap.height });
    canvas.getContext("bitmaprenderer").transferFromImageBitmap(bitmap);
    crop.append(canvas, s("svg", { viewBox: place.join(" "), "aria-hidden": "true" }, paths(overlay).map(([kind, d]) => s("path", { ...attributes(ALIKE[kind] ?? kind), d }))));
  }

  /** Stops looking: the answer is on its way, or no longer asked for. */
  end() {
    if (this.looking) engine.cancel();
    this.looking = false;
  }
}
