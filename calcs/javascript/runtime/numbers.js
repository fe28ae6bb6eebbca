/** Numbers, and numbers with an uncertainty: first-order propagation that knows which parts are common. */

class InputError extends Error {
  constructor(message, input = "") {
    super(message);
    this.input = input;
  }
}

/** What Python calls ArithmeticError and ValueError. */
class Impossible extends Error {}

/** Something that only the server can do. */
class Later extends Error {}

let serial = 0;

/** A value that depends on measured ones: `parts` maps each of these to [its standard uncertainty, the derivative]. */
class Uncertain {
  constructor(nominal, parts) {
    this.nominal = nominal;
    this.parts = parts;
  }

  get deviation() {
    let sum = 0;
    for (const [deviation, slope] of this.parts.values()) sum += deviation ? (deviation * slope) ** 2 : 0;
    return Math.sqrt(sum);
  }
}

const COVERAGE = 2;
const ROUNDING = PYTHON.rounding;
const $uncertain = (value, expanded) =>
  expanded ? new Uncertain(value, new Map([[++serial, [expanded / COVERAGE, 1]]])) : value;
const $nominal = (value) =>
  Array.isArray(value) ? value.map($nominal) : value instanceof Uncertain ? value.nominal : value;
const $expanded = (value) => {
  if (Array.isArray(value)) {
    const each = value.map($expanded);
    return each.some((one) => one !== null) ? each : null;
  }
  if (!(value instanceof Uncertain)) return null;
  const { deviation } = value;
  return deviation <= ROUNDING * Math.abs(value.nominal) ? 0 : COVERAGE * deviation;
};

/** A result with its derivatives by the values it was made of. */
function derived(nominal, ...pairs) {
  const parts = new Map();
  for (const [value, slope] of pairs) {
    if (!(value instanceof Uncertain)) continue;
    for (const [key, [deviation, before]] of value.parts) {
      const old = parts.get(key);
      parts.set(key, [deviation, (old ? old[1] : 0) + slope * before]);
    }
  }
  return new Uncertain(nominal, parts);
}

const certain = (a, b) => !(a instanceof Uncertain) && !(b instanceof Uncertain);

const $add = (a, b) => (typeof a === "string" ? a + b : certain(a, b) ? +a + +b : derived($nominal(a) + $nominal(b), [a, 1], [b, 1]));
const $sub = (a, b) => (certain(a, b) ? a - b : derived($nominal(a) - $nominal(b), [a, 1], [b, -1]));
const $neg = (a) => (a instanceof Uncertain ? derived(-a.nominal, [a, -1]) : -a);

function $mul(a, b) {
  if (certain(a, b)) return a * b;
  const [x, y] = [$nominal(a), $nominal(b)];
  return derived(x * y, [a, y], [b, x]);
}

function quotient(x, y) {
  if (+y === 0) throw new Impossible("float division by zero");
  return x / y;
}

function $div(a, b) {
  if (certain(a, b)) return quotient(a, b);
  const [x, y] = [$nominal(a), $nominal(b)];
  return derived(quotient(x, y), [a, 1 / y], [b, -x / (y * y)]);
}

/** Product of a value with its rounding error: [product, error]. */
function exactProduct(a, b) {
  const split = (x) => {
    const c = 134217729 * x;
    const high = c - (c - x);
    return [high, x - high];
  };
  const product = a * b;
  const [[ah, al], [bh, bl]] = [split(a), split(b)];
  return [product, ah * bh - product + ah * bl + al * bh + al * bl];
}

/** Squares, cubes and fourth powers rounded once, as the C library does; other powers as the browser gives them. */
function power(x, y) {
  if (y === 2) return x * x;
  if ((y === 3 || y === 4) && Math.abs(x) < 1e70 && Math.abs(x) > 1e-70) {
    const [square, error] = exactProduct(x, x);
    const [high, low] = exactProduct(square, y === 3 ? x : square);
    return high + (low + (y === 3 ? x : 2 * square) * error);
  }
  if (x === 0 && y < 0) throw new Impossible("0.0 cannot be raised to a negative power");
  if (x < 0 && !Number.isInteger(y)) throw new Impossible("math domain error");
  const result = Math.pow(x, y);
  if (!Number.isFinite(result) && Number.isFinite(x) && Number.isFinite(y)) {
    throw new Impossible("(34, 'Numerical result out of range')");
  }
  return result;
}

