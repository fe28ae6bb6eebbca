/* One check line: its caution, what to do, one answer to give; or what was answered. */

import { h, mark, tag } from "../dom.js";
import { BATTERY_WORDS, blockersOf, holdsWork, nextOpen, partyWords } from "../work.js";
import { handChoice } from "../hand.js";
import { moment } from "../words.js";
import { watch } from "../watch.js";
import { answering } from "./line_answer.js";
import { atHand, caution, notHere, waysOn } from "./parts.js";
import { proofForm } from "./line_proof.js";
import { reading } from "./line_reading.js";
import { verdictBar, workingOf } from "../verdict.js";

export async function show(root, params, app) {
  const found = await atHand(app, params.system);
  const stage = found?.system.stages.find((one) => one.id === params.stage);
  const line = stage?.lines.find((one) => one.id === params.line);
  if (!line) return notHere(root, app, params.system);
  const here = { ...found, stage, line, app, root, again: params.again === "1", to: (one) => address(found.system, stage, one) };
  root.append(...head(here), ...said(line));
  const leave = standing(here) ?? await open(here);
  root.append(point(line), more(here), waysOn(found.system));
  return () => { here.clock?.stop(); leave?.(); };
}

export function address(system, stage, line) {
  return line ? `#/systems/${system.id}/run/${stage.id}/${line.id}` : `#/systems/${system.id}/run/${stage.id}`;
}

function head({ system, stage, line, to }) {
  const place = stage.lines.indexOf(line);
  const [before, after] = [stage.lines[place - 1], stage.lines[place + 1]];
  const done = stage.lines.filter((one) => one.state === "passed" || one.state === "not_applicable" || one.conceded).length;
  const way = (one, words) => (one ? h("a", { class: "button", href: to(one), rel: words }, words) : h("span", {}));
  return [
    h("p", { class: "place" }, h("a", { href: address(system, stage) }, tag(system.tag), ` ${stage.words}`)),
    h("nav", { class: "line-ways", "aria-label": "lines" }, way(before, "previous"),
      h("span", {}, `line ${place + 1} of ${stage.lines.length}`), way(after, "next")),
    h("progress", { max: stage.lines.length, value: done, "aria-label": `${done} of ${stage.lines.length} lines done` }),
    h("p", { class: "work-line" }, h("b", {}, workWords(line)), line.tag && [" on ", tag(line.tag)],
      line.point !== "none" && h("b", {}, ` · ${line.point} point for the ${partyWords(line)}`), !line.required && " · not required"),
    line.caution && caution(line.work === "live" || line.injects_voltage ? "danger" : "warning", line.caution),
    aboutBattery(system, stage, line) && h("p", { class: "battery-words" }, BATTERY_WORDS),
    h("h1", {}, line.title),
  ].filter(Boolean);
}

function workWords(line) {
  const words = { dead: "dead work", live: "LIVE work", either: "dead or live" }[line.work];
  return line.injects_voltage ? `${words}, injects a test voltage` : words;
}

function aboutBattery(system, stage, line) {
  return stage.kind === "battery_connected" || system.tags.some((one) => one.id === line.equipment && one.kind === "battery");
}

function said(line) {
  return [
    line.how && h("section", { "aria-label": "how" }, h("h2", {}, "How"), paragraphs(line.how)),
    line.accept && h("section", { "aria-label": "good enough" }, h("h2", {}, "Good enough when"), paragraphs(line.accept)),
  ].filter(Boolean);
}

function paragraphs(text) {
  return text.split(/\n{2,}/).map((part) => h("p", {}, part.replaceAll("\n", " ")));
}

/** What was answered on the line, with what can be done about it; null while it is to be answered. */
function standing(here) {
  const { line, app, root } = here;
  if (line.needs) root.append(needsYou(line.needs));
  if (line.state === "open" || (here.again && line.state === "failed")) return null;
  root.append(h("section", { class: "answered", "aria-label": "answered" }, answered(here)));
  const next = nextOpen(here.stage, line.id);
  const stopped = holdsWork(line);
  if (stopped) root.append(caution("must", `Work stops here until the ${partyWords(line)} has witnessed it. The lines behind it cannot be recorded before.`));
  const failed = line.state === "failed" && !line.conceded;
  app.actions(root,
    next && !stopped && h("a", { class: failed ? "button" : "button main", href: here.to(next) }, "next open line"),
    failed && h("a", { class: "button main", href: `#/snag?line=${line.id}&system=${here.system.id}` }, "log a snag"),
    failed && h("a", { class: "button", href: `${here.to(line)}?again=1` }, line.calculation ? "measure again" : "answer again"),
    (!next || stopped) && h("a", { class: "button", href: address(here.system, here.stage) }, "all lines"));
  return () => undefined;
}

