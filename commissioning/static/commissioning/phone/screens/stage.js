/* The lines of a stage: what do I do now? */

import { h, mark, tag } from "../dom.js";
import { holdsWork, isDone, nextOpen, partyWords } from "../work.js";
import { address } from "./line.js";
import { atHand, notHere, place, waysOn } from "./parts.js";

export async function show(root, params, app) {
  const found = await atHand(app, params.system);
  const stage = found?.system.stages.find((one) => one.id === params.stage);
  if (!stage) return notHere(root, app, params.system);
  const { system } = found;
  const next = nextOpen(stage);
  root.append(place(system), h("h1", {}, stage.words), h("p", { class: "lead" }, ...state(stage)),
    stage.lines.length
      ? h("ol", { class: "line-list" }, stage.lines.map((line) => row(system, stage, line, line === next)))
      : h("p", {}, "The check lines of this stage belong here. A manager lays a procedure out on the system."),
    waysOn(system));
  app.actions(root, next && h("a", { class: "button main", href: address(system, stage, next) }, stage.state === "started" ? `open line ${stage.lines.indexOf(next) + 1}` : `look at line ${stage.lines.indexOf(next) + 1}`));
  return undefined;
}

function state(stage) {
  if (stage.state === "not_started") return ["This stage is not started. Its lines can be read, and recorded once it is."];
  if (stage.state === "accepted") return [mark("accepted"), " This stage is accepted: its lines stand as they were signed."];
  const done = stage.lines.filter(isDone).length;
  return [`${done} of ${stage.lines.length} lines done.`];
}

function row(system, stage, line, isNext) {
  const work = line.work === "live" ? h("b", {}, "LIVE work") : line.work === "dead" ? "dead work" : "dead or live";
  return h("li", isNext ? { "aria-current": "step" } : {}, h("a", { href: address(system, stage, line) },
    h("span", { class: "title" }, line.title),
    h("span", { class: "about" }, mark(line.state), line.tag && tag(line.tag), work, line.standing?.here && !line.standing.sent && "not sent yet",
      line.needs && h("b", {}, "needs you"), holdsWork(line) && line.state !== "open" && h("b", {}, `waits for the ${partyWords(line)}`))));
}
