/* A reading: values with number keys and units, the instrument, and the verdict while it is typed. */

import { h } from "../dom.js";
import { Pad } from "../pad.js";
import { keepOnLine } from "../keeping.js";
import { dayAt, inCalibration, kindOf, metersFor, remember, remembered, wordsOf } from "../meters.js";
import { tryReading, verdictBar, workingOf } from "../verdict.js";
import { answering } from "./line_answer.js";
import { area, field, knownWords, text } from "./parts.js";

const PAUSE = 250;

export async function reading(here) {
  const { app, root, line } = here;
  const pad = new Pad();
  const form = { values: valueFields(line, pad), meters: await meterFields(here), ambient: ambientField(pad), remark: area({ name: "remark" }) };
  const live = h("div", { class: "live", "aria-live": "polite" });
  const working = h("div", {});
  let pause = 0;
  const look = async () => {
    const found = await judged(here, form);
    live.replaceChildren(...shown(here, form, found));
    working.replaceChildren(...[workingOf(found?.result)].filter(Boolean));
  };
  const changed = () => { app.entry(true); clearTimeout(pause); pause = setTimeout(look, PAUSE); };
  root.append(h("form", { class: "form measuring", onsubmit: (event) => event.preventDefault(), oninput: changed, onchange: changed },
    [...form.values.values()], live, [...form.meters.values()],
    form.meters.size > 0 && h("details", { class: "more" }, h("summary", {}, "colder than 18 °C or warmer than 28 °C here"), form.ambient),
    known(line), h("details", { class: "more" }, h("summary", {}, "add a remark"), field("Remark", form.remark, { optional: true }))),
  working, pad.keys);
  const aside = h("details", { class: "more" }, h("summary", {}, "It does not apply, or cannot be measured"));
  root.append(aside);
  await answering({ ...here, root: aside }, { aside: true });
  app.actions(root, h("button", { type: "button", class: "main", onclick: () => record(here, form) }, "keep the reading"));
  return () => { clearTimeout(pause); pad.close(); };
}

function valueFields(line, pad) {
  return new Map(line.asked.map((one) => {
    const input = one.choices?.length
      ? h("select", { name: one.name }, h("option", { value: "" }, "choose"), one.choices.map((words) => h("option", { value: words }, words.replaceAll("_", " "))))
      : pad.serve(text({ name: one.name, "data-many": one.many }), one);
    const help = [one.help, one.many && "Several values, with ; between them.", one.previous && `before: ${one.previous} ${one.unit}`].filter(Boolean).join(" ");
    return [one.name, field(one.unit ? `${one.label}, in ${one.unit}` : one.label, input, { help, optional: one.optional })];
  }));
}

/** One instrument for each kind of unit that is measured; those out of calibration are named so and cannot be taken. */
async function meterFields({ app, bundle, system, line }) {
  const units = [...new Set(line.asked.filter((one) => one.measured && one.unit).map((one) => one.unit))];
  const kinds = [...new Map(units.map((unit) => [kindOf(unit), unit])).values()];
  const before = await remembered(app.store);
  const day = dayAt(system.time_zone);
  const found = new Map();
  for (const unit of kinds) {
    const fitting = metersFor(bundle.instruments, unit);
    if (!fitting.length) continue;
    const select = h("select", { name: `instrument ${unit}`, "data-unit": unit }, h("option", { value: "" }, "none named"),
      fitting.map((one) => {
        const good = inCalibration(one, day);
        const words = good ? wordsOf(one) : `${wordsOf(one)}: not in calibration`;
        return h("option", { value: one.id, disabled: !good, selected: good && before[kindOf(unit)] === one.id }, words);
      }));
    found.set(unit, field(kinds.length > 1 ? `Measured with, ${unit}` : "Measured with", select));
  }
  return found;
}

