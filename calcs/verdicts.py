"""Holds what was computed against its limits: bundled ones or a project's own, one verdict from several criteria."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from calcs import decision as rule
from calcs.definition import Definition, Limit
from calcs.errors import InputError
from calcs.figures import plain, show
from calcs.uncertainty import expanded, nominal
from calcs.units import parse
from calcs.working import Sheet, Working

INDEPENDENT = (
    "Uncertainties were treated as independent of each other, also where one instrument measured several inputs."
)


def limits_for(definition: Definition, own: Mapping[str, Mapping[str, Any]] | None) -> tuple[Limit, ...]:
    """The limits that apply: a project's own limits of an output replace every bundled one of that output."""
    own = own or {}
    for output in own:
        if definition.described(output) is None:
            known = ", ".join(one.name for one in definition.outputs)
            raise InputError(f"{definition.name} has no output '{output}' to limit; it has {known}", input=output)
    kept = tuple(limit for limit in definition.limits if limit.output not in own)
    return kept + tuple(_own_limit(definition, output, entry) for output, entry in own.items())


def _own_limit(definition: Definition, output: str, entry: Mapping[str, Any]) -> Limit:
    unit = definition.unit(output)
    lower, upper = (
        None if entry.get(side) is None else parse(entry[side], unit, name=f"{output} limit").value
        for side in ("lower", "upper")
    )
    bundled = next((one for one in definition.limits if one.output == output and one.role == "criterion"), None)
    return Limit(
        output=output,
        lower=lower,
        upper=upper,
        source=str(entry.get("source") or "project limit"),
        optional=bool(bundled and bundled.optional),
        uncertainty=bundled.uncertainty if bundled else "",
        guard_factor=bundled.guard_factor if bundled else "",
    )


def bound(limit: float | str | None, values: Mapping[str, Any]) -> Any:
    """A bound as a number: itself, or the value it names (with its sign)."""
    if not isinstance(limit, str):
        return limit
    value = nominal(values.get(limit.lstrip("-")))
    return -value if limit.startswith("-") and value is not None else value


def decide(sheet: Sheet, limit: Limit, guard_factor: float) -> tuple[dict[str, Any], rule.Decision | None]:
    lower, upper = bound(limit.lower, sheet.values), bound(limit.upper, sheet.values)
    unit = sheet.definition.unit(limit.output)
    stated = {"output": limit.output, "lower": lower, "upper": upper, "unit": unit, "source": limit.source}
    value = sheet.values.get(limit.output)
    if value is None or (lower is None and upper is None):
        return stated, None
    number, spread = nominal(value), expanded(value) or 0.0
    if limit.uncertainty:
        spread = nominal(sheet.values.get(limit.uncertainty)) or spread
    factor = nominal(sheet.values.get(limit.guard_factor)) if limit.guard_factor else None
    decided = rule.decide(number, lower, upper, spread, guard_factor if factor is None else factor)
    if limit.role == "criterion":
        sheet.working.append(_verdict_line(sheet, stated, decided, spread))
    return stated, decided


def _verdict_line(sheet: Sheet, stated: Mapping[str, Any], decided: rule.Decision, spread: float) -> Working:
    unit, name = stated["unit"], stated["output"]
    symbol, value = sheet.definition.symbol(name), nominal(sheet.values[name])
    outcome = f"{decided.words}{_chance(decided, spread)} ({stated['source']})"
    if isinstance(value, bool):
        return Working(f"{symbol} = yes", f"{symbol} = {show(value)}", outcome)
    lower = "" if stated["lower"] is None else f"{show(stated['lower'], unit)} ≤ "
    upper = "" if stated["upper"] is None else f" ≤ {show(stated['upper'], unit)}"
    band = f", U = {plain(spread, 2)}, w = {plain(decided.guard_band, 2)} {unit}".rstrip() if spread else ""
    return Working(f"{lower}{symbol}{upper}", f"{lower}{show(value, unit)}{upper}{band}", outcome)


def _chance(decided: rule.Decision, spread: float) -> str:
    return (
        f", probability of conformity {decided.probability:.1%}" if spread and decided.probability is not None else ""
    )


def together(
    sheet: Sheet, decided: list[tuple[Limit, dict[str, Any], rule.Decision | None]]
) -> tuple[str, float | None]:
    """The worst verdict of all criteria, and the lowest probability of conformity among them."""
    counted = [one for limit, _, one in decided if limit.role == "criterion" and not (one is None and limit.optional)]
    if not sheet.in_scope or not counted:
        return rule.CANNOT_SAY, None
    verdicts = {rule.CANNOT_SAY if one is None else one.verdict for one in counted}
    probabilities = [one.probability for one in counted if one is not None and one.probability is not None]
    return min(verdicts, key=rule.WORST_FIRST.index), min(probabilities, default=None)


def add_cautions(sheet: Sheet, decided: list[tuple[Limit, dict[str, Any], rule.Decision | None]]) -> None:
    for limit, stated, one in decided:
        if one is not None and one.verdict == rule.UNSUITABLE:
            sheet.cautions.append(f"{limit.output}: {one.words}.")
        if one is not None and limit.role == "advice" and one.verdict not in (rule.ACCEPT, rule.ACCEPT_WITHIN):
            sheet.cautions.append(_advice(sheet, stated))
    for caution in sheet.definition.cautions:
        if sheet.holds(caution.when):
            sheet.cautions.append(sheet.filled(caution.text))
    if sum(expanded(sheet.values[one.name]) is not None for one in sheet.definition.inputs) > 1:
        sheet.cautions.append(INDEPENDENT)


def _advice(sheet: Sheet, stated: Mapping[str, Any]) -> str:
    bounds = " and ".join(
        f"{words} {show(stated[side], stated['unit'])}"
        for side, words in (("lower", "at least"), ("upper", "at most"))
        if stated[side] is not None
    )
    return f"{stated['output']} is {sheet.shown(stated['output'])}; advised {bounds} ({stated['source']})."
