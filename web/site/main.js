// The page as a whole: its parts, the unit of lengths, offline use.
import { Casting } from "./casting.js";
import { h } from "./dom.js";
import * as engine from "./engine.js";
import { Measuring } from "./measuring.js";
import { Swatches } from "./swatches.js";
import { words } from "./words.js";

const PARTS = ["measure", "cast-on", "swatches"];
const UNIT = "walewise-unit";

for (const element of document.querySelectorAll("[data-word]")) element.textContent = words[element.dataset.word];
for (const element of document.querySelectorAll("[data-label]")) element.setAttribute("aria-label", words[element.dataset.label]);

/** Storage may be forbidden; the page then forgets the unit, no more. */
function remembered() {
  try {
    return localStorage.getItem(UNIT) === "in" ? "in" : "cm";
  } catch {
    return "cm";
  }
}

const app = {
  unit: remembered(),

  /** Shows one part of the page. */
  open(part) {
    if (location.hash !== `#${part}`) location.hash = part;
    else this.shown();
  },

  shown() {
    const part = PARTS.includes(location.hash.slice(1)) ? location.hash.slice(1) : PARTS[0];
    for (const name of PARTS) document.getElementById(name).hidden = name !== part;
    for (const link of document.querySelectorAll("nav a")) {
      if (link.hash === `#${part}`) link.setAttribute("aria-current", "page");
      else link.removeAttribute("aria-current");
    }
    if (part === "swatches") swatches.show();
  },

  /** Takes a gauge to the counts. */
  castOn(text, name) {
    casting.take(text, name);
    this.open("cast-on");
    document.querySelector("#cast-on h1").focus();
  },

  swatchesChanged() {
    swatches.deleted = null;
  },

  /** A button that takes more photos. */
  again(label, take, main) {
    return h("label", { class: `button${main ? " main-button" : ""}` }, label, h("input", { type: "file", accept: "image/*,.heic,.heif", multiple: true, "aria-label": label, onchange: (event) => take([...event.target.files]) }));
  },
};

const measuring = new Measuring(document.getElementById("measure"), app);
const casting = new Casting(document.getElementById("cast-on"), app);
const swatches = new Swatches(document.getElementById("swatches"), app);

const radios = [...document.querySelectorAll("#units input")];
for (const radio of radios) {
  radio.checked = radio.value === app.unit;
  radio.addEventListener("change", () => {
    app.unit = radio.value;
    try {
      localStorage.setItem(UNIT, radio.value);
    } catch {
      // Not remembered, then.
    }
    if (measuring.result.shown) {
      measuring.result.fill();
      measuring.result.hand.build();
    }
    casting.show();
    app.shown();
  });
}

window.addEventListener("hashchange", () => app.shown());
app.shown();
engine.version().then((number) => (document.getElementById("version").textContent = words.version(number)), () => {});
if ("serviceWorker" in navigator && location.protocol !== "file:") navigator.serviceWorker.register("./offline.js").catch(() => {});