function $pow(a, b) {
  if (certain(a, b)) return power(+a, +b);
  const [x, y] = [$nominal(a), $nominal(b)];
  const result = power(x, y);
  const byBase = y === 0 ? 0 : x !== 0 || y % 1 === 0 ? y * power(x, y - 1) : NaN;
  const byExponent = x === 0 && y > 0 ? 0 : Math.log(x) * result;
  return derived(result, [a, a instanceof Uncertain ? byBase : 0], [b, b instanceof Uncertain ? byExponent : 0]);
}

const domain = (holds) => {
  if (!holds) throw new Impossible("math domain error");
};

function $sqrt(a) {
  const x = +$nominal(a);
  domain(!(x < 0));
  return a instanceof Uncertain ? derived(Math.sqrt(x), [a, x ? 0.5 / Math.sqrt(x) : NaN]) : Math.sqrt(x);
}

function $log(a) {
  const x = +$nominal(a);
  domain(!(x <= 0));
  return a instanceof Uncertain ? derived(Math.log(x), [a, 1 / x]) : Math.log(x);
}

function $exp(a) {
  const result = Math.exp($nominal(a));
  if (result === Infinity && $nominal(a) !== Infinity) throw new Impossible("math range error");
  return a instanceof Uncertain ? derived(result, [a, result]) : result;
}

const $cbrt = (a) => $pow(a, 1 / 3);
const $absolute = (a) => (a instanceof Uncertain ? (a.nominal < 0 ? $neg(a) : a) : Math.abs(a));
const $floor = (a) => Math.floor($nominal(a) + 1e-9);
const $ceil = (a) => -$floor($neg(a)) + 0;
const $where = (condition, then, otherwise) => ($true(condition) ? then : otherwise);

const $gt = (a, b) => $nominal(a) > $nominal(b);
const $lt = (a, b) => $nominal(a) < $nominal(b);
function $eq(a, b) {
  if (typeof a === "string" || typeof b === "string" || a === null || b === null) return a === b;
  if (certain(a, b)) return +a === +b;
  const difference = $sub(a, b);
  return !(difference.nominal || difference.deviation);
}
const $ge = (a, b) => (certain(a, b) ? a >= b : $gt(a, b) || $eq(a, b));
const $le = (a, b) => (certain(a, b) ? a <= b : $lt(a, b) || $eq(a, b));

/** Error function for |x| < 1.5, by its power series. */
function erfSeries(x) {
  let sum = 0;
  for (let k = 25.5; k > 1; k -= 1) sum = 2 + (x * x * sum) / k;
  return (sum * x * Math.exp(-x * x)) / Math.sqrt(Math.PI);
}

/** Complementary error function for x ≥ 1.5, by Laplace's continued fraction. */
function erfcFraction(x) {
  if (x >= 30) return 0;
  let [a, step, p, before, q, below] = [0, 0.5, 1, 0, 0.5 + x * x, 1];
  for (let k = 0; k < 50; k++) {
    a += step;
    step += 2;
    const b = step + x * x;
    [p, before] = [b * p - a * before, p];
    [q, below] = [b * q - a * below, q];
  }
  return ((p / q) * x * Math.exp(-x * x)) / Math.sqrt(Math.PI);
}

function $erfc(x) {
  if (Math.abs(x) < 1.5) return 1 - erfSeries(x);
  return x > 0 ? erfcFraction(x) : 2 - erfcFraction(-x);
}

const $normal_distribution = (z) => 0.5 * $erfc(-z / Math.sqrt(2));
