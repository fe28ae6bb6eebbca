/* A system as it was taken along, with what this phone has recorded since laid over it, sent or not.
 *
 * What the server refused ("needs you") is not laid over: the record does not have it. It is named on the line instead. */

import { ENERGY_WORDS, energyOf } from "./work.js";

/** Verdicts that pass a line, by the project's decision rule (ACCEPTING of rules/gate.py). */
const ACCEPTING = { simple: ["accept", "accept_within_guard_band"], guarded: ["accept"] };
const OUTCOMES = { passed: "passed", failed: "failed", not_applicable: "not_applicable" };

/** True for an entry that the bundle does not know yet and that counts. */
function counts(item, keptAt) {
  if (item.state === "waiting" || item.state === "sending") return true;
  return item.state === "arrived" && (item.closed_at ?? 0) > keptAt;
}

/** The system with the entries laid over it. `bundle` is what was taken along; `items` are entries of the outbox. */
export function overlaid(bundle, system, items) {
  const keptAt = new Date(system.kept_at ?? bundle.kept_at ?? bundle.taken_at).getTime();
  const own = items.filter((item) => item.system === system.id).sort((a, b) => a.seq - b.seq);
  const found = structuredClone(system);
  const lines = new Map(found.stages.flatMap((stage) => stage.lines.map((line) => [line.id, line])));
  for (const item of own) {
    if (item.state === "needs you") needs(lines, item);
    else if (counts(item, keptAt)) LAYERS[item.kind]?.(found, item, lines, bundle.project?.decision_rule);
  }
  const state = energyOf(found.supplies);
  const changed = state !== system.energy.state;
  found.energy = { state, words: changed ? `${ENERGY_WORDS[state]} (recorded on this phone)` : ENERGY_WORDS[state] };
  return found;
}

function needs(lines, item) {
  const line = lines.get(item.body?.line);
  if (line) line.needs = item;
}

function answer(line, item, fields) {
  line.standing = { by: item.by_name, by_id: item.by, at: item.made_at, here: item.id, sent: item.state === "arrived", ...fields };
}

/** What a reading came to: the server's verdict where it is known, else the phone's; without either it waits for one. */
export function verdictOf(item, rule) {
  const server = item.reading;
  if (server) return { verdict: server.verdict, words: server.words, accepted: ACCEPTING[rule ?? "simple"].includes(server.verdict), said_by: "server", result: server.result };
  const phone = item.seen?.phone;
  return phone ? { ...phone, said_by: "phone" } : { verdict: "", words: "the server will verify this", accepted: true, said_by: "" };
}

const LAYERS = {
  reading(system, item, lines, rule) {
    const line = lines.get(item.body.line);
    if (!line) return;
    const found = verdictOf(item, rule);
    line.state = found.accepted ? "passed" : "failed";
    answer(line, item, { kind: "reading", ...found, typed: item.body.typed, remark: item.body.remark ?? "" });
  },
  check_result(system, item, lines) {
    const line = lines.get(item.body.line);
    if (!line) return;
    line.state = OUTCOMES[item.body.outcome] ?? line.state;
    answer(line, item, { kind: "result", outcome: item.body.outcome, words: item.body.outcome.replaceAll("_", " "), typed: item.body.values ?? {}, remark: item.body.remark ?? "" });
  },
  proof_of_dead(system, item, lines) {
    const line = lines.get(item.body.line);
    if (line) line.proof_of_dead = { by: item.by_name, at: item.made_at, point_of_work: item.body.point_of_work, detector: item.body.detector };
  },
  punch_item(system, item) {
    if (system.punch_items.some((one) => one.id === item.id)) return;
    const at = item.body.equipment ? system.tags.find((one) => one.id === item.body.equipment)?.tag : null;
    system.punch_items.push({ id: item.id, label: "", category: item.body.category, state: "open", state_words: item.state === "arrived" ? "open" : "waiting", text: item.body.text, tag: at ?? system.tag, line: item.body.line ?? null, photos: 0, here: item.id });
  },
  photo(system, item) {
    const found = system.punch_items.find((one) => one.id === item.body.item);
    if (found) found.photos += 1;
  },
  alarm_sighting(system, item) {
    if (system.alarms.some((one) => one.id === item.id)) return;
    const tag = system.tags.find((one) => one.id === item.body.equipment)?.tag ?? "";
    system.alarms.push({ id: item.id, stage: item.body.stage, tag, text: item.body.text, outcome: "unexplained", outcome_words: "unexplained", seen_at: item.made_at, seen_by: item.by_name, here: item.id });
  },
  supply_isolated(system, item) {
    const supply = system.supplies.find((one) => one.id === item.body.supply);
    if (supply) Object.assign(supply, { state: "isolated", lock_number: item.body.lock_number, changed_at: item.made_at, changed_by: item.by_name, here: item.id });
  },
  signal_forced(system, item) {
    const signal = system.signals.find((one) => one.id === item.body.signal);
    if (!signal) return;
    signal.proof = { id: item.id, forced_by: { id: item.by, name: item.by_name }, forced_at: item.made_at, seen_at: null, seen_by: "", restored_at: null, failed_at: null, here: item.id, sent: item.state === "arrived" };
    settle(signal);
  },
  signal_seen: onProof((proof, item) => Object.assign(proof, { seen_at: item.made_at, seen_by: item.by_name })),
  signal_restored: onProof((proof, item) => Object.assign(proof, { restored_at: item.made_at })),
  signal_failed: onProof((proof, item) => Object.assign(proof, { failed_at: item.made_at, failed_reason: item.body.reason })),
};

function onProof(change) {
  return (system, item) => {
    const signal = system.signals.find((one) => one.proof?.id === item.body.proof);
    if (!signal) return;
    change(signal.proof, item);
    settle(signal);
  };
}

/** The state word of a signal point, as selectors/signals.py has it. */
export function settle(signal) {
  const { proof } = signal;
  signal.state = !proof ? "not forced" : proof.failed_at ? "failed" : proof.seen_at ? (proof.restored_at ? "proved" : "seen") : "forced";
}
