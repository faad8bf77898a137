// The view that measures: an empty page, progress, and what came of it.
import { announce, h } from "./dom.js";
import { drawing } from "./drawings.js";
import * as engine from "./engine.js";
import { patternFields } from "./pattern.js";
import { Result } from "./result.js";
import { nothing, setup } from "./settings.js";
import { words } from "./words.js";

const STAGES = Object.keys(words.stages);

export class Measuring {
  /** `app` knows the unit and the other views. */
  constructor(root, app) {
    this.root = root;
    this.app = app;
    this.set = nothing();
    this.result = new Result(this, app);
    this.showStart();
    this.acceptPhotos();
  }

  /** Photos dropped anywhere or pasted. */
  acceptPhotos() {
    const stop = (event) => event.preventDefault();
    document.addEventListener("dragover", (event) => {
      stop(event);
      document.body.classList.add("over");
    });
    document.addEventListener("dragleave", (event) => event.relatedTarget || document.body.classList.remove("over"));
    document.addEventListener("drop", (event) => {
      stop(event);
      document.body.classList.remove("over");
      this.take([...event.dataTransfer.files]);
    });
    document.addEventListener("paste", (event) => {
      const files = [...(event.clipboardData?.files ?? [])];
      if (files.length) this.take(files);
    });
  }

  showStart(message) {
    this.photos = [];
    const pick = (label, attributes, main) => h("label", { class: `button${main ? " main-button" : ""}` }, label,
      h("input", { type: "file", accept: "image/*,.heic,.heif", ...attributes, "aria-label": label, onchange: (event) => this.take([...event.target.files]) }));
    const handheld = matchMedia("(pointer: coarse)").matches;
    this.root.replaceChildren(h("div", { class: "two" },
      h("div", { class: "stack" },
        h("h1", {}, words.start_title), h("p", { class: "lead" }, words.start_lead),
        message && h("p", { class: "problem", role: "alert" }, message),
        h("div", { class: "drop" },
          h("div", { class: "row" }, handheld && pick(words.take, { capture: "environment", id: "take" }, true), pick(words.choose, { multiple: true, id: "choose" }, !handheld)),
          !handheld && h("p", {}, words.drop),
          h("p", { class: "hint" }, `${words.formats}. ${words.several}`)),
        patternFields(this.set, () => {}, words.knitted_hint)),
      h("div", { class: "card stack" }, h("h2", {}, words.how_title), drawing("no_scale", words.drawing_good),
        h("ol", { class: "numbered" }, words.how.map((step) => h("li", {}, step))))));
  }

  /** Measures new photos; what was set on another photo no longer holds, what was knitted does. */
  take(files) {
    const photos = files.filter((file) => file.type.startsWith("image/") || /\.(jpe?g|png|webp|tiff?|heic|heif)$/i.test(file.name));
    this.app.open("measure");
    if (photos.length === 0) return files.length ? this.showStart(words.not_a_photo) : undefined;
    const { pattern, name, repeat, wanted } = this.set;
    this.set = { ...nothing(), pattern, name, repeat, wanted };
    this.knitted = { pattern, name, repeat: [...repeat] };
    this.photos = photos;
    this.showBusy();
    return this.measure();
  }

  showBusy() {
    this.stageItems = Object.fromEntries(STAGES.map((stage) => [stage, h("li", {}, words.stages[stage])]));
    this.bar = h("progress", { max: String(STAGES.length * this.photos.length), "aria-label": words.measuring });
    this.which = h("p", { class: "quiet" });
    this.preview = URL.createObjectURL(this.photos[0]);
    const image = h("img", { src: this.preview, alt: words.preview, decoding: "async", onerror: (event) => event.target.remove() });
    this.root.replaceChildren(h("div", { class: "two busy" }, h("div", {}, image),
      h("div", { class: "card stack" }, h("h1", {}, words.measuring), this.which, this.bar,
        h("ul", { class: "stages" }, Object.values(this.stageItems)),
        h("div", { class: "row" }, h("button", { type: "button", onclick: () => this.cancel() }, words.cancel)))));
    announce(words.measuring);
  }

  progress(stage, index, of) {
    if (!this.bar?.isConnected) return;
    const at = STAGES.indexOf(stage);
    this.bar.value = index * STAGES.length + at;
    if (of > 1) this.which.textContent = words.photo_of(index + 1, of);
    STAGES.forEach((name, k) => (this.stageItems[name].className = k < at ? "done" : k === at ? "now" : ""));
    announce(words.stages[stage]);
  }

  cancel() {
    engine.cancel();
    this.forgetPreview();
    this.showStart();
    announce(words.cancelled);
  }

  forgetPreview() {
    if (this.preview) URL.revokeObjectURL(this.preview);
    this.preview = null;
  }

  /** Measures the photos as they are set now; a newer call takes the place of one that runs. */
  async measure() {
    if (this.running) engine.cancel();
    this.result.rivals?.end();
    const run = (this.running = {});
    const places = this.photos.length === 1;
    const asked = setup(this.set, { places });
    if (this.result.shown) this.result.busy(true);
    try {
      const done = await engine.measure(this.photos, this.photos.map(() => asked), asked, (...at) => this.progress(...at));
      if (this.running !== run) return;
      this.running = null;
      this.forgetPreview();
      this.result.show(done, asked);
    } catch (error) {
      if (this.running !== run) return;
      this.running = null;
      this.forgetPreview();
      this.result.busy(false);
      if (this.result.shown) this.result.complain(error.broken ? words.failed.internal : error.message);
      else this.showStart(error.broken ? words.failed.internal : error.message);
    }
  }
}
