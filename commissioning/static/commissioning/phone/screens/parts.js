/* Pieces that the screens share: the system at hand as this phone knows it, headings, fields, cautions, ways on. */

import { h, shape, tag } from "../dom.js";
import { overlaid } from "../overlay.js";

let serial = 0;

/** The system with what this phone recorded since; null when it is not on this phone. The banner follows it. */
export async function atHand(app, id) {
  const bundle = await app.bundle();
  const taken = bundle?.systems.find((system) => system.id === id);
  if (!taken) return null;
  const system = overlaid(bundle, taken, await app.outbox.list({ system: id }));
  const known = { ...bundle, taken_at: taken.taken_at ?? bundle.taken_at, head: taken.head ?? bundle.head };
  app.energy({ ...known, systems: [system] }, id);
  return { bundle: known, system };
}

/** Says that the system is not on this phone, and how it gets there. */
export function notHere(root, app, id) {
  root.append(h("h1", {}, "This system is not on this phone"),
    h("p", {}, "Its lines, tags and limits have to be taken along while there is signal."));
  app.actions(root, h("a", { class: "button main", href: `#/?take=${encodeURIComponent(id ?? "")}` }, "take it along"));
}

/** A field with its label, help and what is wrong with it. */
export function field(label, input, { help = "", optional = false, after = null } = {}) {
  input.id ||= `field-${++serial}`;
  const wrong = h("p", { class: "wrong-words", id: `${input.id}-wrong`, role: "alert", hidden: true });
  const element = h("div", { class: "field" },
    h("label", { for: input.id }, label, optional && h("span", { class: "optional" }, " (optional)")),
    help && h("p", { class: "helptext", id: `${input.id}-help` }, help), wrong, input, after);
  input.setAttribute("aria-describedby", [help && `${input.id}-help`, `${input.id}-wrong`].filter(Boolean).join(" "));
  element.complain = (words) => {
    wrong.textContent = words ?? "";
    wrong.hidden = !words;
    element.classList.toggle("wrong", Boolean(words));
    input.setAttribute("aria-invalid", words ? "true" : "false");
    if (words) input.focus();
  };
  return element;
}

/** Choices as large targets: [[value, words, more]], one of them or none chosen. `change` is called with the value. */
export function choices(legend, name, rows, { chosen = "", change = () => undefined, className = "" } = {}) {
  const wrong = h("p", { class: "wrong-words", role: "alert", hidden: true });
  const element = h("fieldset", { class: `choices ${className}` }, h("legend", {}, legend), wrong,
    h("div", { class: "choice-row" }, rows.map(([value, words, more]) => h("label", { class: "choice" },
      h("input", { type: "radio", name, value, checked: value === chosen, onchange: () => { element.complain(""); change(value); } }),
      h("span", { class: "choice-words" }, h("b", {}, words), more && h("span", {}, more))))));
  element.value = () => element.querySelector("input:checked")?.value ?? "";
  element.complain = (words) => {
    wrong.textContent = words;
    wrong.hidden = !words;
    if (words) element.querySelector("input").focus();
  };
  return element;
}

/** A caution: word and shape together. */
export function caution(level, text, more = null) {
  const word = { danger: "DANGER", must: "You must" }[level] ?? "Warning";
  return h("div", { class: `caution ${level}`, role: "note" }, shape(level),
    h("div", {}, h("p", {}, h("span", { class: "word" }, word), ` ${text}`), more));
}

/** Where one is: the system and what of it. */
export function place(system, ...words) {
  return h("p", { class: "place" }, h("a", { href: `#/systems/${system.id}` }, tag(system.tag)), ...words);
}

/** The ways on that need no corner of the screen: they stand at the end of every screen. */
export function waysOn(system) {
  const to = (path, words) => h("a", { class: "button", href: path }, words);
  return h("nav", { class: "ways-on", "aria-label": "ways on" },
    system && to(`#/systems/${system.id}`, "the system"),
    system && to(`#/snag?system=${system.id}`, "log a snag"),
    to("#/", "on this phone"), to("#/outbox", "outbox"));
}

/** A page of the server for what the phone may not do, with the reason beside it. */
export function withSignal(words, address, label) {
  return h("div", { class: "with-signal" }, h("p", {}, h("b", {}, "Needs signal. "), words),
    h("a", { class: "button", href: address }, label));
}

/** A value that the procedure or the register brings, as a person reads it. */
export function knownWords({ value, unit }) {
  return `${/^[a-z]+(_[a-z]+)+$/.test(value) ? value.replaceAll("_", " ") : value} ${unit}`.trim();
}

export function area(given = {}) {
  return h("textarea", { rows: 2, ...given });
}

export function text(given = {}) {
  return h("input", { type: "text", autocomplete: "off", ...given });
}
