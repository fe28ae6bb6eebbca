"""The units that are typed in the field, by name and prefix, and as products and quotients (`Ω/km`, `m³/h`, `mV/°C`).

Any other single unit name is looked up with pint, which is loaded only then.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

Dimension = tuple[int, int, int, int, int]  # kg, m, s, A, K


@dataclass(frozen=True)
class Unit:
    """A unit by its size in SI base units, its dimension, and the offset of its zero (temperature scales)."""

    factor: float
    dimension: Dimension
    offset: float = 0.0


NUMBER: Dimension = (0, 0, 0, 0, 0)
_VOLT: Dimension = (1, 2, -3, -1, 0)
_OHM: Dimension = (1, 2, -3, -2, 0)
_WATT: Dimension = (1, 2, -3, 0, 0)
_METRE: Dimension = (0, 1, 0, 0, 0)
_SECOND: Dimension = (0, 0, 1, 0, 0)
_KELVIN: Dimension = (0, 0, 0, 0, 1)
_JOULE: Dimension = (1, 2, -2, 0, 0)

# names (the first is ours), size, dimension, zero, whether a prefix may stand before it
_TABLE: tuple[tuple[str, float, Dimension, float, bool], ...] = (
    ("V v volt volts Volt Volts", 1, _VOLT, 0, True),
    ("A a amp amps ampere amperes Amp Amps", 1, (0, 0, 0, 1, 0), 0, True),
    ("Ω ohm ohms Ohm Ohms OHM OHMS R", 1, _OHM, 0, True),
    ("megohm megohms Megohm meg", 1e6, _OHM, 0, False),
    ("S siemens mho", 1, (-1, -2, 3, 2, 0), 0, True),
    ("W watt watts VA var", 1, _WATT, 0, True),
    ("J joule", 1, _JOULE, 0, True),
    ("Wh", 3600, _JOULE, 0, True),
    ("N newton newtons", 1, (1, 1, -2, 0, 0), 0, True),  # torques of terminals: N·m
    ("cal", 4.184, _JOULE, 0, True),
    ("F farad", 1, (-1, -2, 4, 2, 0), 0, True),
    ("Hz hertz", 1, (0, 0, -1, 0, 0), 0, True),
    ("Ah ah", 3600, (0, 0, 1, 1, 0), 0, True),
    ("s sec second seconds", 1, _SECOND, 0, True),
    ("min minute minutes mins", 60, _SECOND, 0, False),
    ("h hr hrs hour hours", 3600, _SECOND, 0, False),
    ("d day days", 86400, _SECOND, 0, False),
    ("m metre metres meter", 1, _METRE, 0, True),
    ("ft foot feet", 0.3048, _METRE, 0, False),
    ("in inch inches", 0.0254, _METRE, 0, False),
    ("yd yard yards", 0.9144, _METRE, 0, False),
    ("mi mile miles", 1609.344, _METRE, 0, False),
    ("cfm", 0.3048**3 / 60, (0, 3, -1, 0, 0), 0, False),
    ("L l litre litres", 1e-3, (0, 3, 0, 0, 0), 0, True),
    ("g gram", 1e-3, (1, 0, 0, 0, 0), 0, True),
    ("K kelvin", 1, _KELVIN, 0, False),
    ("°C degC ℃ C deg celsius degc", 1, _KELVIN, 273.15, False),
    ("°F degF ℉ degf", 5 / 9, _KELVIN, 459.67 * 5 / 9, False),
    ("% percent pct", 0.01, NUMBER, 0, False),
    ("ppm", 1e-6, NUMBER, 0, False),
    ("cell cells count counts", 1, NUMBER, 0, False),
)
_PREFIXES = {"p": 1e-12, "n": 1e-9, "u": 1e-6, "µ": 1e-6, "m": 1e-3, "c": 1e-2, "k": 1e3, "K": 1e3, "M": 1e6, "G": 1e9}
BARE_PREFIXES = {"k": 1e3, "M": 1e6, "G": 1e9, "µ": 1e-6, "u": 1e-6}
_UNITS = {name: Unit(size, dimension, zero) for names, size, dimension, zero, _ in _TABLE for name in names.split()}
_PREFIXABLE = {name for names, *_, prefix in _TABLE if prefix for name in names.split()}
KINDS = {
    _VOLT: "a voltage", (0, 0, 0, 1, 0): "a current", _OHM: "a resistance", _WATT: "a power", _JOULE: "an energy",
    _SECOND: "a time", _METRE: "a length", _KELVIN: "a temperature", (0, 0, 1, 1, 0): "a charge (Ah)",
    (0, 2, 0, 0, 0): "an area", (-1, -2, 3, 2, 0): "a conductance", NUMBER: "a plain number or percentage",
}  # fmt: skip

_SPACES = "\u00a0\u2009\u202f\u2007\u2002\u2003\t"
_LOOKALIKES = {"\u2126": "Ω", "\u03bc": "µ", "\u2212": "-", "\u2013": "-", "\u22c5": "·"}
FOLD = str.maketrans(_LOOKALIKES | {space: " " for space in _SPACES})
"""Ohm sign, Greek mu, true minus, dash, dot operator and every kind of space, as one spelling each."""
_POWER = {"²": 2, "³": 3, "^2": 2, "^3": 3, "2": 2, "3": 3}


@lru_cache(maxsize=512)
def unit(text: str) -> Unit | None:
    """The unit that `text` names, with products, quotients and squares (`Ω/km`, `m³/h`, `mV/°C`); None when unknown."""
    text = text.translate(FOLD).strip().replace("deg C", "degC").replace("° C", "°C")
    if not text:
        return Unit(1.0, NUMBER)
    if text in _UNITS:
        return _UNITS[text]
    factor, dimension = 1.0, NUMBER
    sign = 1
    for part in re.split(r"([/·*])", text):
        if part in "·*/":
            sign = -1 if part == "/" else sign
            continue
        atom = _atom(part.strip())
        if atom is None:
            return None
        factor *= atom.factor**sign
        dimension = tuple(a + sign * b for a, b in zip(dimension, atom.dimension, strict=True))  # type: ignore[assignment]
    return Unit(factor, dimension)


def _atom(text: str) -> Unit | None:
    for mark, power in _POWER.items():
        if text.endswith(mark) and len(text) > len(mark):
            base = _atom(text[: -len(mark)])
            return base and Unit(base.factor**power, tuple(power * d for d in base.dimension))  # type: ignore[arg-type]
    if text in _UNITS:
        return Unit(_UNITS[text].factor, _UNITS[text].dimension)
    if text[:1] in _PREFIXES and text[1:] in _PREFIXABLE:
        base = _UNITS[text[1:]]
        return Unit(_PREFIXES[text[0]] * base.factor, base.dimension)
    return Unit(1.0, NUMBER) if text == "1" else None


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


@lru_cache(maxsize=128)
def by_pint(text: str) -> Unit | None:
    """A single unit name that the table does not hold, such as `yard` or `furlong`."""
    if not re.fullmatch(r"[A-Za-z]{2,20}", text):
        return None
    registry = _registry()
    if text not in registry:
        return None
    quantity = registry.Quantity(1.0, text).to_base_units()
    order = ("[mass]", "[length]", "[time]", "[current]", "[temperature]")
    powers = dict(quantity.dimensionality)
    if set(powers) - set(order) or any(power != int(power) for power in powers.values()):
        return None
    return Unit(float(quantity.magnitude), tuple(int(powers.get(one, 0)) for one in order))  # type: ignore[arg-type]
