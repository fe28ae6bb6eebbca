/** Formula text to MathML; the grammar and the look are those of calcs.typeset. */

const TOKEN = new RegExp(
  `${SPACE}*(?:(?<number>\\d+(?:\\.\\d+)?(?:e[+−-]?\\d+)?|∞)|(?<super>[⁰¹²³⁴⁵⁶⁷⁸⁹]+)` +
  "|(?<name>\\p{L}(?:(?![⁰¹²³⁴⁵⁶⁷⁸⁹])[\\p{L}\\p{N}])*(?:_(?:(?![⁰¹²³⁴⁵⁶⁷⁸⁹])[\\p{L}\\p{N}])+)*)" +
  "|(?<mark>[-+−·/()|√∛^=≤≥<>≠;,±°%…Σ]))", "uy",
);
const RELATIONS = new Set("=≤≥<>≠;,±…");
const FUNCTIONS = PYTHON.functions;
const MATH_UNITS = PYTHON.math_units;
const PROSE = new RegExp(PYTHON.prose);
const FULL_SIZE = '<mstyle displaystyle="true" scriptlevel="0">';
const MATHML = "http://www.w3.org/1998/Math/MathML";

class NotAFormula extends Error {}

const escaped = (text) => text.replaceAll("&", "&amp;").replaceAll("<", "&lt;").replaceAll(">", "&gt;")
  .replaceAll('"', "&quot;").replaceAll("'", "&#x27;");
const row = (parts) => (parts.length === 1 ? parts[0] : `<mrow>${parts.join("")}</mrow>`);
const operator = (mark) => `<mo>${escaped(mark)}</mo>`;
const plainDigits = (text) => text.replace(/./gu, (one) => "⁰¹²³⁴⁵⁶⁷⁸⁹".indexOf(one));

function mathml(formula) {
  let inner;
  try {
    inner = row(formulaParts(formula));
  } catch (error) {
    if (!(error instanceof NotAFormula)) throw error;
    inner = `<mtext>${escaped(formula)}</mtext>`;
  }
  return `<math xmlns="${MATHML}" display="block">${inner}</math>`;
}

function parted_at(text, mark) {
  const at = text.indexOf(mark);
  return at < 0 ? [text, "", ""] : [text.slice(0, at), mark, text.slice(at + mark.length)];
}

function formulaParts(text) {
  const [left, equals, right] = parted_at(text, " = ");
  const [name, source, table] = parted_at(text, " from ");
  if (source && !name.includes(" ")) return [...formulaParts(name), `<mtext>${escaped(source + table)}</mtext>`];
  if (PROSE.test(text)) {
    if (!equals || PROSE.test(left)) throw new NotAFormula(text);
    return [...formulaParts(left), operator("="), `<mtext>${escaped(right)}</mtext>`];
  }
  const tokens = new Tokens(text);
  const parts = tokens.expression();
  if (tokens.peek()) throw new NotAFormula(text);
  return parts;
}

const unbracketed = (part) =>
  part.startsWith("<mrow><mo>(</mo>") && part.endsWith("<mo>)</mo></mrow>") ? `<mrow>${part.slice(16, -17)}</mrow>` : part;

/** Tokens of a formula, read from left to right. */
class Tokens {
  constructor(text) {
    this.found = [];
    this.place = 0;
    text = stripped(text);
    for (TOKEN.lastIndex = 0; TOKEN.lastIndex < text.length;) {
      const match = TOKEN.exec(text);
      if (!match) throw new NotAFormula(text);
      this.found.push(Object.entries(match.groups).find(([, one]) => one !== undefined));
    }
  }

  peek() {
    return this.found[this.place]?.[1] ?? "";
  }

  kind() {
    return this.found[this.place]?.[0] ?? "";
  }

  take() {
    return this.found[this.place++][1];
  }

  accept(mark) {
    if (this.peek() !== mark) return false;
    this.place += 1;
    return true;
  }

  expression() {
    const parts = this.sum();
    while (RELATIONS.has(this.peek())) parts.push(operator(this.take()), ...this.sum());
    return parts;
  }

  sum() {
    const parts = this.accept("−") ? [operator("−")] : [];
    parts.push(...this.product());
    while (["+", "−"].includes(this.peek())) parts.push(operator(this.take()), ...this.product());
    return parts;
  }

  product() {
    const parts = [this.power()];
    while (["·", "/"].includes(this.peek())) {
      if (this.take() === "·") parts.push(operator("·"), this.power());
      else parts.push(fraction(parts.pop(), this.power()));
    }
    return parts;
  }

  power() {
    let base = this.atom();
    for (;;) {
      if (this.kind() === "super") base = `<msup>${base}<mn>${plainDigits(this.take())}</mn></msup>`;
      else if (this.accept("^")) base = `<msup>${base}${unbracketed(this.atom()).replaceAll(FULL_SIZE, "<mstyle>")}</msup>`;
      else return base;
    }
  }

  atom() {
    if (this.kind() === "number") return this.number();
    if (this.kind() === "name" || this.peek() === "Σ") return this.name();
    if (this.accept("(")) return this.closed("(", ")");
    if (this.accept("|")) return this.closed("|", "|");
    if (this.accept("√")) return root(this.atom());
    if (this.accept("∛")) return `<mroot>${unbracketed(this.atom())}<mn>3</mn></mroot>`;
    throw new NotAFormula(this.peek());
  }

  closed(opening, closing) {
    const inner = this.expression();
    if (!this.accept(closing)) throw new NotAFormula(closing);
    return `<mrow>${operator(opening)}${inner.join("")}${operator(closing)}</mrow>`;
  }

  number() {
    const number = `<mn>${this.take()}</mn>`;
    const unit = this.unit();
    return unit ? `<mrow>${number}<mspace width="0.17em"></mspace><mtext>${unit}</mtext></mrow>` : number;
  }

  unit() {
    if (this.accept("%")) return "%";
    let unit = this.accept("°") ? "°" : "";
    if (this.kind() !== "name" || !MATH_UNITS.includes(this.peek())) return unit;
    unit += this.take();
    const [stroke, next] = this.found.slice(this.place, this.place + 2).map(([, text]) => text);
    if (stroke === "/" && next === "°") unit += this.take() + this.take() + this.take();
    else if (stroke === "/" && MATH_UNITS.includes(next)) unit += this.take() + this.take();
    return this.kind() === "super" ? unit + this.take() : unit;
  }

  name() {
    const text = this.take();
    if (FUNCTIONS.includes(text) && this.peek() === "(") return `<mrow><mi>${escaped(text)}</mi>${this.atom()}</mrow>`;
    const [base, mark, index] = parted_at(text, "_");
    if (!mark) return `<mi>${escaped(base)}</mi>`;
    const style = /^\p{Nd}+$/u.test(index) ? "mn" : "mi";
    return `<msub><mi>${escaped(base)}</mi><${style}>${escaped(index)}</${style}></msub>`;
  }
}

function root(radicand) {
  return radicand.includes("<mfrac>")
    ? `<mrow>${operator("√")}${radicand}</mrow>` : `<msqrt>${unbracketed(radicand)}</msqrt>`;
}

const fraction = (above, below) => `${FULL_SIZE}<mfrac>${unbracketed(above)}${unbracketed(below)}</mfrac></mstyle>`;