function answered({ line, bundle }) {
  const one = line.standing;
  const rule = bundle.project.decision_rule;
  const typed = Object.entries(one?.typed ?? {}).filter(([, value]) => value);
  return [
    one?.kind === "reading" && one.result ? verdictBar(one, { rule }) : h("p", { class: "lead" }, mark(one?.words || line.state), line.conceded && " with concession"),
    one?.said_by === "" && h("p", {}, "The server will verify this reading when it arrives."),
    typed.length > 0 && h("dl", { class: "facts" }, typed.map(([name, value]) => [h("dt", {}, labelOf(line, name)), h("dd", { class: "value" }, value)])),
    one?.remark && h("p", { class: "whole" }, one.remark),
    one && h("p", { class: "quiet" }, [moment(one.at), one.by_words ?? one.by].filter(Boolean).join(", "), one.here && !one.sent && "; on this phone, not sent yet"),
    one?.result && workingOf(one.result),
  ];
}

function labelOf(line, name) {
  const asked = line.asked.find((one) => one.name === name);
  return asked ? `${asked.label}${asked.unit ? `, in ${asked.unit}` : ""}` : name.replaceAll("_", " ");
}

function needsYou(item) {
  return h("div", { class: "caution must" }, h("div", {}, h("p", {}, h("span", { class: "word" }, "Needs you"), ` The server did not take what was recorded here: ${item.reason}`),
    h("p", {}, h("a", { class: "button", href: "#/outbox" }, "mend or drop it"))));
}

/** The line to be answered: what stands in the way, or the form that fits it. */
async function open(here) {
  const { line, stage, system, root, app } = here;
  const found = blockersOf({ line, stage, energy: system.energy.state });
  const others = found.filter((one) => one.code !== "proof_of_dead_missing");
  if (others.length) {
    root.append(inTheWay(here, others));
    app.actions(root, ...wayOut(here, others[0]));
    return setAside(here);
  }
  if (found.length) return proofForm(here);
  if (line.force_seconds) root.append(forcing(here));
  if (line.recording) {
    root.append(h("p", { class: "lead" }, "The numbers come from a test recording. It is brought in with signal, on the line's own page."));
    app.actions(root, h("a", { class: "button", href: `/p/${encodeURIComponent(app.code)}/lines/${line.id}/` }, "the line's page"));
    return setAside(here);
  }
  return line.calculation ? reading(here) : answering(here);
}

/** A relay is forced on its signal point, where a second person confirms it; one without a point has the watch alone. */
function forcing(here) {
  const { line, system } = here;
  const signal = system.signals.find((one) => one.tag === line.tag);
  if (!signal) return (here.clock = watch(line.force_seconds));
  const words = signal.state === "proved" ? ["Its signal point is ", mark("proved"), "."] : ["Its signal point is ", mark(signal.state), ". Force it there: a second person confirms it on their own phone."];
  return h("section", { class: "with-signal", "aria-label": "signal point" }, h("p", {}, words),
    h("a", { class: "button", href: `#/systems/${system.id}/signals?signal=${signal.id}` }, "the signal point"));
}

function inTheWay({ to }, blockers) {
  return h("section", { role: "alert", "aria-labelledby": "way" }, h("h2", { id: "way" }, "This stands in the way"),
    h("ul", { class: "in-the-way" }, blockers.map((one) => h("li", {}, h("p", {}, one.words),
      h("p", {}, "Turn: ", h("b", {}, one.turn), one.line && [" · ", h("a", { href: to(one.line) }, "go to the line")])))));
}

function wayOut({ system, to }, blocker) {
  if (blocker.supplies) return [h("a", { class: "button main", href: `#/systems/${system.id}/supplies` }, "supply points")];
  if (blocker.line) return [h("a", { class: "button main", href: to(blocker.line) }, "go to that line")];
  return [h("a", { class: "button main", href: `#/systems/${system.id}` }, "the system")];
}

/** That a line does not apply may be said on a LIVE system too; it is no work on it. */
function setAside(here) {
  if (blockersOf({ ...here, energy: here.system.energy.state, deadMatters: false }).length) return undefined;
  const details = h("details", { class: "more" }, h("summary", {}, "It does not apply"));
  here.root.append(details);
  return answering({ ...here, root: details }, { aside: true });
}

function point(line) {
  if (line.point === "none") return "";
  const party = partyWords(line);
  const words = {
    hold: `Work stops here until the ${party} has witnessed it.`,
    witness: `The ${party} is invited with a notice. When its time has passed, work may go on.`,
    review: `The ${party} reviews what is on record here.`,
  }[line.point];
  return h("section", { class: "point" }, h("h2", {}, `${line.point[0].toUpperCase()}${line.point.slice(1)} point for the ${party}`),
    h("p", {}, line.witnessed ? `The ${party} has witnessed it.` : words),
    !line.witnessed && h("p", { class: "quiet" }, "Witnessing is signed by that party with signal, on the line's own page."));
}

function more({ line, app }) {
  return h("details", { class: "more" }, h("summary", {}, "more"),
    h("p", {}, h("a", { class: "button", href: `/p/${encodeURIComponent(app.code)}/lines/${line.id}/` }, "the line's page, with signal")),
    handChoice());
}

