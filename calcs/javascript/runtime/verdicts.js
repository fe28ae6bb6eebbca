/** What was computed, held against its limits. As calcs.verdicts; the decision itself is compiled from calcs.decision. */

const WORST_FIRST = PYTHON.worst_first;
const INDEPENDENT = PYTHON.independent;

function limitsFor(sheet, given) {
  const { definition } = sheet;
  for (const name of Object.keys(given)) {
    if (!sheet.described(name)) {
      const known = definition.outputs.map((one) => one.name).join(", ");
      throw new InputError(`${definition.name} has no output '${name}' to limit; it has ${known}`, name);
    }
  }
  const kept = definition.limits.filter((one) => !Object.hasOwn(given, one.output));
  return [...kept, ...Object.entries(given).map(([output, entry]) => ownLimit(sheet, output, entry))];
}

function ownLimit(sheet, output, entry) {
  const bundled = sheet.definition.limits.find((one) => one.output === output && one.role === "criterion");
  const side = (name) => {
    const bound = entry[name] ?? null;
    return bound === null ? undefined : $parse(bound, sheet.unit(output), `${output} limit`).value;
  };
  return {
    output, lower: side("lower"), upper: side("upper"), source: String(entry.source || "project limit"),
    role: "criterion", optional: bundled?.optional, uncertainty: bundled?.uncertainty,
    guard_factor: bundled?.guard_factor,
  };
}

function bound(limit, sheet) {
  if (typeof limit !== "string") return limit ?? null;
  const value = $nominal(sheet.value(limit.replace(/^-+/, "")));
  return limit.startsWith("-") && value !== null ? -value : value;
}

function decide(sheet, limit, guard) {
  const [lower, upper] = [bound(limit.lower, sheet), bound(limit.upper, sheet)];
  const stated = { output: limit.output, lower, upper, unit: sheet.unit(limit.output), source: limit.source };
  const value = sheet.value(limit.output);
  if (value === null || (lower === null && upper === null)) return [stated, null];
  let spread = $expanded(value) ?? 0;
  if (limit.uncertainty) spread = $nominal(sheet.value(limit.uncertainty)) || spread;
  const factor = (limit.guard_factor ? $nominal(sheet.value(limit.guard_factor)) : null) ?? guard;
  const decided = f_decide($nominal(value), lower, upper, spread, factor);
  if (limit.role === "criterion") verdictLine(sheet, stated, decided, spread);
  return [stated, decided];
}

function verdictLine(sheet, stated, decided, spread) {
  const { unit, output: name } = stated;
  const [symbol, value] = [sheet.symbol(name), $nominal(sheet.value(name))];
  const chance = spread !== 0 && decided.probability !== null
    ? `, probability of conformity ${fixed(decided.probability * 100, 1)}%` : "";
  const outcome = `${decided.words}${chance} (${stated.source})`;
  if (typeof value === "boolean") return sheet.write(`${symbol} = yes`, `${symbol} = ${$show(value)}`, outcome);
  const lower = stated.lower === null ? "" : `${$show(stated.lower, unit)} ≤ `;
  const upper = stated.upper === null ? "" : ` ≤ ${$show(stated.upper, unit)}`;
  const band = spread !== 0
    ? `, U = ${$plain(spread, 2)}, w = ${$plain(decided.guard_band, 2)} ${unit}`.trimEnd() : "";
  const shown = $show(value, unit, true, isCount(sheet.described(name)));
  return sheet.write(`${lower}${symbol}${upper}`, `${lower}${shown}${upper}${band}`, outcome);
}

function together(sheet, decided) {
  const counted = decided.filter(([limit, , one]) => limit.role === "criterion" && !(one === null && limit.optional));
  if (!sheet.inScope || !counted.length) return ["cannot_say", null];
  const verdicts = counted.map(([, , one]) => one?.verdict ?? "cannot_say");
  const chances = counted.map(([, , one]) => one?.probability ?? null).filter((one) => one !== null);
  return [WORST_FIRST.find((one) => verdicts.includes(one)), chances.length ? Math.min(...chances) : null];
}

function addCautions(sheet, decided) {
  for (const [limit, stated, one] of decided) {
    if (one?.verdict === "instrument_unsuitable") sheet.cautions.push(`${limit.output}: ${one.words}.`);
    if (one && limit.role === "advice" && !["accept", "accept_within_guard_band"].includes(one.verdict)) {
      sheet.cautions.push(advice(sheet, stated));
    }
  }
  for (const caution of sheet.definition.cautions) {
    if (sheet.holds(caution.when)) sheet.cautions.push(sheet.filled(caution.text));
  }
  const uncertain = sheet.definition.inputs.filter((one) => $expanded(sheet.value(one.name)) !== null);
  if (uncertain.length > 1) sheet.cautions.push(INDEPENDENT);
}

function advice(sheet, stated) {
  const sides = [["lower", "at least"], ["upper", "at most"]].filter(([side]) => stated[side] !== null);
  const bounds = sides.map(([side, words]) => `${words} ${$show(stated[side], stated.unit)}`).join(" and ");
  return `${stated.output} is ${sheet.shown(stated.output)}; advised ${bounds} (${stated.source}).`;
}
