/* Proof of dead, before a test voltage is injected: where, with which detector, proved before and after. */

import { h } from "../dom.js";
import { keep, seenOf } from "../keeping.js";
import { caution, field, text } from "./parts.js";

const DETECTOR = "voltage detector";
const RULE = "A test voltage is injected here. Isolated and locked is not dead: wait the maker's time for stored charge, "
  + "then prove dead at the point of work, with a detector proved before and after.";

export async function proofForm(here) {
  const { app, root } = here;
  const where = field("Point of work", text({ name: "point_of_work", maxlength: 200 }), { help: "Terminals, cubicle, side of the link." });
  const detector = field("Voltage detector", text({ name: "detector", maxlength: 120, value: (await app.store.note(DETECTOR)) ?? "" }), { help: "With its serial number." });
  const before = tick("The detector was proved on a known source before the test");
  const after = tick("The detector was proved on a known source after the test");
  root.append(h("section", {}, h("h2", {}, "First prove dead at the point of work"),
    caution("danger", RULE, h("p", { class: "sign" }, "W012, warning: electricity")),
    h("form", { class: "form", onsubmit: (event) => event.preventDefault(), oninput: () => app.entry(true) }, where, detector, before, after)));
  app.actions(root, h("button", { type: "button", class: "main", onclick: () => record(here, { where, detector, before, after }) }, "record the proof of dead"));
  return undefined;
}

function tick(words) {
  const wrong = h("p", { class: "wrong-words", role: "alert", hidden: true });
  const box = h("input", { type: "checkbox" });
  const element = h("div", { class: "field tick-field" }, wrong, h("label", { class: "choice" }, box, h("span", {}, words)));
  element.complain = (said) => {
    wrong.textContent = said;
    wrong.hidden = !said;
    if (said) box.focus();
  };
  element.ticked = () => box.checked;
  return element;
}

async function record(here, { where, detector, before, after }) {
  const value = (element) => element.querySelector("input").value.trim();
  for (const element of [where, detector, before, after]) element.complain("");
  if (!value(where)) return where.complain("Say where: terminals, cubicle, side of the link.");
  if (!value(detector)) return detector.complain("Name the voltage detector and its serial number.");
  if (!before.ticked()) return before.complain("Prove the detector on a known source before the test.");
  if (!after.ticked()) return after.complain("Prove the detector on a known source after the test.");
  const { app, bundle, system, line } = here;
  await app.store.keepNote(DETECTOR, value(detector)).catch(() => undefined); // it only saves typing the next time
  const body = { line: line.id, point_of_work: value(where), detector: value(detector), proved_before: true, proved_after: true };
  const kept = await keep(app, [{ system: system.id, kind: "proof_of_dead", body, seen: seenOf(bundle, line) }],
    "The proof of dead is kept. Dead is what it was proved to be there and then: prove again after a break.");
  if (kept) app.show();
  return undefined;
}
