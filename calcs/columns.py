"""The same definitions over columns of readings: values, uncertainties, verdicts and probabilities of a million rows at
once.

Rows are taken in blocks that stay in the processor's cache. Sensitivities are central differences over a hundredth of
the standard uncertainty of each input, which for smooth formulas agree with the exact derivatives to many digits.
A row that a check refuses, or with an input outside its physical range, comes out as 'cannot say' with empty outputs.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy

from calcs import decision as rule
from calcs import intake, reference
from calcs.catalogue import get
from calcs.definition import Check, Definition, Input, Limit, Lookup, Scope, Step, arguments
from calcs.errors import InputError
from calcs.maths import normal_distribution
from calcs.uncertainty import COVERAGE, expanded, nominal
from calcs.verdicts import bound, limits_for
from calcs.working import ABSENT, Sheet

Array = Any
BLOCK = 16_384
NUDGE = 0.01
CODE = {verdict: number for number, verdict in enumerate(rule.WORST_FIRST)}
"""Verdicts as small numbers; `decision.WORST_FIRST[code]` is the verdict, and the smaller code is the worse verdict."""


@dataclass(frozen=True)
class Columns:
    """Columns out: outputs and their expanded uncertainties (k = 2), verdict codes and probabilities of conformity.

    A truth is 1 or 0, and every output is not-a-number in a row that could not be calculated.
    """

    name: str
    edition: str
    outputs: Mapping[str, Array]
    expanded_uncertainties: Mapping[str, Array]
    verdicts: Array
    conformity_probabilities: Array

    def verdict_words(self) -> list[str]:
        """The verdict of each row, as `run` names it."""
        return [rule.WORST_FIRST[code] for code in self.verdicts]


@dataclass(frozen=True)
class _Plan:
    """What has to be done for every block, settled once."""

    definition: Definition
    tables: Mapping[str, Any]
    limits: tuple[Limit, ...]
    guard_factor: float
    steps: tuple[Step | Lookup, ...]
    checks: tuple[Check | Scope, ...]
    wanted: frozenset[str]
    after: Mapping[str, tuple[Step | Lookup, ...]]


def bulk(
    name: str,
    columns: Mapping[str, Any],
    *,
    uncertainties: Mapping[str, Any] | None = None,
    limits: Mapping[str, Mapping[str, Any]] | None = None,
    tables: Mapping[str, Any] | None = None,
    guard_factor: float = 1.0,
    edition: str | None = None,
) -> Columns:
    """Calculate row by row: `columns` holds an array, or one value for all rows, for each input, in the input's unit.

    `uncertainties` gives expanded uncertainties (k = 2) by input, as arrays or as one value. Choices are one value for
    all.
    """
    definition = get(name, edition)
    values, spreads, rows = _take(definition, columns, uncertainties or {})
    plan = _plan(definition, values, spreads, limits, {**definition.tables, **(tables or {})}, guard_factor)
    numeric = [one.name for one in definition.outputs if one.name in plan.wanted]
    outputs = {one: numpy.full(rows, numpy.nan) for one in numeric}
    widths = {one: numpy.zeros(rows) for one in numeric}
    verdicts = numpy.full(rows, CODE[rule.CANNOT_SAY], numpy.int8)
    chances = numpy.full(rows, numpy.nan)
    with numpy.errstate(all="ignore"):
        for part in _blocks(rows):
            sheet = _sheet(plan, values, spreads, part)
            wide = _propagate(plan, sheet, spreads, part)
            sound = _sound(plan, sheet, wide)
            verdicts[part], chances[part] = _decide(plan, sheet, wide, sound)
            for one in numeric:
                outputs[one][part] = numpy.where(sound, sheet.values[one], numpy.nan)
                widths[one][part] = wide.get(one, 0.0)
    return Columns(definition.name, definition.edition, outputs, widths, verdicts, chances)


def _blocks(rows: int) -> Iterator[slice]:
    return (slice(start, min(start + BLOCK, rows)) for start in range(0, rows, BLOCK))


def _take(
    definition: Definition, columns: Mapping[str, Any], uncertainties: Mapping[str, Any]
) -> tuple[dict[str, Any], dict[str, Any], int]:
    unknown = (set(columns) | set(uncertainties)) - {one.name for one in definition.inputs}
    if unknown:
        raise InputError(f"{definition.name} has no input '{sorted(unknown)[0]}'", input=sorted(unknown)[0])
    values = {one.name: _column(definition, one, columns.get(one.name)) for one in definition.inputs}
    lengths = {len(one) for one in values.values() if _is_column(one)}
    if len(lengths) != 1:
        raise InputError(f"{definition.name}: give columns of one length, not of {sorted(lengths)}")
    rows = lengths.pop()
    spreads = {key: _spread(key, one, rows) for key, one in uncertainties.items()}
    for key, value in values.items():
        if not _is_column(value) and expanded(value):
            spreads.setdefault(key, expanded(value))
            values[key] = nominal(value)
    return values, spreads, rows


def _column(definition: Definition, spec: Input, given: Any) -> Any:
    if spec.kind in ("list", "pairs", "table"):
        if given is None and not spec.required:
            return None
        raise InputError(
            f"{definition.name}: {spec.name} is a list; lists are not calculated in columns", input=spec.name
        )
    if _is_column(given) or (isinstance(given, list | tuple) and spec.kind == "scalar"):
        return numpy.asarray(given, float)
    return intake.take_one(spec, given)


def _is_column(value: Any) -> bool:
    return getattr(value, "ndim", 0) == 1


def _spread(name: str, given: Any, rows: int) -> Any:
    width = numpy.asarray(given, float)
    if width.ndim > 1 or (width.ndim == 1 and len(width) != rows) or not (numpy.isfinite(width) & (width >= 0)).all():
        raise InputError(f"{name}: its uncertainties are not one number of zero or more for each row", input=name)
    return width if width.ndim else float(width)


def _targets(step: Step | Lookup) -> tuple[str, ...]:
    return (step.value,) if isinstance(step.value, str) else step.value


def _needs(step: Step | Lookup) -> tuple[str, ...]:
    return step.by if isinstance(step, Lookup) else arguments(step.formula)


def _plan(
    definition: Definition,
    values: Mapping[str, Any],
    spreads: Mapping[str, Any],
    own_limits: Mapping[str, Mapping[str, Any]] | None,
    tables: Mapping[str, Any],
    guard_factor: float,
) -> _Plan:
    limits = tuple(one for one in limits_for(definition, own_limits) if one.role == "criterion")
    sheet = Sheet(definition, tables, dict(values))
    steps, left_out = _active_steps(sheet)
    checks = tuple(
        one
        for one in definition.steps
        if isinstance(one, Check | Scope)
        and sheet.lacks(one.formula) == ()
        and not left_out & set(arguments(one.formula))
    )
    known = set(sheet.values)
    refused = sorted(one.output for one in limits if one.output in left_out)
    if refused:
        raise InputError(f"{definition.name}: {refused[0]} is not a number and is not calculated in columns")
    asked = {arg.removeprefix("expanded_") for one in checks for arg in arguments(one.formula)}
    wanted = {one.name for one in definition.outputs if one.name in known - left_out} | asked
    wanted |= {one.output for one in limits} & known
    after = {name: _steps_after(name, steps) for name in spreads}
    return _Plan(definition, tables, limits, guard_factor, steps, checks, frozenset(wanted), after)


def _active_steps(sheet: Sheet) -> tuple[tuple[Step | Lookup, ...], set[str]]:
    """The steps that run for these inputs, and the values that are words or lists and are left out."""
    active: list[Step | Lookup] = []
    left_out: set[str] = set()
    for step in sheet.definition.steps:
        if not isinstance(step, Step | Lookup) or not _runs(sheet, step):
            continue
        targets = _targets(step)
        kinds = {getattr(sheet.definition.described(one), "kind", "number") for one in targets}
        if kinds & {"text", "list"} or left_out & set(_needs(step)):
            left_out.update(targets)
        else:
            active.append(step)
        sheet.values.update(dict.fromkeys(targets, ABSENT))
    return tuple(active), left_out


def _runs(sheet: Sheet, step: Step | Lookup) -> bool:
    present = all(sheet.values.get(one) is not None for one in step.by) if isinstance(step, Lookup) else (
        sheet.lacks(step.formula) == ()
    )  # fmt: skip
    return present and sheet.holds(step.when)


def _steps_after(name: str, steps: tuple[Step | Lookup, ...]) -> tuple[Step | Lookup, ...]:
    """The steps that a change of one input reaches."""
    reached, found = {name}, []
    for step in steps:
        if reached & set(_needs(step)):
            reached.update(_targets(step))
            found.append(step)
    return tuple(found)


def _sheet(plan: _Plan, values: Mapping[str, Any], spreads: Mapping[str, Any], part: slice) -> Sheet:
    taken = {key: value[part] if _is_column(value) else value for key, value in values.items()}
    taken |= {f"expanded_{key}": value[part] if _is_column(value) else value for key, value in spreads.items()}
    sheet = Sheet(plan.definition, plan.tables, taken)
    _compute(sheet, plan.steps)
    return sheet


def _compute(sheet: Sheet, steps: tuple[Step | Lookup, ...]) -> None:
    for step in steps:
        if isinstance(step, Lookup):
            table, keys = sheet.tables[step.table], [sheet.values[one] for one in step.by]
            sheet.values[step.value] = reference.look_up(
                table, keys, name=step.by[-1], method=step.method, column=step.column
            )
        else:
            result = sheet.call(step.formula)
            results = result if isinstance(step.value, tuple) else (result,)
            sheet.values.update(zip(_targets(step), results, strict=True))


def _propagate(plan: _Plan, sheet: Sheet, spreads: Mapping[str, Any], part: slice) -> dict[str, Array]:
    """Expanded uncertainty of every wanted value: contributions of all inputs, taken as independent."""
    squares: dict[str, Array] = {}
    for name, steps in plan.after.items():
        spread = spreads[name][part] if _is_column(spreads[name]) else spreads[name]
        nudge = spread * (NUDGE / COVERAGE)
        above, below = _nudged(sheet, steps, name, nudge), _nudged(sheet, steps, name, -nudge)
        reached = {name, *(target for step in steps for target in _targets(step))}
        for one in reached & plan.wanted:
            if getattr(plan.definition.described(one), "kind", "number") in ("truth", "count"):
                continue
            difference = above[one] - below[one]
            squares[one] = squares.get(one, 0.0) + difference * difference
    return {one: numpy.sqrt(square) * (COVERAGE / (2 * NUDGE)) for one, square in squares.items()}


def _nudged(sheet: Sheet, steps: tuple[Step | Lookup, ...], name: str, by: Any) -> Mapping[str, Any]:
    moved = Sheet(sheet.definition, sheet.tables, {**sheet.values, name: sheet.values[name] + by})
    _compute(moved, steps)
    return moved.values


def _sound(plan: _Plan, sheet: Sheet, wide: Mapping[str, Array]) -> Array:
    """Rows whose inputs are possible, whose checks hold and whose outputs are numbers."""
    sound: Any = True
    for spec in plan.definition.inputs:
        value = sheet.values[spec.name]
        if _is_column(value):
            sound = sound & numpy.isfinite(value) & intake.in_range(spec, value)
            if spec.whole:
                sound = sound & (value == numpy.rint(value))
    sheet.values.update({f"expanded_{one}": width for one, width in wide.items()})
    for check in plan.checks:
        if isinstance(check, Check):
            sound = sound & sheet.judge(check.formula)
    for output in plan.definition.outputs:
        if output.name in plan.wanted and output.kind in ("number", "count"):
            sound = sound & numpy.isfinite(sheet.values[output.name])
    return sound


def _decide(plan: _Plan, sheet: Sheet, wide: Mapping[str, Array], sound: Array) -> tuple[Array, Array]:
    verdict: Any = CODE[rule.ACCEPT]
    chance: Any = 1.0
    counted = 0
    for limit in plan.limits:
        value = sheet.values.get(limit.output)
        lower, upper = bound(limit.lower, sheet.values), bound(limit.upper, sheet.values)
        if value is None or (lower is None and upper is None):
            if limit.optional:
                continue
            one, probability = CODE[rule.CANNOT_SAY], numpy.inf
        else:
            width, band = _width(plan, sheet, limit, wide)
            one, probability = decide_columns(value, lower, upper, width, band)
        verdict, chance, counted = numpy.minimum(verdict, one), numpy.minimum(chance, probability), counted + 1
    for scope in plan.checks:
        if isinstance(scope, Scope):
            sound = sound & sheet.judge(scope.formula)
    if not counted:
        return CODE[rule.CANNOT_SAY], numpy.nan
    return numpy.where(sound, verdict, CODE[rule.CANNOT_SAY]), numpy.where(
        sound & numpy.isfinite(chance), chance, numpy.nan
    )


def _width(plan: _Plan, sheet: Sheet, limit: Limit, wide: Mapping[str, Array]) -> tuple[Any, Any]:
    width = wide.get(limit.output, 0.0)
    if limit.uncertainty:
        width = sheet.values.get(limit.uncertainty, width)
    factor = sheet.values.get(limit.guard_factor) if limit.guard_factor else None
    return width, (plan.guard_factor if factor is None else factor) * width


def decide_columns(value: Any, lower: Any, upper: Any, width: Any, band: Any) -> tuple[Array, Array]:
    """Verdict codes and probabilities of conformity; the same rule as `decision.decide`, over arrays."""
    value = numpy.asarray(value, float)
    above = numpy.inf if upper is None else upper - value
    below = numpy.inf if lower is None else value - lower
    inside = numpy.minimum(above, below)
    eps = numpy.maximum(*(rule.slack(value, 0.0 if one is None else one, band) for one in (lower, upper)))
    inner = (inside >= band - eps).astype(numpy.int8)
    verdict = inner + 3 * (inside >= -eps).astype(numpy.int8) + (inside >= -band - eps)
    if lower is not None and upper is not None:
        verdict = numpy.where(2 * band > upper - lower + eps, CODE[rule.UNSUITABLE], verdict)
    return verdict, probabilities(above, below, inside >= -eps, width)


def probabilities(above: Any, below: Any, inside: Any, width: Any) -> Array:
    """Probability of conformity from the distances to both limits; certain where there is no spread."""
    if not numpy.any(width):
        return numpy.asarray(inside, float)
    standard = width / COVERAGE
    chance = numpy.ones_like(inside, float)
    for distance in (above, below):
        if numpy.ndim(distance) or numpy.isfinite(distance):
            chance = chance + normal_distribution(distance / standard) - 1.0
    chance = numpy.clip(chance, 0.0, 1.0)
    return chance if numpy.all(width) else numpy.where(numpy.asarray(width) > 0, chance, inside)
