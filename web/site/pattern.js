// Saying what is knitted.
import { choice, field, h } from "./dom.js";
import { words } from "./words.js";

/** What was knitted: a list, and for other patterns a name and a repeat. */
export function patternFields(set, changed, hint) {
  const pairs = [["", words.not_sure], ...Object.entries(words.patterns), ["other", words.other_pattern]];
  const whole = (index) => h("input", { type: "number", min: "1", max: "500", step: "1", inputmode: "numeric", value: set.repeat[index] ?? "", oninput: (event) => {
    // Anything but a whole number counts as not said: the browser marks it.
    set.repeat[index] = /^[1-9]\d{0,2}$/.test(event.target.value) ? Number(event.target.value) : null;
    changed();
  } });
  const name = h("input", { type: "text", autocomplete: "off", value: set.name, oninput: (event) => {
    set.name = event.target.value;
    changed();
  } });
  const other = h("div", { class: "fields", hidden: set.pattern !== "other" }, field(words.pattern_name, name), field(words.repeat_stitches, whole(0)), field(words.repeat_rows, whole(1)));
  const list = choice(pairs, set.pattern, (value) => {
    set.pattern = value;
    other.hidden = value !== "other";
    changed();
  });
  list.id = "pattern";
  return h("div", { class: "stack close" }, field(words.knitted, list, hint), other);
}
