"""Can a line be calculated at all? What its calculation takes, against what the line says where each value comes from.

Pure: answers a sentence for each field that is wrong. Fields are named `calculation`, `inputs.NAME`,
`inputs.NAME.unit` (and `.kind`, `.label`, `.key`, `.of`, `.value`), `limits.OUTPUT`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import calcs
from calcs.definition import Definition, Input
from calcs.intake import take_one
from calcs.units import parse

from .nameplate import NAMEPLATE_KEYS
from .terms import EQUIPMENT_KINDS

Spec = Mapping[str, Any]
Report = Callable[[str, str], None]

#: What may be said of an input, by where it comes from.
PARTS = {
    "measured": {"label", "unit", "many", "optional"},
    "nameplate": {"label", "key", "of", "optional"},
    "value": {"label", "unit", "value", "source"},
    "recording": {"label"},
}
#: Where an input may come from, by its kind in the catalogue.
ORIGINS = {
    "scalar": ("measured", "nameplate", "value"),
    "list": ("measured", "value", "recording"),
    "pairs": ("value",),
    "choice": ("nameplate", "value"),
    "table": ("recording",),
}
ORIGIN_WORDS = {
    "measured": "measured",
    "nameplate": "nameplate",
    "value": "set by the procedure",
    "recording": "test recording",
}
FROM_A_RECORDING = ("list", "table")
#: Compares bare numbers: the units on the line say what they are, so they have to be the same.
PLAIN_COMPARISON = "guard_banded_decision"
NAME = re.compile(r"[a-z][a-z0-9_]*")


def line_problems(calculation: str, inputs: Mapping[str, Spec], limits: Sequence[Spec]) -> dict[str, str]:
    """Every field that is wrong, with what to do about it; empty when the line can be calculated."""
    problems: dict[str, str] = {}

    def report(field: str, words: str) -> None:
        problems.setdefault(field, words)

    if not calculation:
        _kept_values(report, inputs)
        if limits:
            report("calculation", "A limit stands on the result of a calculation. Choose one, or take the limits away.")
        return problems
    try:
        definition = calcs.get(calculation)
    except calcs.UnknownCalculation:
        report("calculation", f"There is no calculation '{calculation}'. Choose one of the catalogue.")
        return problems
    known = {one.name: one for one in definition.inputs}
    for name, spec in inputs.items():
        _input(report, definition, known.get(name), name, spec)
    _needed(report, definition, inputs)
    if calculation == PLAIN_COMPARISON:
        _like_with_like(report, inputs)
    for limit in limits:
        _limit(report, definition, limit)
    return problems


def _kept_values(report: Report, inputs: Mapping[str, Spec]) -> None:
    """Without a calculation a line keeps measured values on record, each by its label."""
    for name, spec in inputs.items():
        field = f"inputs.{name}"
        if not NAME.fullmatch(name):
            report(field, "The name of a value is plain lower-case words joined by _.")
        if spec.get("kind") not in ("measured", "recording"):
            report(f"{field}.kind", "Without a calculation only measured values and test recordings are kept.")
        elif not str(spec.get("label", "")).strip():
            report(f"{field}.label", "Say what is measured.")


def _input(report: Report, definition: Definition, one: Input | None, name: str, spec: Spec) -> None:
    field, kind = f"inputs.{name}", str(spec.get("kind", ""))
    if kind == "recording" and (one is None or one.kind in FROM_A_RECORDING):
        if not any(row.kind in FROM_A_RECORDING for row in definition.inputs):
            report(field, f"{definition.title} takes no test recording.")
        return
    if one is None:
        report(
            field, f"{definition.title} has no input '{name}'. It takes {', '.join(r.name for r in definition.inputs)}."
        )
        return
    if kind not in ORIGINS[one.kind]:
        ways = " or ".join(ORIGIN_WORDS[way] for way in ORIGINS[one.kind])
        report(f"{field}.kind", f"This comes from: {ways}.")
        return
    for part in sorted(spec.keys() - {"kind"} - PARTS[kind]):
        report(f"{field}.{part}", f"This has no meaning where the value is {ORIGIN_WORDS[kind]}.")
    if one.required and spec.get("optional"):
        report(f"{field}.optional", "The calculation needs this, so it may not be left empty.")
    {"measured": _measured, "nameplate": _nameplate, "value": _value}[kind](report, field, one, spec)


def _measured(report: Report, field: str, one: Input, spec: Spec) -> None:
    if not str(spec.get("label", "")).strip():
        report(f"{field}.label", "Say what is measured, and where.")
    if bool(spec.get("many")) != (one.kind == "list"):
        words = "takes a list of values" if one.kind == "list" else "takes one value"
        report(f"{field}.many", f"This input {words}.")
    if not fits(str(spec.get("unit", "")), one.unit):
        report(
            f"{field}.unit",
            f"{spec.get('unit')} is no unit for this. It is in {one.unit}, or a unit that turns into it.",
        )


def _nameplate(report: Report, field: str, one: Input, spec: Spec) -> None:
    key = NAMEPLATE_KEYS.get(str(spec.get("key", "")))
    if spec.get("of") not in ("system", *EQUIPMENT_KINDS):
        report(f"{field}.of", "Say whose nameplate: the system's, or a kind of equipment.")
    if key is None:
        report(f"{field}.key", "Choose an entry of the nameplate.")
    elif one.kind == "choice":
        known = {str(choice) for choice in one.choices}
        if (not key.choices and not all(choice.isdigit() for choice in known)) or not set(key.choices) <= known:
            report(f"{field}.key", f"This takes one of {', '.join(sorted(known))}, which the nameplate entry is not.")
    elif key.choices or not fits(key.unit, one.unit):
        wanted = f"in {one.unit}" if one.unit else "a number"
        report(
            f"{field}.key",
            f"This is {wanted}; the nameplate entry is {'in ' + key.unit if key.unit else 'a word or number'}.",
        )


def _value(report: Report, field: str, one: Input, spec: Spec) -> None:
    value, unit = spec.get("value"), str(spec.get("unit", ""))
    if value is None or not str(value).strip():
        report(f"{field}.value", "Type the value that the procedure sets.")
        return
    if one.kind == "scalar" and not fits(unit, one.unit):
        report(f"{field}.unit", f"{unit} is no unit for this. It is in {one.unit}, or a unit that turns into it.")
        return
    text = f"{value} {unit}" if one.kind == "scalar" and unit and one.unit else value
    try:
        take_one(one, text)
    except calcs.InputError as error:
        words = str(error).rstrip(".")
        report(f"{field}.value", f"{words[:1].upper()}{words[1:]}.")


def fits(unit: str, wanted: str) -> bool:
    """True when a number in `unit` can be turned into what the calculation wants; a bare number takes any unit."""
    if not unit or not wanted or {unit, wanted} <= {"°C", "K"}:
        return True
    try:
        parse(f"1 {unit}", wanted)
    except calcs.InputError:
        return False
    return True


def _needed(report: Report, definition: Definition, inputs: Mapping[str, Spec]) -> None:
    recorded = any(spec.get("kind") == "recording" for spec in inputs.values())
    for one in definition.inputs:
        if one.required and one.name not in inputs and not (recorded and one.kind in FROM_A_RECORDING):
            report(
                f"inputs.{one.name}.kind",
                f"The calculation needs this: {one.help or one.symbol}. Say where it comes from.",
            )


def _like_with_like(report: Report, inputs: Mapping[str, Spec]) -> None:
    units: dict[str, str] = {}
    for name in ("value", "lower", "upper", "expanded_uncertainty"):
        spec = inputs.get(name, {})
        key = NAMEPLATE_KEYS.get(str(spec.get("key", "")))
        units[name] = key.unit if key else str(spec.get("unit", ""))
    for name in inputs.keys() & units.keys() - {"value"}:
        if units[name] != units["value"]:
            told = units[name] or "a bare number"
            report(
                f"inputs.{name}.unit",
                f"The value is in {units['value'] or 'no unit'}, this in {told}: bare numbers would be compared.",
            )


def results_of(definition: Definition) -> set[str]:
    """What a limit may stand on: a result of the calculation, or one of its inputs."""
    return {one.name for one in definition.outputs} | {one.name for one in definition.inputs}


def _limit(report: Report, definition: Definition, limit: Spec) -> None:
    output = str(limit.get("output", ""))
    field, bounds = f"limits.{output}", [limit.get("lower"), limit.get("upper")]
    lower, upper = bounds
    if output not in results_of(definition):
        report(field, f"{definition.title} has no result '{output}'.")
    elif lower is None and upper is None:
        report(field, "A limit has a lower or an upper end.")
    elif not all(bound is None or _is_number(bound) for bound in bounds):
        report(field, "A limit is a number.")
    elif lower is not None and upper is not None and lower > upper:
        report(field, "The upper limit lies below the lower one.")
    elif not str(limit.get("source", "")).strip():
        report(field, "Say who set this limit: a document with its revision, or a person.")


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
