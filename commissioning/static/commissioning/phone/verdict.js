/* A verdict with its numbers and its working, worked out on this phone from the same formulas as on the server. */

import { h, mark } from "./dom.js";
import { asVerified } from "./meters.js";

const RULES = {
  simple: "simple acceptance: inside the limit accepts",
  guarded: "guarded acceptance: inside the limit by the guard band accepts",
};

/** What the formulas make of what was typed: {result} or {problems} by input or {later}: why only the server can say. */
export async function tryReading(app, { bundle, system, line, typed, meters }) {
  const formulas = await app.formulas().catch(() => null);
  if (!formulas?.verify) return { later: "The formulas are not on this phone yet; the server will verify this." };
  const found = formulas.verify({
    calculation: line.calculation, edition: line.edition, typed, inputs: line.inputs, fixed: line.fixed,
    nameplate: line.nameplate, limits: line.limits,
    instruments: Object.fromEntries(Object.entries(meters).map(([name, one]) => [name, asVerified(one)])),
    decision_rule: bundle.project.decision_rule, guard_factor: bundle.project.guard_factor,
    time_zone: system.time_zone, taken_at: new Date().toISOString(),
  });
  if (found.problems || found.later) return found;
  const outputs = formulas.catalogue?.[line.calculation]?.outputs ?? [];
  for (const { name, help } of outputs) if (found.outputs?.[name]) found.outputs[name].help = help;
  return { result: found, verdict: found.stored_verdict ?? found.verdict, words: found.words ?? found.verdict.replaceAll("_", " "), accepted: Boolean(found.accepted) };
}

/** The verdict as a bar: word, shape, colour, the values, and how sure it is. */
export function verdictBar({ result, verdict, words }, { rule = "", note = "" } = {}) {
  const spread = Object.values(result?.outputs ?? {}).some((one) => one?.expanded_uncertainty);
  const sure = result?.conformity_probability;
  return h("div", { class: `verdict-bar s-${String(words).replaceAll(" ", "-")}` }, mark(words),
    Object.entries(result?.outputs ?? {}).map(([name, one]) => valueOf(one?.help || name.replaceAll("_", " "), one, boundsOf(result, name))),
    verdict === "cannot_say" && h("span", {}, whyNot(result)),
    spread && sure !== null && sure !== undefined && h("span", {}, `probability of conformity ${(sure * 100).toFixed(1)} %`),
    (result?.limits ?? []).length > 0 && rule && h("span", { class: "quiet" }, RULES[rule] ?? ""),
    note && h("span", { class: "quiet" }, note));
}

function boundsOf(result, name) {
  return (result.limits ?? []).find((one) => one.output === name);
}

function whyNot(result) {
  if (result?.verdict === "instrument_unsuitable") return "The instrument's uncertainty is too wide for these limits. Measure with a better one.";
  return (result?.limits ?? []).length ? "It cannot say: the values lie outside what the method covers, or a value for a limit is missing."
    : "It has no pass criterion here, so it cannot say whether this is good.";
}

function valueOf(words, one, bounds) {
  if (!one || one.value === null || one.value === undefined) return null;
  const [value, spread] = figures(one.value, one.expanded_uncertainty, bounds);
  return h("span", { class: "measured" }, `${words[0].toUpperCase()}${words.slice(1)} `,
    h("span", { class: "value" }, h("b", {}, spread ? `${value} ± ${spread}` : value), one.unit && h("span", { class: "unit" }, `\u2009${one.unit}`)));
}

/** Value and uncertainty in the digits that the uncertainty allows, and never so few that they contradict a limit. */
export function figures(value, spread, bounds = {}) {
  if (typeof value !== "number") return [Array.isArray(value) ? value.map((one) => figures(one, null)[0]).join("; ") : String(value), ""];
  const place = (number, count) => Math.max(0, count - 1 - Math.floor(Math.log10(Math.abs(number) || 1)));
  let places = spread ? Math.min(place(spread, 2), 12) : Math.min(place(value, 5), 12);
  const sides = (number) => [bounds.lower, bounds.upper].map((bound) => (typeof bound === "number" ? Math.sign(number - bound) : 0));
  while (places < 12 && String(sides(Number(value.toFixed(places)))) !== String(sides(value))) places += 1;
  const written = (number) => { const text = number.toFixed(places); return (spread ? text : String(Number(text))).replace("-", "−"); };
  return [written(value), spread ? written(spread) : ""];
}

/** Formula, numbers put in, result; limits with their source; what holds for every such measurement. */
export function workingOf(result) {
  if (!result) return null;
  return h("details", { class: "more", open: true }, h("summary", {}, "Working"),
    h("ol", { class: "working" }, (result.working ?? []).map((step) => h("li", {},
      h("span", { class: "formula" }, step.formula), h("span", { class: "substituted" }, step.substituted), h("span", { class: "result" }, step.result)))),
    (result.limits ?? []).map((one) => one.source && h("p", { class: "sources" }, `Limit: ${one.source}`)),
    (result.sources ?? []).map((words) => h("p", { class: "sources" }, words)),
    (result.cautions ?? []).length > 0 && h("ul", {}, result.cautions.map((words) => h("li", {}, words))));
}
