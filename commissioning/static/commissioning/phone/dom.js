/* Builds what the screens show. Text is always text: nothing that a person typed is read as markup. */

/** h("button", {class: "main", onclick: act}, "keep", …): an element with attributes, listeners and children. */
export function h(name, given = {}, ...children) {
  const element = document.createElement(name);
  for (const [key, value] of Object.entries(given)) {
    if (value === false || value === null || value === undefined) continue;
    if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key === "value" || key === "checked") element[key] = value;
    else element.setAttribute(key, value === true ? "" : value);
  }
  element.append(...children.flat(3).filter((child) => child !== null && child !== undefined && child !== false && child !== ""));
  return element;
}

/** A shape of the drawing language (components/shapes.html). */
export function shape(word) {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  svg.setAttribute("class", "shape");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS("http://www.w3.org/2000/svg", "use");
  use.setAttribute("href", `#mark-${slug(word)}`);
  svg.append(use);
  return svg;
}

/** Where an entry stands, drawn as the state of states.css that asks the same of a person. */
const LOOKS = { arrived: "done", "needs you": "sent back", mended: "done", dropped: "withdrawn", sending: "running" };

/** A state: word, shape and colour together. */
export function mark(word) {
  const words = String(word).replaceAll("_", " ");
  const look = LOOKS[words] ?? words;
  return h("span", { class: `state s-${slug(look)}` }, shape(look), words);
}

/** A tag, in its face. */
export function tag(text) {
  return h("span", { class: "tag" }, text);
}

export function slug(word) {
  return String(word).toLowerCase().replaceAll(/[^a-z0-9]+/g, "-");
}
