// Setting things by hand: what is knitted, the scale, the part of the photo, the direction of the rows. Whatever changes,
// the answer follows.
import { choice, field, h, number, s, settled } from "./dom.js";
import { patternFields } from "./pattern.js";
import { nothing } from "./settings.js";
import { words } from "./words.js";

const INCH = 25.4;

export class Hand {
  constructor(measuring, app, viewer) {
    this.measuring = measuring;
    this.app = app;
    this.viewer = viewer;
    this.changed = settled(350, () => measuring.measure());
    this.parts = {};
    this.element = h("section", { class: "card stack close", id: "hand" });
    this.build();
  }

  get set() {
    return this.measuring.set;
  }

  build() {
    const single = this.measuring.photos.length === 1;
    const open = Object.keys(this.parts).filter((name) => this.parts[name].open);
    const part = (name, title, ...inside) => (this.parts[name] = h("details", { "data-part": name, open: open.includes(name) }, h("summary", {}, title), h("div", { class: "stack" }, inside)));
    this.element.replaceChildren(h("h2", {}, words.hand_title), h("p", { class: "quiet" }, words.hand_lead),
      h("div", {}, part("stitch", words.stitch_title, patternFields(this.set, this.changed)), part("scale", words.scale_title, this.scaleFields(single)),
        single && part("region", words.region_title, this.regionFields()), single && part("axes", words.axes_title, this.axesFields()),
        part("count", words.count_title, this.countFields(single))),
      h("div", { class: "row" }, h("button", { type: "button", onclick: () => this.reset() }, words.reset)));
  }

  /** Opens the part that helps, once. */
  open(name) {
    if (this.parts[name]) this.parts[name].open = true;
  }

  reset() {
    const { wanted } = this.set;
    const { knitted } = this.measuring;
    this.measuring.set = { ...nothing(), ...knitted, repeat: [...knitted.repeat], wanted };
    this.build();
    this.drawHandles();
    this.measuring.measure();
  }

  // The scale.

  scaleFields(single) {
    const { set } = this;
    const mm = this.app.unit === "cm" ? 10 : INCH;
    const length = (value, put) => h("div", { class: "with-unit" }, h("input", { type: "text", inputmode: "decimal", autocomplete: "off", value: value === null ? "" : String(Number((value / mm).toFixed(4))), oninput: (event) => {
      const typed = number(event.target.value);
      put(typed === null ? null : typed * mm);
      this.changed();
    } }), h("span", {}, words[`unit_${this.app.unit}`]));
    const labelled = (label, control, hint) => {
      const input = control.querySelector("input");
      const about = field(label, input, hint);
      input.replaceWith(control);
      control.prepend(input);
      return about;
    };
    const millimetres = (label, key, hint) => field(label, h("input", { type: "text", inputmode: "decimal", autocomplete: "off", value: set[key] ?? "", oninput: (event) => {
      set[key] = number(event.target.value);
      this.changed();
    } }), hint);
    const kinds = Object.entries(words.scale_choices).filter(([name]) => single || name !== "span");
    const more = h("div", { class: "stack" });
    const fill = () => {
      const span = set.scale === "span" && [h("p", { class: "hint" }, words.span_hint), labelled(words.span_length, length(set.length, (value) => (set.length = value)))];
      const grid = set.scale === "grid" && millimetres(`${words.grid_pitch} (mm)`, "grid");
      const card = set.scale === "card" && millimetres(`${words.card_length} (mm)`, "card");
      const id1 = set.scale === "id1" && h("p", { class: "hint" }, words.id1_hint);
      const ruler = (set.scale === "auto" || set.scale === "cm" || set.scale === "inch" || set.scale === "span") && this.rulerFields(millimetres);
      more.replaceChildren(...[span, grid, card, id1, ruler].flat().filter(Boolean));
    };
    fill();
    const list = choice(kinds, set.scale, (value) => {
      set.scale = value;
      if (value === "span" && !set.span) set.span = this.firstSpan();
      fill();
      this.fillCount();
      this.drawHandles();
      if (value !== "span" || set.length) this.changed();
    });
    list.id = "scale";
    return [field(words.scale_from, list), more];
  }

  rulerFields(millimetres) {
    const { set } = this;
    const list = (label, pairs, key) => field(label, choice(Object.entries(pairs), set[key], (value) => {
      set[key] = value;
      this.changed();
    }));
    return h("div", { class: "fields roomy" }, list(words.lies_on, words.lies, "on"), millimetres(`${words.thickness} (mm)`, "thickness"), list(words.accuracy, words.accuracies, "class"));
  }

