"""Formula text to MathML, so that a page shows `δ = 100·(U − U_n)/U_n` as it is written by hand.

    expression := sum (relation sum)*        sum := product (± product)*
    product := power ((· | /) power)*        power := atom superscript*
    atom := number unit? | name | ( expression ) | |expression| | root atom | function( … )

Words that are no formula (`R_20 from the table`) are set as text.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from html import escape

_TOKEN = re.compile(
    r"\s*(?:(?P<number>\d+(?:\.\d+)?(?:e[+−-]?\d+)?|∞)"
    r"|(?P<super>[⁰¹²³⁴⁵⁶⁷⁸⁹]+)"
    r"|(?P<name>[^\W\d_](?:(?![⁰¹²³⁴⁵⁶⁷⁸⁹])[^\W_])*(?:_(?:(?![⁰¹²³⁴⁵⁶⁷⁸⁹])[^\W_])+)*)"
    r"|(?P<mark>[-+−·/()|√∛^=≤≥<>≠;,±°%…Σ]))"
)
_PLAIN_DIGITS = str.maketrans("⁰¹²³⁴⁵⁶⁷⁸⁹", "0123456789")
_RELATIONS = frozenset("=≤≥<>≠;,±…")
_FUNCTIONS = frozenset({"max", "min", "ln", "exp", "ceil", "floor", "mean", "Φ", "Σ"})
_UNITS = frozenset(
    [
        "V",
        "A",
        "Ah",
        "Ω",
        "kΩ",
        "MΩ",
        "GΩ",
        "mΩ",
        "µΩ",
        "W",
        "Hz",
        "s",
        "min",
        "h",
        "m",
        "mm",
        "cm",
        "km",
        "K",
        "C",
        "F",
    ]
)
_PROSE = re.compile(r"\b(?:from|every|each|the|when|is|among|not|if|otherwise|weaker|with|for|whole)\b")


@dataclass
class _Tokens:
    """Tokens of a formula, read from left to right."""

    kinds: list[tuple[str, str]]
    place: int = 0

    def peek(self) -> str:
        return self.kinds[self.place][1] if self.place < len(self.kinds) else ""

    def kind(self) -> str:
        return self.kinds[self.place][0] if self.place < len(self.kinds) else ""

    def take(self) -> str:
        self.place += 1
        return self.kinds[self.place - 1][1]

    def accept(self, mark: str) -> bool:
        if self.peek() == mark:
            self.place += 1
            return True
        return False


class NotAFormula(ValueError):
    """The text cannot be read as a formula."""


def mathml(formula: str) -> str:
    """The MathML element for a formula text; prose is set as text inside it."""
    try:
        inner = _row(_formula(formula))
    except NotAFormula:
        inner = f"<mtext>{escape(formula)}</mtext>"
    return f'<math xmlns="http://www.w3.org/1998/Math/MathML" display="block">{inner}</math>'


def _formula(text: str) -> list[str]:
    left, equals, right = text.partition(" = ")
    left_of_from, source, table = text.partition(" from ")
    if source and " " not in left_of_from:
        return [*_formula(left_of_from), f"<mtext>{escape(source + table)}</mtext>"]
    if _PROSE.search(text):
        if not equals or _PROSE.search(left):
            raise NotAFormula(text)
        return [*_formula(left), _operator("="), f"<mtext>{escape(right)}</mtext>"]
    tokens = _Tokens(_tokenise(text))
    parts = _expression(tokens)
    if tokens.peek():
        raise NotAFormula(text)
    return parts


def _tokenise(text: str) -> list[tuple[str, str]]:
    found, place = [], 0
    text = text.strip()
    while place < len(text):
        match = _TOKEN.match(text, place)
        if match is None:
            raise NotAFormula(text)
        kind = str(match.lastgroup)
        found.append((kind, match[kind]))
        place = match.end()
    return found


def _row(parts: list[str]) -> str:
    return parts[0] if len(parts) == 1 else f"<mrow>{''.join(parts)}</mrow>"


def _operator(mark: str) -> str:
    return f"<mo>{escape(mark)}</mo>"


def _expression(tokens: _Tokens) -> list[str]:
    parts = _sum(tokens)
    while tokens.peek() in _RELATIONS and tokens.peek():
        parts += [_operator(tokens.take()), *_sum(tokens)]
    return parts


def _sum(tokens: _Tokens) -> list[str]:
    parts = [_operator("−")] if tokens.accept("−") else []
    parts += _product(tokens)
    while tokens.peek() in ("+", "−"):
        parts += [_operator(tokens.take()), *_product(tokens)]
    return parts


def _product(tokens: _Tokens) -> list[str]:
    """Factors; a quotient takes only the factor before the stroke, so 100·a/b shows 100 times the fraction."""
    parts = [_power(tokens)]
    while tokens.peek() in ("·", "/"):
        if tokens.take() == "·":
            parts += [_operator("·"), _power(tokens)]
        else:
            parts.append(_fraction(parts.pop(), _power(tokens)))
    return parts


_FULL_SIZE = '<mstyle displaystyle="true" scriptlevel="0">'


def _small(part: str) -> str:
    """Fractions of an exponent, at the exponent's size."""
    return part.replace(_FULL_SIZE, "<mstyle>")


