// The picture with what was seen drawn over it: zoom, pan, and handles to set things by hand. Places are photo pixels.
import { h, s } from "./dom.js";
import { STYLES, attributes, blanked, paths } from "./marks.js";
import { words } from "./words.js";

const LARGEST = 24;

export class Viewer {
  constructor() {
    this.canvas = h("canvas");
    this.drawing = s("svg", { "aria-hidden": "true" });
    this.hand = s("g");
    this.scene = h("div", { class: "scene" }, this.canvas, this.drawing);
    this.loupe = h("canvas", { class: "loupe", width: 144, height: 144, hidden: true });
    this.handles = new Map();
    this.pointers = new Map();
    this.frame = h("div", { class: "viewer", tabindex: "0", role: "group", "aria-label": words.picture }, this.scene, this.loupe);
    this.marksButton = h("button", { type: "button", "aria-pressed": "true", onclick: () => this.toggleMarks() }, words.marks);
    this.element = h("div", { class: "stack close" }, this.frame, h("div", { class: "tools" },
      h("button", { type: "button", "aria-label": words.zoom_in, title: words.zoom_in, onclick: () => this.zoom(1.5) }, "+"),
      h("button", { type: "button", "aria-label": words.zoom_out, title: words.zoom_out, onclick: () => this.zoom(1 / 1.5) }, "−"),
      h("button", { type: "button", "aria-label": words.zoom_fit, title: words.zoom_fit, onclick: () => this.fit() }, "⤢"),
      this.marksButton), (this.key = this.legend()));
    this.listen();
    new ResizeObserver(() => this.resized()).observe(this.frame);
  }

  legend() {
    const line = (name, d) => {
      const shapes = [`${name}-edge`, name].filter((kind) => STYLES[kind]).map((kind) => shape(kind, d));
      return h("li", {}, s("svg", { viewBox: "0 0 24 14", "aria-hidden": "true" }, shapes), words.legend[name]);
    };
    return h("ul", { class: "legend" }, line("loop", "M12 7h.01"), line("missing", "M9 4l6 6M15 4l-6 6"), line("region", "M3 7h18"), line("mark", "M12 2v10"));
  }

  /** Shows a picture (an ImageBitmap, which is used up) of a photo with the given overlay, and blacks out what it says. */
  show(bitmap, overlay, black) {
    const same = this.width === overlay.width && this.height === overlay.height;
    [this.width, this.height] = [overlay.width, overlay.height];
    this.canvas.width = bitmap.width;
    this.canvas.height = bitmap.height;
    this.canvas.getContext("bitmaprenderer").transferFromImageBitmap(bitmap);
    this.drawing.setAttribute("viewBox", `0 0 ${this.width} ${this.height}`);
    this.marks = s("g", {}, drawn(overlay));
    const always = black && blanked(overlay).map(([kind, d]) => shape(kind, d));
    this.drawing.replaceChildren(s("g", {}, always || []), this.marks, this.hand);
    this.marks.toggleAttribute("hidden", this.marksButton.getAttribute("aria-pressed") !== "true");
    this.key.hidden = this.marksButton.hidden = this.marks.childElementCount === 0;
    if (!same) this.fitted = true;
    this.resized();
  }

  toggleMarks() {
    const on = this.marksButton.getAttribute("aria-pressed") !== "true";
    this.marksButton.setAttribute("aria-pressed", String(on));
    this.marks?.toggleAttribute("hidden", !on);
  }

  // Zoom and pan: `scale` screen px for a photo px, the photo's corner at (x, y) of the frame.

  resized() {
    if (!this.width || !this.frame.clientWidth) return;
    const room = [this.frame.clientWidth, this.frame.clientHeight];
    this.whole = Math.min(room[0] / this.width, room[1] / this.height);
    if (this.fitted || !(this.scale >= this.whole)) this.fit();
    else this.move(this.x, this.y);
  }

  fit() {
    this.fitted = true;
    this.scale = this.whole;
    this.move(0, 0);
  }

