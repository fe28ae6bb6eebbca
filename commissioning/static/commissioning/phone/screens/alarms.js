/* Alarms seen on a system: write down every one that shows while commissioning, explained or not. */

import { h, mark, tag } from "../dom.js";
import { keep, seenOf } from "../keeping.js";
import { moment } from "../words.js";
import { atHand, field, notHere, place, text, waysOn } from "./parts.js";

export async function show(root, params, app) {
  const found = await atHand(app, params.system);
  if (!found) return notHere(root, app, params.system);
  const { system } = found;
  const stage = system.stages.find((one) => one.state === "started") ?? null;
  const said = field("The alarm, as the display words it", text({ name: "text", maxlength: 200 }));
  const where = h("select", { name: "equipment" }, h("option", { value: "" }, "the system as a whole"), system.tags.map((one) => h("option", { value: one.id }, `${one.tag} ${one.name}`)));
  root.append(place(system), h("h1", {}, "Alarms"),
    stage ? h("form", { class: "form", onsubmit: (event) => event.preventDefault(), oninput: () => app.entry(true) }, said, field("Seen on", where))
      : h("p", {}, "No stage of this system is in hand; an alarm is recorded in the stage in which it was seen."),
    h("h2", {}, "Not settled yet"), list(system), h("p", { class: "quiet" }, "What an alarm turned out to be is said with signal, on its own page."), waysOn(system));
  if (stage) app.actions(root, h("button", { type: "button", class: "main", onclick: () => record({ app, ...found, stage, said, where }) }, "write it down"));
  return undefined;
}

function list(system) {
  if (!system.alarms.length) return h("p", {}, "No alarm is open here.");
  return h("ul", { class: "items" }, system.alarms.map((one) => h("li", {}, h("span", {}, h("b", {}, one.text), " ", mark(one.outcome_words), one.tag && [" ", tag(one.tag)],
    h("br"), h("span", { class: "quiet" }, `${moment(one.seen_at)}, ${one.seen_by}`), one.here && ", on this phone"))));
}

async function record({ app, bundle, system, stage, said, where }) {
  const words = said.querySelector("input").value.trim();
  said.complain(words ? "" : "Write the alarm down as the display words it.");
  if (!words) return;
  const body = { stage: stage.id, text: words, ...(where.value ? { equipment: where.value } : {}), seen_at: new Date().toISOString() };
  if (await keep(app, [{ system: system.id, kind: "alarm_sighting", body, seen: seenOf(bundle) }], "The alarm is kept.")) app.show();
}
