/** What the phone asks for: a reading verified from what was typed, as the server would. */

const LEFT_OUT = PYTHON.left_out;
const ACCEPTING = { simple: ["accept", "accept_within_guard_band"], guarded: ["accept"] };

const catalogue = Object.fromEntries(
  [...DEFINITIONS.values()].sort((a, b) => a.edition - b.edition).map((one) => [one.name, one]),
);

/** The result with its verdict, or `{problems}` by input, or `{later}` when only the server can verify. */
function verify(asked) {
  const definition = definitionOf(asked.calculation, asked.edition || null);
  if (!definition) return { later: notHere(asked) };
  try {
    return verified(definition, asked);
  } catch (error) {
    if (error instanceof Later) return { later: error.message };
    if (!(error instanceof InputError)) throw error;
    return { problems: { [error.input || "inputs"]: error.message.slice(0, 1).toUpperCase() + error.message.slice(1) } };
  }
}

function notHere({ calculation, edition }) {
  const reason = own(LEFT_OUT, calculation) ??
    `The phone does not have the calculation ${calculation}${edition ? `, edition ${edition}` : ""}`;
  return `${reason}; the server will verify this.`;
}

function verified(definition, asked) {
  const fixedInputs = Object.entries(asked.fixed ?? {}).map(([name, value]) => [name, { kind: "value", value }]);
  const gathered = gather({
    definition,
    typed: asked.typed ?? {},
    inputs: { ...Object.fromEntries(fixedInputs), ...asked.inputs },
    nameplate: asked.nameplate ?? {},
    instruments: asked.instruments ?? {},
    at: asked.taken_at ?? Date.now(),
    zone: asked.time_zone || "UTC",
  });
  if (Object.keys(gathered.problems).length) return { problems: gathered.problems };
  const limits = Object.fromEntries((asked.limits ?? []).map((one) => [one.output, one]));
  const result = run(definition, gathered.numbers, limits, asked.guard_factor ?? 1);
  const stored = result.verdict === "instrument_unsuitable" ? "cannot_say" : result.verdict;
  return {
    ...result,
    stored_verdict: stored,
    words: stored.replaceAll("_", " "),
    accepted: ACCEPTING[asked.decision_rule ?? "simple"].includes(stored),
    kept: gathered.kept,
    phone_verdict: { verdict: stored, value: judgedValue(definition, result), edition: result.edition },
  };
}

/** The value that the verdict is about: the first one held against a limit, else the first number that came out. */
function judgedValue(definition, result) {
  const all = { ...result.inputs, ...result.outputs };
  const names = [...result.limits.map((one) => one.output), ...definition.outputs.map((one) => one.name)];
  const known = names.map((name) => all[name]?.value).filter((one) => typeof one === "number");
  return known[0] ?? null;
}

const parse = $parse;
const show = $show;
/** A calculation from its inputs, without a line: numbers, or text as typed. */
const calculate = (name, inputs, { limits, guard_factor: guard, edition } = {}) =>
  run(definitionOf(name, edition), inputs, limits, guard ?? 1);

export { InputError, Later, calculate, catalogue, parse, show, verify };