  /** Two ends to begin with: along the ruler where marks were seen, else across the middle. */
  firstSpan() {
    const { width, height } = this.viewer;
    const all = this.overlay?.marks ?? [];
    // Those of one edge: the other edge's point the other way.
    const marks = all.filter((mark) => mark[2] === all[0][2] && mark[3] === all[0][3]);
    if (marks.length > 1) return [marks[0], marks[marks.length - 1]].map(([x, y]) => [x, y]);
    return [[width * 0.25, height * 0.5], [width * 0.75, height * 0.5]];
  }

  // The part of the photo, and the direction of the rows.

  regionFields() {
    const { set } = this;
    const box = h("input", { type: "checkbox", id: "use-region", checked: set.region !== null, onchange: () => {
      const { width, height } = this.viewer;
      set.region = box.checked ? this.firstRegion(width, height) : null;
      this.drawHandles();
      this.changed();
    } });
    return [h("label", { class: "check" }, box, words.region_use), h("p", { class: "hint" }, words.region_hint)];
  }

  firstRegion(width, height) {
    const seen = this.overlay?.region ?? [];
    if (seen.length < 3) return [width * 0.2, height * 0.2, width * 0.6, height * 0.6].map(Math.round);
    const [xs, ys] = [seen.map((p) => p[0]), seen.map((p) => p[1])];
    const [left, top] = [Math.max(0, Math.min(...xs)), Math.max(0, Math.min(...ys))];
    return [left, top, Math.min(width, Math.max(...xs)) - left, Math.min(height, Math.max(...ys)) - top].map(Math.round);
  }

  axesFields() {
    const { set } = this;
    const box = h("input", { type: "checkbox", id: "use-axes", checked: set.axes !== null, onchange: () => {
      set.axes = box.checked ? Math.round(this.seenDirection ?? 0) : null;
      this.turn.value = String(set.axes ?? 0);
      this.turn.disabled = !box.checked;
      this.drawHandles();
      this.changed();
    } });
    this.turn = h("input", { type: "range", min: "-90", max: "90", step: "1", value: String(set.axes ?? 0), oninput: () => {
      set.axes = Number(this.turn.value);
      this.turned();
      this.changed();
    } });
    this.turn.disabled = set.axes === null;
    return [h("label", { class: "check" }, box, words.axes_use), field(words.axes_degrees, this.turn)];
  }

  turned() {
    this.viewer.refreshHandles();
    this.drawLines();
  }

  // A count by hand, where the yarn hides its stitches.

  countFields(single) {
    const { set } = this;
    const count = (index, label) => field(label, h("input", { type: "text", inputmode: "decimal", autocomplete: "off", id: `count-${index}`, value: set.counted[index] ?? "", oninput: (event) => {
      set.counted[index] = number(event.target.value);
      if (Boolean(set.counted[0]) === Boolean(set.counted[1])) this.changed();
    } }));
    const over = h("div", {});
    this.fillCount = () => {
      if (set.scale === "span" && single) return over.replaceChildren(h("p", { class: "hint" }, words.count_in_span));
      const list = choice(Object.entries(words.count_overs).filter(([name]) => single || name !== "corners"), set.over, (value) => {
        set.over = value;
        if (value === "corners" && !set.corners) set.corners = this.firstCorners();
        this.fillCount();
        this.drawHandles();
        if (set.counted[0] && set.counted[1]) this.changed();
      });
      list.id = "count-over";
      return over.replaceChildren(field(words.count_over, list, words.count_hints[set.over]));
    };
    this.fillCount();
    return [h("p", { class: "hint" }, words.count_lead), h("div", { class: "fields" }, count(0, words.count_stitches), count(1, words.count_rows)), over];
  }

  firstCorners() {
    const [x, y, w, h_] = this.firstRegion(this.viewer.width, this.viewer.height);
    return [[x + w * 0.2, y + h_ * 0.2], [x + w * 0.8, y + h_ * 0.8]];
  }

  /** Whether what was counted is marked by two corners of its own. */
  get marksCount() {
    return this.set.over === "corners" && this.set.corners && this.set.scale !== "span";
  }

  // On the picture.

