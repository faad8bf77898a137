// Elements from descriptions, and small things that every view needs.

const SVG = "http://www.w3.org/2000/svg";

/** An element: attributes, `on…` listeners, and children (elements, texts, or nothing). */
export function h(tag, attributes = {}, ...children) {
  return fill(document.createElement(tag), attributes, children);
}

/** The same in a drawing. */
export function s(tag, attributes = {}, ...children) {
  return fill(document.createElementNS(SVG, tag), attributes, children);
}

function fill(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value === undefined || value === null || value === false) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else if (name in element && (name === "value" || name === "checked" || name === "hidden")) element[name] = value;
    else element.setAttribute(name, value === true ? "" : value);
  }
  element.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false));
  return element;
}

/** Tells a screen reader what happened. */
export function announce(text) {
  document.querySelector("#live").textContent = text;
}

let fields = 0;
/** A control with its label above and, where there is one, a hint below. */
export function field(label, control, hint) {
  const id = (control.id ||= `field-${++fields}`);
  const about = hint ? h("span", { class: "hint", id: `${id}-hint` }, hint) : null;
  if (about) control.setAttribute("aria-describedby", about.id);
  return h("div", { class: "field" }, h("label", { for: id }, label), control, about);
}

/** A list to choose from: pairs of value and words. */
export function choice(pairs, chosen, change) {
  const options = pairs.map(([value, words]) => h("option", { value, selected: value === chosen }, words));
  return h("select", { onchange: (event) => change(event.target.value) }, options);
}

/** Hands a file to the person. */
export function save(name, content, type) {
  const url = URL.createObjectURL(new Blob([content], { type }));
  h("a", { href: url, download: name }).click();
  setTimeout(() => URL.revokeObjectURL(url), 60_000);
}

/** A number typed with a point or a comma; `null` for anything else. */
export function number(text) {
  const value = Number(text.trim().replace(",", "."));
  return text.trim() !== "" && Number.isFinite(value) ? value : null;
}

/** Waits until nothing has happened for a while. */
export function settled(milliseconds, act) {
  let timer = 0;
  return () => {
    clearTimeout(timer);
    timer = setTimeout(act, milliseconds);
  };
}
