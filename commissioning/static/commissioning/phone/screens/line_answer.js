/* An answer that is no reading: passed, failed or not applicable, with the values that the line keeps on record. */

import { h } from "../dom.js";
import { Pad } from "../pad.js";
import { keepOnLine } from "../keeping.js";
import { area, field, knownWords, text } from "./parts.js";

export async function answering(here, { aside = false } = {}) {
  const { app, root, line } = here;
  const asked = aside || line.calculation ? [] : line.asked;
  const pad = new Pad();
  const values = new Map(asked.map((one) => {
    const input = text({ name: one.name });
    if (one.unit) pad.serve(input, one);
    return [one.name, field(one.unit ? `${one.label}, in ${one.unit}` : one.label, input, { optional: one.optional, help: one.previous ? `before: ${one.previous}` : "" })];
  }));
  const remark = area({ name: "remark" });
  const remarkField = field("Remark", remark, { optional: true });
  const give = (outcome) => answer(here, { outcome, values, remark, remarkField });
  const form = h("form", { class: "form", onsubmit: (event) => event.preventDefault(), oninput: () => app.entry(true) },
    [...values.values()], known(line, aside), remarkField,
    aside && h("p", {}, h("button", { type: "button", onclick: () => give("not_applicable") }, "not applicable")));
  root.append(form, pad.keys);
  if (!aside) {
    app.actions(root,
      (!line.calculation || !line.required) && h("button", { type: "button", class: "main", onclick: () => give("passed") }, "passed"),
      h("button", { type: "button", onclick: () => give("failed") }, "failed"),
      h("button", { type: "button", onclick: () => give("not_applicable") }, "not applicable"));
  }
  return () => pad.close();
}

function known(line, aside) {
  if (aside || !line.known.length) return "";
  return h("dl", { class: "facts" }, line.known.map((one) => [h("dt", {}, one.label), h("dd", {}, h("span", { class: "value" }, knownWords(one)), h("span", { class: "quiet" }, ` (${one.origin})`))]));
}

async function answer(here, { outcome, values, remark, remarkField }) {
  const typed = {};
  for (const [name, element] of values) {
    const asked = here.line.asked.find((one) => one.name === name);
    const value = element.querySelector("input").value.trim();
    element.complain("");
    if (!value && !asked.optional && outcome !== "not_applicable") return element.complain(`Type ${asked.label}${asked.unit ? `, in ${asked.unit}` : ""}.`);
    if (value) typed[name] = value;
  }
  const said = remark.value.trim();
  if (!said && outcome === "failed") return remarkField.complain("Say what was wrong, so that somebody else can mend it.");
  if (!said && outcome === "not_applicable") return remarkField.complain("Say why the line does not apply; the dossier prints the reason.");
  const body = { outcome, ...(said ? { remark: said } : {}) };
  if (outcome !== "not_applicable" && Object.keys(typed).length) body.values = typed;
  return keepOnLine(here, { kind: "check_result", body, words: `Kept: ${outcome.replaceAll("_", " ")}.`, failed: outcome === "failed" });
}