  /** Enlarges about a place of the frame (its middle unless told). */
  zoom(times, at = [this.frame.clientWidth / 2, this.frame.clientHeight / 2]) {
    if (!this.width) return;
    const scale = Math.min(Math.max(this.scale * times, this.whole), this.whole * LARGEST);
    const ratio = scale / this.scale;
    this.scale = scale;
    this.fitted = scale === this.whole;
    this.move(at[0] - (at[0] - this.x) * ratio, at[1] - (at[1] - this.y) * ratio);
  }

  move(x, y) {
    const keep = (at, size, room) => (size <= room ? (room - size) / 2 : Math.min(0, Math.max(room - size, at)));
    this.x = keep(x, this.width * this.scale, this.frame.clientWidth);
    this.y = keep(y, this.height * this.scale, this.frame.clientHeight);
    this.scene.style.width = `${this.width * this.scale}px`;
    this.scene.style.height = `${this.height * this.scale}px`;
    this.scene.style.transform = `translate(${this.x}px, ${this.y}px)`;
    this.frame.classList.toggle("near", !this.fitted);
    for (const handle of this.handles.values()) this.put(handle);
  }

  toPhoto(event) {
    const box = this.frame.getBoundingClientRect();
    const clamp = (v, high) => Math.min(Math.max(v, 0), high);
    return [clamp((event.clientX - box.left - this.x) / this.scale, this.width), clamp((event.clientY - box.top - this.y) / this.scale, this.height)];
  }

  listen() {
    const frame = this.frame;
    const place = (event) => {
      const box = frame.getBoundingClientRect();
      return [event.clientX - box.left, event.clientY - box.top];
    };
    frame.addEventListener("pointerdown", (event) => {
      if (event.target.closest(".handle")) return;
      this.pointers.set(event.pointerId, place(event));
      this.dragged = 0;
      if (event.pointerType === "mouse" || !this.fitted || this.pointers.size > 1) frame.setPointerCapture(event.pointerId);
    });
    frame.addEventListener("pointermove", (event) => {
      const before = this.pointers.get(event.pointerId);
      if (!before) return;
      const now = place(event);
      const other = [...this.pointers].find(([id]) => id !== event.pointerId)?.[1];
      this.dragged += Math.hypot(now[0] - before[0], now[1] - before[1]);
      if (other) {
        const apart = (p) => Math.hypot(p[0] - other[0], p[1] - other[1]);
        this.zoom(apart(now) / Math.max(apart(before), 1), [(now[0] + other[0]) / 2, (now[1] + other[1]) / 2]);
      } else if (!this.fitted) this.move(this.x + now[0] - before[0], this.y + now[1] - before[1]);
      this.pointers.set(event.pointerId, now);
    });
    frame.addEventListener("pointerup", (event) => {
      const tapped = this.pointers.size === 1 && this.dragged < 8;
      this.pointers.delete(event.pointerId);
      const active = this.handles.get(this.active);
      if (tapped && active) {
        active.moved(this.toPhoto(event));
        active.dropped();
      }
    });
    frame.addEventListener("pointercancel", (event) => this.pointers.delete(event.pointerId));
    frame.addEventListener("dblclick", (event) => {
      if (!this.active) this.zoom(2.5, place(event));
    });
    frame.addEventListener("wheel", (event) => {
      if (!event.ctrlKey && this.fitted) return;
      event.preventDefault();
      this.zoom(Math.exp(-event.deltaY / 300), place(event));
    }, { passive: false });
    frame.addEventListener("keydown", (event) => {
      if (event.target !== frame) return;
      const step = { ArrowLeft: [60, 0], ArrowRight: [-60, 0], ArrowUp: [0, 60], ArrowDown: [0, -60] }[event.key];
      if (step && !this.fitted) this.move(this.x + step[0], this.y + step[1]);
      else if (event.key === "+" || event.key === "=") this.zoom(1.5);
      else if (event.key === "-") this.zoom(1 / 1.5);
      else if (event.key === "0") this.fit();
      else return;
      event.preventDefault();
    });
  }