  drawHandles() {
    const { set, viewer } = this;
    if (!viewer.width) return;
    const list = [];
    const round = ([x, y]) => [Math.round(x * 10) / 10, Math.round(y * 10) / 10];
    const dropped = () => (set.scale === "span" && !set.length ? undefined : this.changed());
    if (set.scale === "span" && set.span) {
      for (const end of [0, 1]) {
        list.push({ name: `span-${end}`, at: () => set.span[end], label: ([x, y]) => words.span_end(end + 1, Math.round(x), Math.round(y)), dropped,
          moved: (at) => { set.span[end] = round(at); this.drawLines(); } });
      }
    }
    if (this.marksCount) {
      for (const end of [0, 1]) {
        list.push({ name: `count-${end}`, at: () => set.corners[end], label: ([x, y]) => words.count_corner(end + 1, Math.round(x), Math.round(y)), dropped: () => set.counted[0] && set.counted[1] && this.changed(),
          moved: (at) => { set.corners[end] = round(at); this.drawLines(); } });
      }
    }
    if (set.region) {
      for (const corner of [0, 1]) {
        list.push({ name: `region-${corner}`, at: () => this.corner(corner), label: ([x, y]) => words.region_corner(words.corner_names[corner], Math.round(x), Math.round(y)), dropped: () => this.changed(),
          moved: (at) => { this.moveCorner(corner, at); this.drawLines(); } });
      }
    }
    if (set.axes !== null) {
      list.push({ name: "axes", at: () => this.tip(), label: () => words.axes_turn(set.axes), dropped: () => this.changed(),
        moved: (at) => this.point(at), key: ([dx, dy]) => this.turnTo(set.axes + dx + dy) });
    }
    viewer.setHandles(list);
    this.drawLines();
  }

  corner(which) {
    const [x, y, w, h_] = this.set.region;
    return which === 0 ? [x, y] : [x + w, y + h_];
  }

  moveCorner(which, [x, y]) {
    const LEAST = 20;
    const other = this.corner(1 - which);
    const [left, top] = which === 0 ? [Math.min(x, other[0] - LEAST), Math.min(y, other[1] - LEAST)] : other;
    const [right, bottom] = which === 1 ? [Math.max(x, other[0] + LEAST), Math.max(y, other[1] + LEAST)] : other;
    this.set.region = [left, top, right - left, bottom - top].map((v) => Math.round(Math.max(0, v)));
  }

  middle() {
    const [x, y, w, h_] = this.set.region ?? this.firstRegion(this.viewer.width, this.viewer.height);
    return [x + w / 2, y + h_ / 2];
  }

  tip() {
    const [x, y] = this.middle();
    const turn = (this.set.axes * Math.PI) / 180;
    const arm = Math.min(this.viewer.width, this.viewer.height) * 0.22;
    return [x + arm * Math.cos(turn), y + arm * Math.sin(turn)];
  }

  point([x, y]) {
    const [cx, cy] = this.middle();
    this.turnTo((Math.atan2(y - cy, x - cx) * 180) / Math.PI);
  }

  turnTo(degrees) {
    let turn = Math.round(degrees);
    while (turn > 90) turn -= 180;
    while (turn < -90) turn += 180;
    this.set.axes = turn;
    this.turn.value = String(turn);
    this.turned();
  }

  drawLines() {
    const { set, viewer } = this;
    const shapes = [];
    const line = (d) => shapes.push(s("path", { class: "o-hand-edge", d }), s("path", { class: "o-hand", d }));
    if (set.region) {
      const [x, y, w, h_] = set.region;
      shapes.push(s("path", { class: "o-shade", d: `M0 0H${viewer.width}V${viewer.height}H0ZM${x} ${y}h${w}v${h_}h${-w}Z` }));
      line(`M${x} ${y}h${w}v${h_}h${-w}Z`);
    }
    if (set.scale === "span" && set.span) line(`M${set.span[0].join(" ")}L${set.span[1].join(" ")}`);
    if (this.marksCount) {
      const [[x0, y0], [x1, y1]] = set.corners;
      line(`M${x0} ${y0}H${x1}V${y1}H${x0}Z`);
    }
    if (set.axes !== null) {
      const [x, y] = this.middle();
      const tip = this.tip();
      line(`M${2 * x - tip[0]} ${2 * y - tip[1]}L${tip.join(" ")}`);
    }
    viewer.hand.replaceChildren(...shapes);
  }

  /** What the newest answer saw, for handles to begin at. */
  saw(overlay, record) {
    this.overlay = overlay;
    const axis = record.lattice?.stitch_axis_deg;
    this.seenDirection = axis === undefined || axis === null ? null : ((((axis + 90) % 180) + 180) % 180) - 90;
    this.drawHandles();
  }
}
