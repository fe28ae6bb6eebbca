"""Numbers as a person reads them: sensible digits, rounded to the uncertainty, with the unit set off by a space."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

from calcs.uncertainty import expanded, nominal

DIGITS = 6
_STEPS = (("GΩ", 1e9), ("MΩ", 1e6), ("kΩ", 1e3), ("Ω", 1.0), ("mΩ", 1e-3), ("µΩ", 1e-6))


def plain(value: float, digits: int = DIGITS) -> str:
    """`value` with at most `digits` significant digits, no exponent for everyday sizes, a true minus sign."""
    if isinstance(value, int):
        return str(value).replace("-", "−")
    if not math.isfinite(value):
        return "∞" if value > 0 else ("−∞" if value < 0 else "not a number")
    text = f"{value:.{digits}g}"
    if "e" in text and -6 < math.log10(abs(value)) < 12:
        text = format(Decimal(text), "f")
    return text.replace("-", "−")


def rounded(value: float, uncertainty: float) -> tuple[str, str]:
    """Value and expanded uncertainty, both rounded to two significant digits of the uncertainty."""
    decimals = 1 - math.floor(math.log10(uncertainty))
    if float(f"{uncertainty:.1e}") >= 10 ** (2 - decimals):  # 0.0996 rounds up into the next decade: 0.10, not 0.100
        decimals -= 1
    places = max(decimals, 0)
    figures = (f"{round(value, decimals):.{places}f}", f"{round(uncertainty, decimals):.{places}f}")
    return figures[0].replace("-", "−"), figures[1]


def scaled(value: float, unit: str) -> tuple[float, str]:
    """(factor, unit) in which an ohm value reads well: 200000 Ω as 200 kΩ. Other units stay as they are."""
    if unit != "Ω" or not value or not math.isfinite(value):
        return 1.0, unit
    for name, factor in _STEPS:
        if abs(value) >= factor * (1 - 1e-12):
            return factor, name
    return _STEPS[-1][1], _STEPS[-1][0]


def show(value: Any, unit: str = "", *, uncertainty: bool = True) -> str:
    """A value, an uncertain value, a list, a truth or a word, as text with its unit."""
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return value
    if hasattr(value, "summary"):  # a recording, or the voltages of many cells: a few numbers stand for them
        return show(value.summary(), unit)
    if isinstance(value, list | tuple) and not value:
        return "none"
    if isinstance(value, list | tuple):
        return ", ".join(show(one, unit, uncertainty=uncertainty) for one in value)
    if isinstance(value, dict):
        return "; ".join(f"{key.replace('_', ' ')} {show(one)}" for key, one in value.items())
    return _show_number(value, unit, uncertainty)


def _show_number(value: Any, unit: str, uncertainty: bool) -> str:
    number, spread = nominal(value), expanded(value)
    factor, name = scaled(number, unit)
    tail = f" {name}" if name else ""
    if not (uncertainty and spread and spread == spread):
        return plain(number if factor == 1.0 else number / factor) + tail
    figure, plus_minus = rounded(number / factor, spread / factor)
    return f"{figure} ± {plus_minus}{tail}"