function ambientField(pad) {
  const input = pad.serve(text({ name: "ambient" }), { unit: "°C", keys: ["°C"] });
  return field("Temperature at the instrument, in °C", input, { optional: true, help: "It widens the instrument's uncertainty." });
}

function known(line) {
  return line.known.length > 0 && h("dl", { class: "facts known" }, line.known.map((one) => [h("dt", {}, one.label),
    h("dd", {}, h("span", { class: "value" }, knownWords(one)), h("span", { class: "quiet" }, ` (${one.origin})`))]));
}

function typedIn(form) {
  const typed = Object.fromEntries([...form.values].map(([name, element]) => [name, element.querySelector("input, select").value.trim()]));
  const ambient = form.ambient.querySelector("input").value.trim();
  return ambient ? { ...typed, ambient } : typed;
}

/** The instrument of each measured value, by the value's name. */
function metersIn({ bundle, line }, form) {
  const chosen = new Map([...form.meters].map(([unit, element]) => [kindOf(unit), element.querySelector("select").value]));
  const pairs = line.asked.filter((one) => one.measured && one.unit).map((one) => [one.name, bundle.instruments.find((meter) => meter.id === chosen.get(kindOf(one.unit)))]);
  return Object.fromEntries(pairs.filter(([, meter]) => meter));
}

function missing({ line }, typed) {
  return line.asked.filter((one) => !one.optional && !typed[one.name]);
}

async function judged(here, form) {
  const typed = typedIn(form);
  if (missing(here, typed).length) return null;
  return tryReading(here.app, { ...here, typed, meters: metersIn(here, form) });
}

function shown(here, form, found) {
  const left = missing(here, typedIn(form));
  if (!found) return left.length < here.line.asked.length || !left.length ? [h("p", {}, `Still to be typed: ${left.map((one) => one.label).join("; ")}.`)] : [];
  if (found.problems) return Object.values(found.problems).map((words) => h("p", { class: "wrong-words" }, words));
  if (found.later) return [h("p", {}, found.later)];
  return [verdictBar(found, { rule: here.bundle.project.decision_rule, note: "Not kept yet. The server's verdict is the one that counts." })];
}

async function record(here, form) {
  const { app, line } = here;
  const typed = typedIn(form);
  for (const element of form.values.values()) element.complain("");
  const [first] = missing(here, typed);
  if (first) return form.values.get(first.name).complain(`Type ${first.label}${first.unit ? `, in ${first.unit}` : ""}.`);
  const meters = metersIn(here, form);
  const found = await tryReading(app, { ...here, typed, meters });
  if (found.problems) return complain(here, form, found.problems);
  const chosen = Object.fromEntries(Object.entries(meters).map(([name, one]) => [kindOf(line.asked.find((asked) => asked.name === name).unit), one.id]));
  await remember(app.store, chosen).catch(() => undefined); // it only saves choosing the next time
  const instruments = Object.fromEntries(Object.entries(meters).map(([name, one]) => [name, one.id]));
  const remark = form.remark.value.trim();
  const body = { typed: filled(typed), ...(Object.keys(instruments).length ? { instruments } : {}), ...(remark ? { remark } : {}) };
  const phone = found.result && { verdict: found.verdict, words: found.words, accepted: found.accepted, result: found.result };
  if (phone) body.phone_verdict = found.result.phone_verdict;
  const words = phone ? `Kept: ${found.words}.` : "Kept. The server will verify it.";
  return keepOnLine(here, { kind: "reading", body, seen: phone ? { phone } : {}, words, failed: phone && !found.accepted });
}

function filled(typed) {
  return Object.fromEntries(Object.entries(typed).filter(([, value]) => value));
}

function complain({ app }, form, problems) {
  const other = [];
  for (const [name, words] of Object.entries(problems)) {
    const element = name === "ambient" ? form.ambient : form.values.get(name);
    if (element) element.complain(words);
    else other.push(words);
  }
  if (other.length) app.say(other.join(" "), "error");
}
