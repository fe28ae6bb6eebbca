"""Runs a definition: takes the inputs, computes the steps, writes the working, and decides against the limits."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from calcs import intake, reference
from calcs.catalogue import get
from calcs.definition import Check, Lookup, Scope, Step, arguments
from calcs.errors import InputError
from calcs.expression import render
from calcs.uncertainty import expanded, nominal
from calcs.verdicts import add_cautions, decide, limits_for, together
from calcs.working import ABSENT, Sheet, Working


@dataclass(frozen=True)
class Result:
    """What a calculation answers; `as_json` has the shape that the shell and the API give out."""

    name: str
    edition: str
    inputs: Mapping[str, Mapping[str, Any]]
    outputs: Mapping[str, Mapping[str, Any]]
    limits: tuple[Mapping[str, Any], ...]
    verdict: str
    conformity_probability: float | None
    working: tuple[Working, ...]
    cautions: tuple[str, ...]
    sources: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        return {
            "calculation": self.name,
            "edition": self.edition,
            "inputs": dict(self.inputs),
            "outputs": dict(self.outputs),
            "limits": [dict(one) for one in self.limits],
            "verdict": self.verdict,
            "conformity_probability": self.conformity_probability,
            "working": [{"formula": w.formula, "substituted": w.substituted, "result": w.result} for w in self.working],
            "cautions": list(self.cautions),
            "sources": list(self.sources),
        }


def run(
    name: str,
    inputs: Mapping[str, Any],
    *,
    limits: Mapping[str, Mapping[str, Any]] | None = None,
    tables: Mapping[str, Any] | None = None,
    guard_factor: float = 1.0,
    edition: str | None = None,
) -> Result:
    """Calculate: `inputs` as typed or as numbers; `limits` and `tables` are a project's own, replacing the bundled."""
    definition = get(name, edition)
    sheet = Sheet(definition, {**definition.tables, **(tables or {})}, intake.take(definition, inputs))
    for step in definition.steps:
        _advance(sheet, step)
    criteria = limits_for(definition, limits)
    decided = [(limit, *decide(sheet, limit, guard_factor)) for limit in criteria]
    verdict, probability = together(sheet, decided)
    add_cautions(sheet, decided)
    return Result(
        name=definition.name,
        edition=definition.edition,
        inputs={
            one.name: _reported(sheet, one.name) for one in definition.inputs if sheet.values[one.name] is not None
        },
        outputs={one.name: _reported(sheet, one.name) for one in definition.outputs},
        limits=tuple(limit for _, limit, _ in decided),
        verdict=verdict,
        conformity_probability=probability,
        working=tuple(sheet.working),
        cautions=tuple(dict.fromkeys((*definition.attention, *sheet.cautions))),
        sources=definition.sources,
    )


def _advance(sheet: Sheet, step: Step | Lookup | Check | Scope) -> None:
    try:
        _STEPS[type(step)](sheet, step)
    except InputError:
        raise
    except (ArithmeticError, ValueError) as error:
        names = ", ".join(one.name for one in sheet.definition.inputs if one.required) or sheet.definition.name
        raise InputError(f"{names}: no result can be calculated from these values ({error})") from error


def _compute(sheet: Sheet, step: Step) -> None:
    if not sheet.holds(step.when):
        return
    result = sheet.call(step.formula)
    if result is ABSENT:
        return
    targets = (step.value,) if isinstance(step.value, str) else step.value
    for target, value in zip(targets, result if isinstance(step.value, tuple) else (result,), strict=True):
        _finite(sheet, target, value)
        sheet.values[target] = value
    if not step.silent:
        sheet.working.append(_line(sheet, step, targets))


def _finite(sheet: Sheet, name: str, value: Any) -> None:
    number = nominal(value)
    if isinstance(number, float) and not math.isfinite(number):
        raise InputError(f"{sheet.definition.symbol(name)} ({name}) comes out as {number}: the inputs cannot be right")


def _line(sheet: Sheet, step: Step, targets: tuple[str, ...]) -> Working:
    names = {name: sheet.shown(name) for name in arguments(step.formula)}
    if step.text:
        known = [name for name in names if sheet.values.get(name) is not None]
        substituted: str | None = ", ".join(f"{sheet.definition.symbol(name)} = {names[name]}" for name in known)
    else:
        substituted = render(step.formula, names)
    result = "; ".join(f"{sheet.definition.symbol(one)} = {sheet.shown(one, uncertainty=True)}" for one in targets)
    return Working(sheet.definition.formula_text(step), substituted or "", result)


def _look_up(sheet: Sheet, step: Lookup) -> None:
    keys = [sheet.values.get(name) for name in step.by]
    if not sheet.holds(step.when) or any(key is None for key in keys):
        return
    table = sheet.tables[step.table]
    value = reference.look_up(table, keys, name=step.by[-1], method=step.method, column=step.column)
    sheet.values[step.value] = value
    used = ", ".join(f"{sheet.definition.symbol(name)} = {sheet.shown(name)}" for name in step.by)
    result = f"{sheet.definition.symbol(step.value)} = {sheet.shown(step.value)} ({reference.source_words(table)})"
    sheet.working.append(Working(sheet.definition.formula_text(step), used, result))


def _check(sheet: Sheet, step: Check) -> None:
    holds = sheet.judge(step.formula)
    if holds is not ABSENT and not holds:
        raise InputError(sheet.filled(step.message), input=step.input)


def _scope(sheet: Sheet, step: Scope) -> None:
    holds = sheet.judge(step.formula)
    if holds is not ABSENT and not holds:
        sheet.in_scope = False
        sheet.cautions.append(sheet.filled(step.message))


_STEPS: Mapping[type, Any] = {Step: _compute, Lookup: _look_up, Check: _check, Scope: _scope}


def _reported(sheet: Sheet, name: str) -> dict[str, Any]:
    value: Any = sheet.values.get(name)
    if hasattr(value, "summary"):  # a recording is stored as its file; here it is told in a few numbers
        value = value.summary()
    spread = expanded(value)
    known = None if spread != spread else spread  # not a number: a slope that the method does not give
    return {"value": nominal(value), "unit": sheet.definition.unit(name), "expanded_uncertainty": known}
