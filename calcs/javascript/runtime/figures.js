/** Numbers as text, digit for digit as Python prints them: ties go to the even digit. */

/** The first `count` significant digits of a size and its decimal exponent. */
function significant(size, count) {
  let [digits, exponent] = parted(size.toExponential(count - 1));
  const [all, place] = parted(size.toExponential(100));
  if (/^50*$/.test(all.slice(count)) && all[count - 1] % 2 === 0) [digits, exponent] = [all.slice(0, count), place];
  return [digits, exponent];
}

function parted(text) {
  const [mantissa, exponent] = text.split("e");
  return [mantissa.replace(".", ""), +exponent];
}

/** Like Python's format of a number with `.<places>f`. */
function fixed(x, places) {
  const size = Math.abs(x);
  const sign = x < 0 || Object.is(x, -0) ? "-" : "";
  if (size >= 1e21) return sign + BigInt(size) + (places ? `.${"0".repeat(places)}` : "");
  let text = size.toFixed(places);
  const all = size.toFixed(100);
  const cut = all.slice(0, all.length - 100 + places);
  const even = cut.replace(/\.$/, "");
  if (/^50*$/.test(all.slice(all.length - 100 + places)) && even[even.length - 1] % 2 === 0) text = even;
  return sign + text;
}

/** Like Python's format of a number with `.<count>g`. */
function general(x, count) {
  if (x === 0) return Object.is(x, -0) ? "-0" : "0";
  const sign = x < 0 ? "-" : "";
  const [digits, exponent] = significant(Math.abs(x), count);
  const bare = digits.replace(/0+$/, "");
  if (exponent < -4 || exponent >= count) {
    const power = String(Math.abs(exponent)).padStart(2, "0");
    return `${sign}${bare[0]}${bare.length > 1 ? `.${bare.slice(1)}` : ""}e${exponent < 0 ? "-" : "+"}${power}`;
  }
  return sign + placed(bare, exponent);
}

/** Digits with the point where the exponent puts it. */
function placed(digits, exponent) {
  if (exponent < 0) return `0.${"0".repeat(-exponent - 1)}${digits}`;
  const whole = digits.slice(0, exponent + 1).padEnd(exponent + 1, "0");
  return digits.length > exponent + 1 ? `${whole}.${digits.slice(exponent + 1)}` : whole;
}

/** Like Python's round(x, places); places may be negative. */
function rounded_to(x, places) {
  if (places >= 0) return places > 100 ? x : +fixed(x, places);
  const unit = 10 ** -places;
  const size = BigInt(Math.trunc(Math.abs(x)));
  const [whole, step] = [size / BigInt(unit), BigInt(unit)];
  const rest = Number(size - whole * step) + (Math.abs(x) % 1);
  const up = rest > unit / 2 || (rest === unit / 2 && whole % 2n === 1n);
  return Math.sign(x) * Number((whole + (up ? 1n : 0n)) * step);
}

const minus = (text) => text.replaceAll("-", "−");

function $plain(value, digits = 6) {
  if (!Number.isFinite(value)) return value > 0 ? "∞" : value < 0 ? "−∞" : "not a number";
  let text = general(value, digits);
  if (text.includes("e")) {
    const size = Math.log10(Math.abs(value));
    if (-6 < size && size < 12) {
      const [bare, exponent] = parted(text.replace("-", (mark, at) => (at ? mark : "")));
      text = (value < 0 ? "-" : "") + placed(bare, exponent);
    }
  }
  return minus(text);
}

const whole = (value) => minus(String(value));

/** Value and expanded uncertainty to two significant digits of the uncertainty. */
function rounded(value, uncertainty) {
  let decimals = 1 - Math.floor(Math.log10(uncertainty));
  const [digits, exponent] = significant(uncertainty, 2);
  if (+`${digits[0]}.${digits[1]}e${exponent}` >= +`1e${2 - decimals}`) decimals -= 1;
  const places = Math.max(decimals, 0);
  return [minus(fixed(rounded_to(value, decimals), places)), fixed(rounded_to(uncertainty, decimals), places)];
}

const STEPS = [["GΩ", 1e9], ["MΩ", 1e6], ["kΩ", 1e3], ["Ω", 1], ["mΩ", 1e-3], ["µΩ", 1e-6]];

function scaled(value, unit) {
  if (unit !== "Ω" || !value || !Number.isFinite(value)) return [1, unit];
  const found = STEPS.find(([, factor]) => Math.abs(value) >= factor * (1 - 1e-12)) ?? STEPS[STEPS.length - 1];
  return [found[1], found[0]];
}

/** A value of any kind as text; `count` says that it is a whole number, whose digits are all shown. */
function $show(value, unit = "", withUncertainty = true, count = false) {
  if (value === null || value === undefined) return "none";
  if (typeof value === "boolean") return value ? "yes" : "no";
  if (typeof value === "string") return value;
  if (Array.isArray(value)) return value.map((one) => $show(one, unit, withUncertainty, count)).join(", ") || "none";
  if (typeof value === "object" && !(value instanceof Uncertain)) {
    return Object.entries(value).map(([key, one]) => `${key.replaceAll("_", " ")} ${$show(one)}`).join("; ");
  }
  const [number, spread] = [$nominal(value), $expanded(value)];
  const [factor, name] = scaled(number, unit);
  const tail = name ? ` ${name}` : "";
  if (!(withUncertainty && spread)) {
    return (count && factor === 1 ? whole(number) : $plain(factor === 1 ? number : number / factor)) + tail;
  }
  const [figure, band] = rounded(number / factor, spread / factor);
  return `${figure} ± ${band}${tail}`;
}
