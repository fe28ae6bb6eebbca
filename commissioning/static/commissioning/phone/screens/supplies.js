/* Supply points: record one isolated, with its lock. A release and a permission need signal, and the phone says why. */

import { h, mark, tag } from "../dom.js";
import { keep, seenOf } from "../keeping.js";
import { NEVER } from "../kinds.js";
import { BATTERY_WORDS } from "../work.js";
import { moment } from "../words.js";
import { area, atHand, caution, field, notHere, place, text, waysOn, withSignal } from "./parts.js";

const RULE = "Isolated and locked is not dead. Wait the maker's time for stored charge and prove dead at the point of work.";
const STATES = { isolated: "recorded isolated", released: "LIVE", not_recorded: "not recorded" };

export async function show(root, params, app) {
  const found = await atHand(app, params.system);
  if (!found) return notHere(root, app, params.system);
  const { system } = found;
  const chosen = system.supplies.find((one) => one.id === params.supply);
  root.append(place(system), h("h1", {}, chosen ? "Record it isolated" : "Supply points"), caution("danger", RULE),
    system.battery && h("p", { class: "battery-words" }, BATTERY_WORDS));
  if (chosen) return isolating(found, chosen, root, app);
  root.append(system.supplies.length ? h("ul", { class: "items supplies" }, system.supplies.map((one) => row(system, one)))
    : h("p", {}, "Every way energy gets into this system belongs here. They come with the equipment register; until they are listed, treat it as LIVE."),
  h("h2", {}, "Release, and permission to energise"), withSignal(NEVER.release, `/p/${encodeURIComponent(app.code)}/systems/${system.id}/supplies/`, "the supply points, with signal"),
  h("p", {}, NEVER.permission), waysOn(system));
  return undefined;
}

function row(system, supply) {
  return h("li", {}, h("div", {}, h("p", {}, h("b", {}, tag(supply.tag)), ` ${supply.kind_words}${supply.description ? `, ${supply.description}` : ""}`),
    h("p", {}, mark(STATES[supply.state]), supply.state === "isolated" && `, lock ${supply.lock_number}`,
      supply.changed_at && h("span", { class: "quiet" }, `, ${moment(supply.changed_at)}, ${supply.changed_by}${supply.here ? "; on this phone" : ""}`)),
    supply.state !== "isolated" && h("a", { class: "button", href: `#/systems/${system.id}/supplies?supply=${supply.id}` }, "record it isolated")));
}

function isolating({ bundle, system }, supply, root, app) {
  const lock = field("Lock number", text({ name: "lock_number", maxlength: 40 }), { help: "Of the lock that is on it now." });
  const remark = area({ name: "remark" });
  root.append(h("p", { class: "lead" }, h("b", {}, tag(supply.tag)), ` ${supply.kind_words}${supply.description ? `, ${supply.description}` : ""}`),
    h("form", { class: "form", onsubmit: (event) => event.preventDefault(), oninput: () => app.entry(true) }, lock, field("Remark", remark, { optional: true })), waysOn(system));
  const record = async () => {
    const number = lock.querySelector("input").value.trim();
    lock.complain(number ? "" : "Type the number of the lock that is on it.");
    if (!number) return;
    const said = remark.value.trim();
    const body = { supply: supply.id, lock_number: number, ...(said ? { remark: said } : {}) };
    const kept = await keep(app, [{ system: system.id, kind: "supply_isolated", body, seen: seenOf(bundle) }], `${supply.tag} is recorded isolated. Prove dead at the point of work.`);
    if (kept) app.go(`#/systems/${system.id}/supplies`);
  };
  app.actions(root, h("button", { type: "button", class: "main", onclick: record }, "record it isolated"), h("a", { class: "button", href: `#/systems/${system.id}/supplies` }, "leave it as it is"));
  return undefined;
}
