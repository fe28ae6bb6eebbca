"""Inputs as typed become values: read in their unit, held against their physical range, refused in one sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from calcs import units
from calcs.definition import Definition, Input
from calcs.errors import InputError
from calcs.figures import show
from calcs.uncertainty import nominal, uncertain

EDGE = 1e-9
"""Relative slack at the ends of a physical range, against binary rounding only."""


def take(definition: Definition, typed: Mapping[str, Any]) -> dict[str, Any]:
    """A value for every input of the calculation; None for an optional one that was not given."""
    known = [one.name for one in definition.inputs]
    for name in typed:
        if name not in known:
            raise InputError(f"{definition.name} has no input '{name}'; it takes {', '.join(known)}", input=str(name))
    return {one.name: take_one(one, typed.get(one.name)) for one in definition.inputs}


def take_one(spec: Input, typed: Any) -> Any:
    """The value of one input; its default, or None, when it was not given."""
    if _is_absent(typed):
        if spec.required:
            raise InputError(
                f"{spec.name} is missing: {spec.help or spec.symbol} {_example(spec)}".strip(), input=spec.name
            )
        typed = spec.default
        if typed is None:
            return None
    if spec.read is not None:
        return spec.read(typed)
    return _READERS[spec.kind](spec, typed)


def _is_absent(typed: Any) -> bool:
    return typed is None or (isinstance(typed, str) and not typed.strip())


def _example(spec: Input) -> str:
    if spec.kind == "choice":
        return f"(one of {', '.join(map(str, spec.choices))})"
    return f"[{spec.unit}]" if spec.unit else ""


def _scalar(spec: Input, typed: Any) -> Any:
    quantity = units.parse(typed, spec.unit, name=spec.name)
    within_range(spec, quantity.value)
    if spec.whole:
        return _whole(spec, quantity.value)
    return uncertain(quantity.value, quantity.expanded_uncertainty)


def _whole(spec: Input, value: float) -> int:
    if abs(value - round(value)) > EDGE:
        raise InputError(f"{spec.name}: {show(value)} is not a whole number", input=spec.name)
    return round(value)


def in_range(spec: Input, value: Any) -> Any:
    """Whether a value, or each of an array, lies in the physical range of its input (ends included)."""
    low = True if spec.lower is None else value >= spec.lower - EDGE * abs(spec.lower)
    return low if spec.upper is None else low & (value <= spec.upper + EDGE * abs(spec.upper))


def within_range(spec: Input, value: float) -> None:
    """Refuse a value outside the physical range of its input."""
    if not in_range(spec, value):
        between = f"between {show(spec.lower, spec.unit)} and {show(spec.upper, spec.unit)}"
        raise InputError(
            f"{spec.name}: {show(value, spec.unit)} is not possible here; it lies {between}", input=spec.name
        )


def _split(typed: Any, spec: Input) -> list[Any]:
    if isinstance(typed, str):
        mark = ";" if ";" in typed else ","
        return [part for part in typed.split(mark)]
    if isinstance(typed, Sequence) or hasattr(typed, "tolist"):
        return list(typed)
    return [typed]


def _list(spec: Input, typed: Any) -> list[Any]:
    parts = _split(typed, spec)
    if not parts:
        raise InputError(
            f"{spec.name} is an empty list; give values in {spec.unit}, separated by commas", input=spec.name
        )
    return [_scalar(spec, part) for part in parts]


def _pairs(spec: Input, typed: Any) -> list[tuple[Any, Any]]:
    if isinstance(typed, Mapping):
        typed = list(typed.items())
    return [_pair(spec, part) for part in _split(typed, spec)]


def _pair(spec: Input, typed: Any) -> tuple[Any, Any]:
    both = typed.split(":") if isinstance(typed, str) else list(typed)
    if len(both) != 2:
        message = f"{spec.name}: '{typed}' is not a pair; write {spec.unit or 'value'}:{spec.second_unit or 'value'}"
        raise InputError(message, input=spec.name)
    second = units.parse(both[1], spec.second_unit, name=spec.name)
    return _scalar(spec, both[0]), uncertain(second.value, second.expanded_uncertainty)


def _choice(spec: Input, typed: Any) -> Any:
    text = str(nominal(typed)).strip().lower().replace(" ", "_").replace("-", "_")
    for one in spec.choices:
        if text in (str(one).lower(), f"{one}.0"):
            return one
    raise InputError(f"{spec.name}: '{typed}' is not one of {', '.join(map(str, spec.choices))}", input=spec.name)


def _table(spec: Input, typed: Any) -> Any:
    return typed


_READERS = {"scalar": _scalar, "list": _list, "pairs": _pairs, "choice": _choice, "table": _table}