def _root(radicand: str) -> str:
    """A square root; of a fraction with brackets, since without a mathematical font the sign does not grow."""
    if "<mfrac>" in radicand:
        return f"<mrow>{_operator('√')}{radicand}</mrow>"
    return f"<msqrt>{_unbracketed(radicand)}</msqrt>"


def _fraction(above: str, below: str) -> str:
    """A fraction at full size also inside another one, so that it stays readable."""
    inner = f"<mfrac>{_unbracketed(above)}{_unbracketed(below)}</mfrac>"
    return f"{_FULL_SIZE}{inner}</mstyle>"


def _unbracketed(part: str) -> str:
    """Brackets around a whole numerator or denominator are not needed."""
    opening, closing = "<mrow><mo>(</mo>", "<mo>)</mo></mrow>"
    if part.startswith(opening) and part.endswith(closing):
        return f"<mrow>{part[len(opening) : -len(closing)]}</mrow>"
    return part


def _power(tokens: _Tokens) -> str:
    base = _atom(tokens)
    while True:
        if tokens.kind() == "super":
            base = f"<msup>{base}<mn>{tokens.take().translate(_PLAIN_DIGITS)}</mn></msup>"
        elif tokens.accept("^"):
            base = f"<msup>{base}{_small(_unbracketed(_atom(tokens)))}</msup>"
        else:
            return base


def _atom(tokens: _Tokens) -> str:
    kind, text = tokens.kind(), tokens.peek()
    if kind == "number":
        return _number(tokens)
    if kind == "name" or text == "Σ":
        return _name(tokens)
    if tokens.accept("("):
        return _closed(tokens, "(", ")")
    if tokens.accept("|"):
        return _closed(tokens, "|", "|")
    if tokens.accept("√"):
        return _root(_atom(tokens))
    if tokens.accept("∛"):
        return f"<mroot>{_unbracketed(_atom(tokens))}<mn>3</mn></mroot>"
    raise NotAFormula(text)


def _closed(tokens: _Tokens, opening: str, closing: str) -> str:
    inner = _expression(tokens)
    if not tokens.accept(closing):
        raise NotAFormula(closing)
    return f"<mrow>{_operator(opening)}{''.join(inner)}{_operator(closing)}</mrow>"


def _number(tokens: _Tokens) -> str:
    number = f"<mn>{tokens.take()}</mn>"
    unit = _unit(tokens)
    return f'<mrow>{number}<mspace width="0.17em"></mspace><mtext>{unit}</mtext></mrow>' if unit else number


def _unit(tokens: _Tokens) -> str:
    """The unit after a number: `V`, `%`, `°C`, `Ω/km`, `mm²`; a stroke belongs to it when a unit follows."""
    unit = ""
    if tokens.accept("%"):
        return "%"
    if tokens.accept("°"):
        unit = "°"
    if tokens.kind() != "name" or tokens.peek() not in _UNITS:
        return unit
    unit += tokens.take()
    following = [text for _, text in tokens.kinds[tokens.place : tokens.place + 3]]
    if following[:2] == ["/", "°"]:
        unit += tokens.take() + tokens.take() + tokens.take()
    elif following[:1] == ["/"] and following[1:2] and following[1] in _UNITS:
        unit += tokens.take() + tokens.take()
    if tokens.kind() == "super":
        unit += tokens.take()
    return unit


def _name(tokens: _Tokens) -> str:
    text = tokens.take()
    if text in _FUNCTIONS and tokens.peek() == "(":
        return f"<mrow><mi>{escape(text)}</mi>{_atom(tokens)}</mrow>"
    base, mark, index = text.partition("_")
    if not mark:
        return f"<mi>{escape(base)}</mi>"
    style = "mn" if index.isdigit() else "mi"
    return f"<msub><mi>{escape(base)}</mi><{style}>{escape(index)}</{style}></msub>"
