/** The text of a formula with what stands for each of its names; the trees come from calcs/javascript/formula_text.py. */

const ATOM = 9;

function written(tree, names) {
  return tree === null ? null : node(tree, names)[0];
}

const inside = (tree, names, atLeast) => {
  const [text, level] = node(tree, names);
  return level >= atLeast ? text : `(${text})`;
};

function spelt(text) {
  if (text.startsWith("−") || text.includes(", ")) return [`(${text})`, ATOM];
  return [text, text.includes(" ") ? 8 : ATOM];
}

const choice = (names, test, then, otherwise) =>
  [`${inside(then, names, 1)} if ${node(test, names)[0]}, otherwise ${inside(otherwise, names, 1)}`, 0];

/** Text of a node and how tightly it binds. */
function node(tree, names) {
  if (typeof tree === "string") return [tree, ATOM];
  const [kind, ...parts] = tree;
  return KINDS_OF_NODE[kind](names, ...parts);
}

const KINDS_OF_NODE = {
  name: (names, name) => spelt(names[name]),
  word: (names, text) => spelt(text),
  not: (names, one) => [`not ${inside(one, names, 1)}`, 0],
  neg: (names, one) => [`−${inside(one, names, 2)}`, 1],
  binary: (names, sign, level, tighter, left, right) =>
    [`${inside(left, names, level)}${sign}${inside(right, names, tighter ? level + 1 : level)}`, level],
  power: (names, base, raised, whole) =>
    [`${inside(base, names, ATOM)}${whole ? raised : `^(${node(raised, names)[0]})`}`, 7],
  size: (names, one) => [`|${node(one, names)[0]}|`, ATOM],
  choice,
  call: (names, name, ...given) => {
    const inner = given.map((one) => node(one, names)[0]).join("; ");
    const bracketed = inner.startsWith("(") && inner.endsWith(")") && inner.split("(").length === 2;
    return [bracketed ? name + inner : `${name}(${inner})`, ATOM];
  },
  compare: (names, left, ...rest) => {
    let text = inside(left, names, 1);
    for (let at = 0; at < rest.length; at += 2) text += ` ${rest[at]} ${inside(rest[at + 1], names, 1)}`;
    return [text, 0];
  },
  logic: (names, word, ...given) => [given.map((one) => inside(one, names, 0)).join(word), 0],
  each: (names, target, list, element) => node(element, { ...names, [target]: node(list, names)[0] }),
  list: (names, ...given) => [given.map((one) => node(one, names)[0]).join(", "), 0],
};
