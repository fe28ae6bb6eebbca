/* A system on this phone: may I go on, and if not, who must do what? */

import { h, mark, tag } from "../dom.js";
import { NEVER } from "../kinds.js";
import { BATTERY_WORDS, isDone, nextOpen } from "../work.js";
import { age, many } from "../words.js";
import { handChoice } from "../hand.js";
import { address } from "./line.js";
import { atHand, notHere, waysOn, withSignal } from "./parts.js";

export async function show(root, params, app) {
  const found = await atHand(app, params.system);
  if (!found) return notHere(root, app, params.system);
  const { bundle, system } = found;
  const inHand = system.stages.find((stage) => stage.state !== "accepted");
  root.append(h("h1", {}, tag(system.tag), ` ${system.name}`),
    h("p", { class: "quiet" }, `${system.site.name}. As recorded ${age(bundle.taken_at)}, with what this phone has recorded since.`),
    system.battery && h("p", { class: "battery-words" }, BATTERY_WORDS),
    h("ul", { class: "stages" }, system.stages.map((stage) => stageRow(system, stage, stage === inHand))),
    deeds(system), items(system), gate(app, system, inHand),
    h("details", { class: "more" }, h("summary", {}, "more"), handChoice()), waysOn(null));
  const next = inHand?.state === "started" ? nextOpen(inHand) : null;
  app.actions(root,
    next ? h("a", { class: "button main", href: address(system, inHand, next) }, "next open line") : inHand && h("a", { class: "button main", href: address(system, inHand) }, "its lines"),
    h("a", { class: "button", href: `#/snag?system=${system.id}` }, "log a snag"));
  return undefined;
}

function stageRow(system, stage, inHand) {
  const done = stage.lines.filter(isDone).length;
  return h("li", inHand ? { "aria-current": "step" } : {}, h("a", { href: address(system, stage) }, h("b", {}, stage.words), mark(stage.state),
    h("span", { class: "quiet" }, `${done} of ${many(stage.lines.length, "line")} done`)));
}

function deeds(system) {
  const unexplained = system.alarms.filter((one) => one.outcome === "unexplained").length;
  const proved = system.signals.filter((one) => one.state === "proved").length;
  const isolated = system.supplies.filter((one) => one.state === "isolated").length;
  const to = (path, words, more) => h("li", {}, h("a", { href: `#/systems/${system.id}/${path}` }, h("b", {}, words), h("span", { class: "quiet" }, more)));
  return h("ul", { class: "deeds" },
    to("supplies", "supply points", `${isolated} of ${system.supplies.length} recorded isolated`),
    to("signals", "signals", `${proved} of ${system.signals.length} proved`),
    to("alarms", "alarms", system.alarms.length ? `${many(system.alarms.length, "open sighting")}, ${unexplained} unexplained` : "none open"));
}

function items(system) {
  const open = [...system.punch_items].sort((a, b) => a.category.localeCompare(b.category));
  return h("section", {}, h("h2", {}, "Open items"), open.length
    ? h("ul", { class: "items" }, open.map((item) => h("li", {}, h("span", { class: `category cat-${item.category.toLowerCase()}` }, item.category),
      h("span", {}, item.label ? `${item.label} ` : "", mark(item.state_words), " ", tag(item.tag), ` ${item.text}`, item.photos ? `, ${many(item.photos, "photo")}` : "", item.here && ", logged on this phone"))))
    : h("p", {}, "No open punch item."));
}

function gate(app, system, stage) {
  if (!stage) return h("p", {}, "Every stage of it is accepted.");
  const page = `/p/${encodeURIComponent(app.code)}/stages/${stage.id}/`;
  return h("section", {}, h("h2", {}, "The gate"),
    (stage.holds ?? []).length > 0 && h("ul", {}, stage.holds.map((one) => h("li", {}, one.words, ` Turn: ${String(one.turn).replaceAll("_", " ")}.`))),
    withSignal(NEVER.acceptance, page, "the gate, with signal"));
}
