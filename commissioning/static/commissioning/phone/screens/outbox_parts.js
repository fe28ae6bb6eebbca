/* Parts of the outbox's page: what an entry is about, and the form that mends one. */

import { h } from "../dom.js";

/** Fields of an entry that a person typed, with their labels; everything else is carried over as it is. */
const TYPED = {
  text: "Words", remark: "Remark", category: "Category (A, B or C)", caption: "Caption", lock_number: "Lock number",
  point_of_work: "Point of work", detector: "Voltage detector, with its serial number", outcome: "Passed, failed or not_applicable",
  response_seconds: "Seconds until it was seen", reason: "Reason",
};
const LONG = ["text", "remark", "reason"];

/** What the entry is about: the line, supply, signal or item that it names, or its own words. */
export function thing(item, known) {
  const id = item.body?.line ?? item.body?.supply ?? item.body?.signal ?? item.body?.proof ?? item.body?.item;
  const found = known.things.get(id);
  if (found?.href) return h("a", { href: found.href }, found.words);
  return found?.words ?? item.body?.text ?? item.body?.caption ?? "";
}

/** A form with what was typed; `keep(body)` gets the whole body with what was changed. */
export function mendForm(item, keep, close) {
  const fields = typedFields(item.body);
  const submitted = (event) => {
    event.preventDefault();
    const body = structuredClone(item.body);
    for (const { path } of fields) {
      const target = path.slice(0, -1).reduce((inner, name) => inner[name], body);
      const typed = event.target.elements[path.join(" ")].value;
      const before = target[path.at(-1)];
      target[path.at(-1)] = typeof before === "number" && typed !== "" && Number.isFinite(Number(typed)) ? Number(typed) : typed;
    }
    keep(body);
  };
  return h("form", { class: "mending", onsubmit: submitted },
    fields.length ? fields.map((field) => input(field, item)) : h("p", {}, "There is nothing to change in it. Send it once more as a new entry, or drop it."),
    h("p", { class: "toolbar" }, h("button", { class: "main" }, "send it mended"), h("button", { type: "button", onclick: close }, "leave it")));
}

function typedFields(body) {
  const plain = Object.keys(TYPED).filter((name) => ["string", "number"].includes(typeof body[name]))
    .map((name) => ({ path: [name], label: TYPED[name], value: body[name] }));
  const inner = ["typed", "values"].flatMap((group) => Object.entries(body[group] ?? {})
    .map(([name, value]) => ({ path: [group, name], label: name.replaceAll("_", " "), value })));
  return [...inner, ...plain];
}

function input({ path, label, value }, item) {
  const name = path.join(" ");
  const id = `mend-${item.id}-${name.replaceAll(" ", "-")}`;
  const given = { id, name, value: String(value), autocomplete: "off" };
  return h("p", { class: "field" }, h("label", { for: id }, label), h(LONG.includes(path.at(-1)) ? "textarea" : "input", given));
}
