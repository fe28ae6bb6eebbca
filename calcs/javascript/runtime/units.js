/** Quantities as people type them, in the unit that is asked for; the same rules and sentences as calcs.units. */

const UNITS = new Map();
const PREFIXABLE = new Set();
for (const [names, factor, dimension, offset, prefix] of PYTHON.units) {
  for (const name of names.split(" ")) {
    UNITS.set(name, { factor, dimension, offset });
    if (prefix) PREFIXABLE.add(name);
  }
}
const PREFIXES = PYTHON.prefixes;
const BARE_PREFIXES = PYTHON.bare_prefixes;
const POWERS = PYTHON.powers;
const KINDS = PYTHON.kinds;
const LOOKALIKES = PYTHON.lookalikes;
const SPACES = PYTHON.spaces;
const NUMBER = [0, 0, 0, 0, 0];
const SPACE = "[\\s\\x1c-\\x1f\\x85]";
const DIGIT = "\\p{Nd}";
const EDGES = new RegExp(`^${SPACE}+|${SPACE}+$`, "gu");
const stripped = (text) => text.replace(EDGES, "");

const fold = (text) => Array.from(text, (one) => LOOKALIKES[one] ?? (SPACES.includes(one) ? " " : one)).join("");

const own = (table, key) => (Object.hasOwn(table, key) ? table[key] : undefined);

function findUnit(text) {
  text = stripped(fold(text)).replaceAll("deg C", "degC").replaceAll("° C", "°C");
  if (!text) return { factor: 1, dimension: NUMBER, offset: 0 };
  if (UNITS.has(text)) return UNITS.get(text);
  let [factor, dimension, sign] = [1, NUMBER, 1];
  for (const part of text.split(/([/·*])/)) {
    if ("·*/".includes(part)) {
      sign = part === "/" ? -1 : sign;
      continue;
    }
    const one = atom(stripped(part));
    if (!one) return null;
    factor *= one.factor ** sign;
    dimension = dimension.map((power, place) => power + sign * one.dimension[place]);
  }
  return { factor, dimension, offset: 0 };
}

function atom(text) {
  for (const [mark, raised] of POWERS) {
    if (text.endsWith(mark) && text.length > mark.length) {
      const base = atom(text.slice(0, -mark.length));
      return base && { factor: power(base.factor, raised), dimension: base.dimension.map((one) => one * raised) };
    }
  }
  if (UNITS.has(text)) return UNITS.get(text);
  const prefix = own(PREFIXES, text.slice(0, 1));
  if (prefix && PREFIXABLE.has(text.slice(1))) {
    const base = UNITS.get(text.slice(1));
    return { factor: prefix * base.factor, dimension: base.dimension };
  }
  return text === "1" ? { factor: 1, dimension: NUMBER } : null;
}

const wanted = (unit) =>
  unit ? `give a number in ${unit}, such as 122.7 or 122.7 ${unit}` : "give a plain number, such as 54";

const NUMBER_TEXT = new RegExp(
  `^${SPACE}*([+-]?)${SPACE}*(${DIGIT}[${DIGIT} .,']*|[.,]${DIGIT}+)(?:[eE]([+-]?${DIGIT}+))?${SPACE}*(.*)$`, "su",
);
const GROUPS = new RegExp(`^${DIGIT}{1,3}(?:[ ']${DIGIT}{3})+(?:[.,]${DIGIT}*)?$`, "u");

/** Digits of any script as those of ASCII; each script's digits stand in a row from its zero. */
const ascii = (text) => text.replace(/(?![0-9])\p{Nd}/gu, (one) => {
  let zero = one.codePointAt(0);
  while (/^\p{Nd}$/u.test(String.fromCodePoint(zero - 1))) zero -= 1;
  return (one.codePointAt(0) - zero) % 10;
});

function numberIn(text, unit, name) {
  const found = NUMBER_TEXT.exec(text);
  if (!found) throw new InputError(`${name}: '${stripped(text)}' is not a number; ${wanted(unit)}`, name);
  const [, sign, digits, exponent, tail] = found;
  const value = +ascii(`${sign}${decimal(stripped(digits), name)}e${exponent || 0}`);
  if (!Number.isFinite(value)) throw new InputError(`${name}: '${stripped(text)}' is too large; ${wanted(unit)}`, name);
  return [value, stripped(tail)];
}

