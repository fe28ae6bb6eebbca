/** Inputs as typed become values of a calculation; the same order of checks and the same sentences as calcs.intake. */

const EDGE = 1e-9;
const absent = (typed) => typed === null || typed === undefined || (typeof typed === "string" && !stripped(typed));

function take(definition, typed) {
  const known = definition.inputs.map((one) => one.name);
  for (const name of Object.keys(typed)) {
    if (!known.includes(name)) {
      throw new InputError(`${definition.name} has no input '${name}'; it takes ${known.join(", ")}`, name);
    }
  }
  return Object.fromEntries(definition.inputs.map((one) => [one.name, takeOne(one, own(typed, one.name))]));
}

function example(spec) {
  if (spec.kind === "choice") return `(one of ${spec.choices.join(", ")})`;
  return spec.unit ? `[${spec.unit}]` : "";
}

function takeOne(spec, typed) {
  if (absent(typed)) {
    if (spec.required) {
      const words = stripped(`${spec.name} is missing: ${spec.help || spec.symbol} ${example(spec)}`);
      throw new InputError(words, spec.name);
    }
    typed = spec.default;
    if (typed === undefined) return null;
  }
  return spec.read ? spec.read(typed) : READERS[spec.kind ?? "scalar"](spec, typed);
}

function scalar(spec, typed) {
  const quantity = $parse(typed, spec.unit ?? "", spec.name);
  $within_range(spec, quantity.value);
  if (!spec.whole) return $uncertain(quantity.value, quantity.expanded_uncertainty);
  const nearest = +fixed(quantity.value, 0);
  if (Math.abs(quantity.value - nearest) > EDGE) {
    throw new InputError(`${spec.name}: ${$show(quantity.value)} is not a whole number`, spec.name);
  }
  return nearest + 0;
}

function $within_range(spec, value) {
  const { lower = null, upper = null } = spec;
  const fits = (lower === null || value >= lower - EDGE * Math.abs(lower)) &&
    (upper === null || value <= upper + EDGE * Math.abs(upper));
  if (fits) return;
  const bound = (one) => $show(one, spec.unit ?? "", true, Number.isInteger(one) && Math.abs(one) < 1e15);
  const between = `between ${bound(lower)} and ${bound(upper)}`;
  const shown = $show(value, spec.unit ?? "");
  throw new InputError(`${spec.name}: ${shown} is not possible here; it lies ${between}`, spec.name);
}

function parts(typed) {
  if (typeof typed === "string") return typed.split(typed.includes(";") ? ";" : ",");
  return Array.isArray(typed) ? typed : [typed];
}

function list(spec, typed) {
  const each = parts(typed);
  if (!each.length) {
    throw new InputError(`${spec.name} is an empty list; give values in ${spec.unit ?? ""}, separated by commas`, spec.name);
  }
  return each.map((one) => scalar(spec, one));
}

function pair(spec, typed) {
  const both = typeof typed === "string" ? typed.split(":") : typed;
  if (both.length !== 2) {
    const words = `write ${spec.unit || "value"}:${spec.second_unit || "value"}`;
    throw new InputError(`${spec.name}: '${typed}' is not a pair; ${words}`, spec.name);
  }
  const second = $parse(both[1], spec.second_unit ?? "", spec.name);
  return [scalar(spec, both[0]), $uncertain(second.value, second.expanded_uncertainty)];
}

function choose(spec, typed) {
  const text = stripped($str($nominal(typed))).toLowerCase().replaceAll(" ", "_").replaceAll("-", "_");
  for (const one of spec.choices) if (text === String(one).toLowerCase() || text === `${one}.0`) return one;
  throw new InputError(`${spec.name}: '${typed}' is not one of ${spec.choices.join(", ")}`, spec.name);
}

const READERS = {
  scalar, list, choice: choose, table: (spec, typed) => typed,
  pairs: (spec, typed) => parts(typed).map((one) => pair(spec, one)),
};
