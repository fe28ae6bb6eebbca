"""Quantities as people type them: `122.7`, `0,52 MΩ`, `480 mV`, `1 200 V`, `122.7+-0.13`, `-3 mV/K`."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any

from calcs.errors import InputError
from calcs.uncertainty import expanded, nominal
from calcs.unit_table import BARE_PREFIXES, FOLD, KINDS, NUMBER, by_pint
from calcs.unit_table import unit as find_unit


@dataclass(frozen=True)
class Quantity:
    """A value in the unit that was asked for, its expanded uncertainty (k = 2) in that unit, and what was typed."""

    value: float
    expanded_uncertainty: float | None
    typed: str


_NUMBER = re.compile(r"\s*([+-]?)\s*(\d[\d .,']*|[.,]\d+)(?:[eE]([+-]?\d+))?\s*(.*)", re.DOTALL)
_PLUS_MINUS = re.compile(r"\+\s*/?\s*-|±")


def parse(text: Any, unit: str, *, name: str = "value") -> Quantity:
    """Read `text` (or take a number) as a quantity in `unit`.

    A bare number is in `unit`; `±`, `+-` or `+/-` introduces an expanded uncertainty (k = 2), which may also be given
    in per cent of the value. Raises `InputError` with one sentence that says what would be right.
    """
    if isinstance(text, bool) or text is None:
        raise InputError(f"{name}: {_wanted(unit)}", input=name)
    if not isinstance(text, str):
        return _from_number(text, unit, name)
    folded = text.translate(FOLD).strip()
    if not folded:
        raise InputError(f"{name} is empty; {_wanted(unit)}", input=name)
    bracketed = re.fullmatch(r"\((.*)\)\s*(.*)", folded)
    if bracketed and _PLUS_MINUS.search(bracketed[1]):
        folded = f"{bracketed[1]} {bracketed[2]}"
    value_text, *spread = _PLUS_MINUS.split(folded)
    if len(spread) > 1:
        raise InputError(f"{name}: '{text}' has more than one ±; {_wanted(unit)}", input=name)
    value, typed_unit = _number(value_text, unit, name)
    if not spread:
        return Quantity(_convert(value, typed_unit, unit, name), None, text)
    return _with_uncertainty(value, typed_unit, spread[0], unit, name, text)


def _with_uncertainty(value: float, typed: str, spread: str, unit: str, name: str, text: str) -> Quantity:
    width, width_unit = _number(spread, unit, name)
    relative = width_unit == "%" and unit != "%"
    if not typed and not relative:
        typed = width_unit
    number = _convert(value, typed, unit, name)
    if relative:
        width = abs(number) * width / 100
    else:
        zero = _convert(0.0, width_unit or typed, unit, name)
        width = _convert(width, width_unit or typed, unit, name) - zero
    if width < 0:
        raise InputError(f"{name}: the uncertainty after ± cannot be negative", input=name)
    return Quantity(number, width, text)


def _from_number(value: Any, unit: str, name: str) -> Quantity:
    try:
        number = float(nominal(value))
    except (TypeError, ValueError):
        raise InputError(f"{name}: {value!r} is not a number; {_wanted(unit)}", input=name) from None
    if not math.isfinite(number):
        raise InputError(f"{name} is not a finite number; {_wanted(unit)}", input=name)
    spread = expanded(value)
    if spread is not None and not math.isfinite(spread):
        raise InputError(f"{name}: its uncertainty is not a finite number", input=name)
    return Quantity(number, spread, str(value))


def _wanted(unit: str) -> str:
    return f"give a number in {unit}, such as 122.7 or 122.7 {unit}" if unit else "give a plain number, such as 54"


def _number(text: str, unit: str, name: str) -> tuple[float, str]:
    """The number that `text` starts with, and the unit text after it."""
    found = _NUMBER.fullmatch(text)
    if not found:
        raise InputError(f"{name}: '{text.strip()}' is not a number; {_wanted(unit)}", input=name)
    sign, digits, exponent, tail = found.groups()
    value = float(f"{sign}{_digits(digits.strip(), name)}e{exponent or 0}")
    if not math.isfinite(value):
        raise InputError(f"{name}: '{text.strip()}' is too large; {_wanted(unit)}", input=name)
    return value, tail.strip()


def _digits(digits: str, name: str) -> str:
    """Digits with a decimal point: group spaces and group marks removed, a decimal comma turned into a point."""
    marks = [mark for mark in digits if mark in ".,"]
    if " " in digits or "'" in digits:
        if not re.fullmatch(r"\d{1,3}(?:[ ']\d{3})+(?:[.,]\d*)?", digits):
            raise InputError(f"{name}: '{digits}' has a space inside the number; write it without", input=name)
        digits = digits.replace(" ", "").replace("'", "")
    if not marks or marks == ["."]:
        return digits
    if marks == [","]:
        return _decimal_comma(digits, name)
    decimal = marks[-1]
    group = "." if decimal == "," else ","
    if marks.count(decimal) == 1 and re.fullmatch(rf"\d{{1,3}}(?:\{group}\d{{3}})+\{decimal}\d*", digits):
        return digits.replace(group, "").replace(decimal, ".")
    raise InputError(f"{name}: '{digits}' is not one number; write it with one decimal point", input=name)


def _decimal_comma(digits: str, name: str) -> str:
    whole, fraction = digits.split(",")
    if re.fullmatch(r"[1-9]\d{0,2}", whole) and len(fraction) == 3:
        either = f"write {whole}{fraction} or {whole}.{fraction}"
        raise InputError(f"{name}: '{digits}' can be read in two ways; {either}", input=name)
    return f"{whole}.{fraction}"


def _convert(value: float, typed: str, wanted: str, name: str) -> float:
    """`value` in the unit typed (none: already right) as a value in the wanted unit."""
    if not typed or typed == wanted:
        return value
    target = find_unit(wanted)
    if target is None:  # a unit of more than products and quotients, such as cm²/(m³/h): taken as it stands only
        raise InputError(f"{name}: '{typed}' is not converted here; {_wanted(wanted)}", input=name)
    source = find_unit(typed)
    if source is None and typed in BARE_PREFIXES:
        return value * BARE_PREFIXES[typed]
    if source is None:
        source = by_pint(typed)
    if source is None:
        raise InputError(f"{name}: the unit '{typed}' is not known; {_wanted(wanted)}", input=name)
    if source.dimension != target.dimension or (source.dimension == NUMBER and _is_ratio(typed) != _is_ratio(wanted)):
        is_a = KINDS.get(source.dimension, "another quantity")
        raise InputError(f"{name}: '{typed}' measures {is_a}; {_wanted(wanted)}", input=name)
    if (source.offset or target.offset) and wanted != "K":
        return (value * source.factor + source.offset - target.offset) / target.factor
    scale = source.factor / target.factor
    return value if scale == 1 else float(f"{value * scale:.15g}")  # 0.52 MΩ is 520000 Ω, not 520000.00000000006


def _is_ratio(text: str) -> bool:
    return text in ("%", "percent", "pct", "ppm")