function decimal(digits, name) {
  const marks = digits.replace(/[^.,]/g, "");
  if (/[ ']/.test(digits)) {
    if (!GROUPS.test(digits)) {
      throw new InputError(`${name}: '${digits}' has a space inside the number; write it without`, name);
    }
    digits = digits.replace(/[ ']/g, "");
  }
  if (marks === "" || marks === ".") return digits;
  if (marks === ",") return decimalComma(digits, name);
  const mark = marks[marks.length - 1];
  const group = mark === "," ? "." : ",";
  const grouped = new RegExp(`^${DIGIT}{1,3}(?:[${group}]${DIGIT}{3})+[${mark}]${DIGIT}*$`, "u");
  if (marks.split(mark).length === 2 && grouped.test(digits)) return digits.replaceAll(group, "").replace(mark, ".");
  throw new InputError(`${name}: '${digits}' is not one number; write it with one decimal point`, name);
}

function decimalComma(digits, name) {
  const [before, after] = digits.split(",");
  if (new RegExp(`^[1-9]${DIGIT}{0,2}$`, "u").test(before) && Array.from(after).length === 3) {
    const either = `write ${before}${after} or ${before}.${after}`;
    throw new InputError(`${name}: '${digits}' can be read in two ways; ${either}`, name);
  }
  return `${before}.${after}`;
}

const isRatio = (text) => ["%", "percent", "pct", "ppm"].includes(text);

function convert(value, typed, unit, name) {
  if (!typed || typed === unit) return value;
  const target = findUnit(unit);
  if (!target) throw new InputError(`${name}: '${typed}' is not converted here; ${wanted(unit)}`, name);
  const source = findUnit(typed);
  if (!source && own(BARE_PREFIXES, typed)) return value * BARE_PREFIXES[typed];
  if (!source && /^[A-Za-z]{2,20}$/.test(typed)) {
    throw new Later(`${name}: the unit '${typed}' is not in the phone's list; the server will verify this.`);
  }
  if (!source) throw new InputError(`${name}: the unit '${typed}' is not known; ${wanted(unit)}`, name);
  const alike = String(source.dimension) === String(target.dimension);
  if (!alike || (String(source.dimension) === String(NUMBER) && isRatio(typed) !== isRatio(unit))) {
    const kind = KINDS[String(source.dimension)] ?? "another quantity";
    throw new InputError(`${name}: '${typed}' measures ${kind}; ${wanted(unit)}`, name);
  }
  if ((source.offset || target.offset) && unit !== "K") {
    return (value * source.factor + (source.offset || 0) - (target.offset || 0)) / target.factor;
  }
  const scale = source.factor / target.factor;
  return scale === 1 ? value : +general(value * scale, 15);
}

const PLUS_MINUS = new RegExp(`\\+${SPACE}*/?${SPACE}*-|±`, "u");
const BRACKETED = new RegExp(`^\\((.*)\\)${SPACE}*(.*)$`, "u");

function $parse(text, unit, name = "value") {
  if (typeof text === "boolean" || text === null || text === undefined) {
    throw new InputError(`${name}: ${wanted(unit)}`, name);
  }
  if (typeof text !== "string") return ofNumber(text, unit, name);
  let folded = stripped(fold(text));
  if (!folded) throw new InputError(`${name} is empty; ${wanted(unit)}`, name);
  const bracketed = BRACKETED.exec(folded);
  if (bracketed && PLUS_MINUS.test(bracketed[1])) folded = `${bracketed[1]} ${bracketed[2]}`;
  const [first, ...spread] = folded.split(PLUS_MINUS);
  if (spread.length > 1) throw new InputError(`${name}: '${text}' has more than one ±; ${wanted(unit)}`, name);
  const [value, typed] = numberIn(first, unit, name);
  if (!spread.length) return { value: convert(value, typed, unit, name), expanded_uncertainty: null, typed: text };
  return withUncertainty(value, typed, spread[0], unit, name, text);
}

function withUncertainty(value, typed, spread, unit, name, text) {
  let [width, widthUnit] = numberIn(spread, unit, name);
  const relative = widthUnit === "%" && unit !== "%";
  if (!typed && !relative) typed = widthUnit;
  const number = convert(value, typed, unit, name);
  if (relative) {
    width = (Math.abs(number) * width) / 100;
  } else {
    const zero = convert(0, widthUnit || typed, unit, name);
    width = convert(width, widthUnit || typed, unit, name) - zero;
  }
  if (width < 0) throw new InputError(`${name}: the uncertainty after ± cannot be negative`, name);
  return { value: number, expanded_uncertainty: width, typed: text };
}

function ofNumber(value, unit, name) {
  const number = $nominal(value);
  if (typeof number !== "number") {
    throw new InputError(`${name}: ${JSON.stringify(value)} is not a number; ${wanted(unit)}`, name);
  }
  if (!Number.isFinite(number)) throw new InputError(`${name} is not a finite number; ${wanted(unit)}`, name);
  return { value: number, expanded_uncertainty: $expanded(value), typed: String(number) };
}
