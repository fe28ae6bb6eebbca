/** Runs a definition: inputs, steps, working, decision. As calcs.engine. */

const STEP_KINDS = { step: compute, look: lookUp, check, scope };

function definitionOf(name, edition = null) {
  if (edition !== null) return DEFINITIONS.get(`${name}@${edition}`);
  const editions = [...DEFINITIONS.values()].filter((one) => one.name === name);
  return editions.sort((a, b) => b.edition - a.edition)[0];
}

function run(definition, typed, limits = {}, guard = 1) {
  const sheet = new Sheet(definition, take(definition, typed));
  for (const step of definition.steps) advance(sheet, step);
  const decided = limitsFor(sheet, limits ?? {}).map((limit) => [limit, ...decide(sheet, limit, guard)]);
  const [verdict, probability] = together(sheet, decided);
  addCautions(sheet, decided);
  const report = (specs) => Object.fromEntries(specs.map(({ name }) => [name, reported(sheet, name)]));
  return {
    calculation: definition.name,
    edition: definition.edition,
    inputs: report(definition.inputs.filter(({ name }) => sheet.value(name) !== null)),
    outputs: report(definition.outputs),
    limits: decided.map(([, stated]) => stated),
    verdict,
    conformity_probability: probability,
    working: sheet.working,
    cautions: [...new Set([...definition.attention, ...sheet.cautions])],
    sources: definition.sources,
  };
}

function reported(sheet, name) {
  const value = sheet.value(name);
  const spread = $expanded(value);
  const known = Number.isNaN(spread) ? null : spread;
  return { value: $nominal(value), unit: sheet.unit(name), expanded_uncertainty: known };
}

function advance(sheet, step) {
  try {
    STEP_KINDS[step.kind](sheet, step);
  } catch (error) {
    if (!(error instanceof Impossible)) throw error;
    const required = sheet.definition.inputs.filter((one) => one.required).map((one) => one.name).join(", ");
    const names = required || sheet.definition.name;
    throw new InputError(`${names}: no result can be calculated from these values (${error.message})`);
  }
}

function compute(sheet, step) {
  if (!sheet.holds(step.when)) return;
  const result = sheet.call(step.formula);
  if (result === undefined) return;
  step.values.forEach((name, at) => {
    const value = step.several ? result[at] : result;
    const number = $nominal(value);
    if (typeof number === "number" && !Number.isFinite(number)) {
      const words = `${sheet.symbol(name)} (${name}) comes out as ${$str(number)}: the inputs cannot be right`;
      throw new InputError(words);
    }
    sheet.values[name] = value;
  });
  if (!step.silent) writeStep(sheet, step);
}

function writeStep(sheet, step) {
  const names = Object.fromEntries(step.formula.names.map((name) => [name, sheet.shown(name)]));
  const known = step.formula.names.filter((name) => sheet.value(name) !== null);
  const substituted = step.told
    ? known.map((name) => `${sheet.symbol(name)} = ${names[name]}`).join(", ")
    : written(step.formula.tree, names);
  const result = step.values.map((name) => `${sheet.symbol(name)} = ${sheet.shown(name, true)}`).join("; ");
  sheet.write(step.text, substituted || "", result);
}

function lookUp(sheet, step) {
  const keys = step.by.map((name) => sheet.value(name));
  if (!sheet.holds(step.when) || keys.includes(null)) return;
  const found = f_look_up(step.table, keys, step.by[step.by.length - 1], step.method, step.column ?? "");
  sheet.values[step.value] = found;
  const used = step.by.map((name) => `${sheet.symbol(name)} = ${sheet.shown(name)}`).join(", ");
  sheet.write(step.text, used, `${sheet.symbol(step.value)} = ${sheet.shown(step.value)} (${step.table.words})`);
}

function check(sheet, step) {
  const holds = sheet.judge(step.formula);
  if (holds !== undefined && !$true(holds)) throw new InputError(sheet.filled(step.message), step.input);
}

function scope(sheet, step) {
  const holds = sheet.judge(step.formula);
  if (holds === undefined || $true(holds)) return;
  sheet.inScope = false;
  sheet.cautions.push(sheet.filled(step.message));
}