  // Handles.

  /** Replaces the handles: each has `name`, `at`, `label(at)`, `moved(at)`, `dropped()`, and perhaps `key(event)`. */
  setHandles(list) {
    const focused = document.activeElement?.dataset?.handle;
    for (const handle of this.handles.values()) handle.button.remove();
    this.handles.clear();
    this.active = list.some((handle) => handle.name === this.active) ? this.active : list[0]?.name;
    for (const handle of list) {
      handle.button = h("button", { type: "button", class: "handle", "data-handle": handle.name });
      this.handles.set(handle.name, handle);
      this.drag(handle);
      this.frame.append(handle.button);
      this.put(handle);
      if (handle.name === focused) handle.button.focus();
    }
  }

  put(handle) {
    const [x, y] = handle.at();
    handle.button.style.left = `${x * this.scale + this.x}px`;
    handle.button.style.top = `${y * this.scale + this.y}px`;
    handle.button.setAttribute("aria-label", handle.label([x, y]));
    handle.button.setAttribute("aria-pressed", String(handle.name === this.active));
  }

  refreshHandles() {
    for (const handle of this.handles.values()) this.put(handle);
  }

  drag(handle) {
    const { button } = handle;
    const activate = () => {
      this.active = handle.name;
      this.refreshHandles();
    };
    const go = (at) => {
      handle.moved([Math.min(Math.max(at[0], 0), this.width), Math.min(Math.max(at[1], 0), this.height)]);
      this.refreshHandles();
    };
    let offset = null;
    button.addEventListener("focus", activate);
    button.addEventListener("pointerdown", (event) => {
      button.setPointerCapture(event.pointerId);
      const [x, y] = this.toPhoto(event);
      const at = handle.at();
      offset = [at[0] - x, at[1] - y];
      activate();
    });
    button.addEventListener("pointermove", (event) => {
      if (!offset) return;
      const [x, y] = this.toPhoto(event);
      go([x + offset[0], y + offset[1]]);
      this.magnify(handle.at());
    });
    const end = () => {
      if (!offset) return;
      offset = null;
      this.loupe.hidden = true;
      handle.dropped();
    };
    button.addEventListener("pointerup", end);
    button.addEventListener("pointercancel", end);
    button.addEventListener("keydown", (event) => {
      const far = event.shiftKey ? 10 : 1;
      const step = { ArrowLeft: [-far, 0], ArrowRight: [far, 0], ArrowUp: [0, -far], ArrowDown: [0, far] }[event.key];
      if (!step) return;
      event.preventDefault();
      event.stopPropagation();
      if (handle.key) handle.key(step);
      else {
        const [x, y] = handle.at();
        go([x + step[0], y + step[1]]);
      }
      this.refreshHandles();
      handle.dropped();
    });
  }

  /** Shows what lies under a handle, which a finger hides. */
  magnify([x, y]) {
    const context = this.loupe.getContext("2d");
    const shown = this.canvas.width / this.width;
    const side = 48;
    context.fillStyle = "#000";
    context.fillRect(0, 0, 144, 144);
    context.drawImage(this.canvas, x * shown - side / 2, y * shown - side / 2, side, side, 0, 0, 144, 144);
    context.strokeStyle = "#b3125f";
    context.lineWidth = 1.5;
    context.beginPath();
    context.moveTo(72, 52);
    context.lineTo(72, 92);
    context.moveTo(52, 72);
    context.lineTo(92, 72);
    context.stroke();
    this.loupe.classList.toggle("left", x * this.scale + this.x > this.frame.clientWidth / 2);
    this.loupe.hidden = false;
  }
}

const shape = (kind, d) => s("path", { ...attributes(kind), d });

/** The overlay's shapes. */
const drawn = (overlay) => paths(overlay).map(([kind, d]) => shape(kind, d));
