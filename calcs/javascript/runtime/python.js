/** What formulas use of Python's builtins, with its meaning. */

const $list = (one) => (Array.isArray(one) ? one : Object.keys(one));
const $len = (one) => $list(one).length;
const $true = (one) => !(one === null || one === undefined || one === false || one === "" || one === 0 ||
  (Array.isArray(one) && !one.length));
const $str = (one) => {
  if (one === null) return "None";
  if (typeof one === "boolean") return one ? "True" : "False";
  if (typeof one === "number" && !Number.isFinite(one)) return one > 0 ? "inf" : one < 0 ? "-inf" : "nan";
  return String(one);
};
const truths = (a, b) => {
  if (typeof a !== "boolean" || typeof b !== "boolean") throw new TypeError("& and | take truths");
};
const $both = (a, b) => (truths(a, b), a && b);
const $either = (a, b) => (truths(a, b), a || b);
const $all = (list) => list.every($true);
const $any = (list) => list.some($true);
const $set = (list) => [...new Set($list(list).map($nominal))];
const $total = (list) => list.reduce($add, 0);
const $mean = (list) => $div($total(list), list.length);
const best = (list, better, key = (one) => one) => {
  if (!list.length) throw new Impossible("max() arg is an empty sequence");
  return list.reduce((kept, one) => (better($nominal(key(one)), $nominal(key(kept))) ? one : kept));
};
const $largest = (list, key) => best(list, (a, b) => a > b, key);
const $smallest = (list, key) => best(list, (a, b) => a < b, key);
const $maximum = (...values) => $largest(values.length === 1 ? values[0] : values);
const $minimum = (...values) => $smallest(values.length === 1 ? values[0] : values);
const $range = (first, end, step = 1) => {
  if (end === undefined) [first, end] = [0, first];
  const list = [];
  for (let one = first; step > 0 ? one < end : one > end; one += step) list.push(one);
  return list;
};
const $zip = (...lists) => $range(Math.min(...lists.map($len))).map((at) => lists.map((list) => list[at]));
const $enumerate = (list, first = 0) => list.map((one, at) => [first + at, one]);
const $sorted = (list, key = (one) => one) =>
  [...list].sort((a, b) => ($lt(key(a), key(b)) ? -1 : $lt(key(b), key(a)) ? 1 : 0));
const $slice = (list, from, to) => list.slice(from ?? 0, to ?? undefined);
const $at = (list, key) => {
  const found = Array.isArray(list) ? list.at(key) : own(list, key);
  if (found === undefined) throw new RangeError(`nothing at ${key}`);
  return found;
};
const $in = (one, list) => (Array.isArray(list) ? list.some((other) => $eq(one, other)) : Object.hasOwn(list, one));
const $index = (list, one) => list.findIndex((other) => $eq(other, one));
const $source_words = (table) => table.words;

/** A formula with the names of its arguments, those that may be absent, and its text as a tree. */
const $formula = (call, names, optional, tree) =>
  ({ call, names, needed: names.filter((name) => !optional.includes(name)), tree });
