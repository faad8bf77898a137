// Asking what is known of a swatch before it is kept.
import { announce, choice, field, h, number } from "./dom.js";
import * as shelf from "./shelf.js";
import { words } from "./words.js";

/** A form for one measurement; `close` is called when it is done with. */
export function keepForm(app, measured, close) {
  const said = { yarn: "", needle: "", state: "", knitter: "", note: "" };
  const text = (name, label, attributes = {}) => field(label, h("input", { type: "text", autocomplete: "off", ...attributes, oninput: (event) => (said[name] = event.target.value) }));
  const keep = async (event) => {
    event.preventDefault();
    try {
      const number_ = await shelf.keep(measured, { ...said, needle: number(said.needle) });
      announce(words.kept(number_));
      form.replaceChildren(h("p", { class: "verdict", id: "kept" }, words.kept(number_)));
      app.swatchesChanged();
    } catch {
      form.prepend(h("p", { class: "problem", role: "alert" }, words.storage_failed));
    }
  };
  const form = h("form", { class: "card stack close", id: "keep-form", onsubmit: keep }, h("h2", {}, words.keep_title),
    h("div", { class: "fields" }, text("yarn", words.yarn), text("needle", words.needle, { inputmode: "decimal" }),
      field(words.state, choice(Object.entries(words.states), "", (value) => (said.state = value))), text("knitter", words.knitter)),
    text("note", words.note),
    h("div", { class: "row" }, h("button", { class: "main-button" }, words.keep_now), h("button", { type: "button", onclick: close }, words.dismiss)));
  return form;
}
