"""Readings as the dossier prints them: typed inputs, the number that was judged, its limits, verdict and working."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, TypeGuard
from uuid import UUID
from zoneinfo import ZoneInfo

import calcs
from calcs import decision
from calcs.figures import scaled, show
from commissioning.dossier.content_words import capital, moment, sentences
from commissioning.drawings.judged_figures import figures
from commissioning.models import Reading, System

ORIGINS = {"nameplate": "nameplate", "value": "set by the procedure", "recording": "test recording"}


def number(value: Any) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def refs_of(system: System, readings: Sequence[Reading]) -> dict[UUID, str]:
    """A number for each reading of a system, in the order recorded: a later revision gives each the same."""
    return {reading.pk: f"{system.tag}-R{place:03d}" for place, reading in enumerate(readings, 1)}


def reading_entry(reading: Reading, *, refs: Mapping[UUID, str], zone: ZoneInfo, guard: float) -> dict[str, Any]:
    """One reading as the schema has it."""
    result = reading.result
    entry = {
        "ref": refs[reading.pk],
        "label": _label(reading, *judged(result, guard)[:1]),
        "tag": _tag(reading),
        "inputs": [_input(one) for one in reading.inputs],
        **_number(result, guard),
        "verdict": reading.verdict,
        "conformity_probability": reading.conformity_probability,
        "guard_factor": guard,
        "working": [
            {name: str(step.get(name, "")) for name in ("formula", "substituted", "result")}
            for step in result.get("working", ())
        ],
        "cautions": [str(text) for text in result.get("cautions", ())],
        "calculation": reading.calculation,
        "edition": reading.edition,
        "instrument": ", ".join(one.serial_number for one in reading.instruments.all()),
        "taken_at": moment(reading.taken_at, zone),
        "by": str(reading.by),
    }
    if reading.superseded_at:
        by_ref = refs.get(reading.superseded_by_id, "no later reading") if reading.superseded_by_id else "none"
        entry["superseded"] = {"by_ref": by_ref, "reason": reading.superseded_reason or "superseded"}
    if notes := _notes(reading):
        entry["cautions"].insert(0, notes)
    return entry


def _notes(reading: Reading) -> str:
    out = "" if reading.in_calibration else "An instrument was NOT in calibration when this was measured"
    return sentences(out, reading.remark)


def _tag(reading: Reading) -> str:
    equipment = reading.equipment or (reading.line.equipment if reading.line else None)
    return equipment.tag if equipment else ""


def _label(reading: Reading, name: str) -> str:
    definition = definition_of(reading.calculation)
    output = definition.described(name) if definition and name else None
    title = reading.line.title if reading.line else (definition.title if definition else reading.calculation)
    return f"{title}: {output.help}" if output and output.help else title


def definition_of(calculation: str) -> Any:
    """The calculation's definition; None where this version of the product does not know it."""
    try:
        return calcs.get(calculation)
    except calcs.UnknownCalculation:
        return None


def judged(result: Mapping[str, Any], guard: float) -> tuple[str, Mapping[str, Any], Mapping[str, Any]]:
    """Name, entry and limit of the value that decided, else the first number.

    It is the one whose verdict is the reading's own: a limit that only advises may be passed by an accepted reading.
    """
    values = {**result.get("inputs", {}), **result.get("outputs", {})}
    held: list[tuple[str, str, Mapping[str, Any]]] = []
    for limit in result.get("limits", ()):
        entry = values.get(limit["output"]) or {}
        lower, upper = limit.get("lower"), limit.get("upper")
        if not number(entry.get("value")) or not (number(lower) or number(upper)):
            continue
        verdict = decision.decide(entry["value"], lower, upper, entry.get("expanded_uncertainty") or 0.0, guard).verdict
        held.append((verdict, limit["output"], limit))
    if held:
        worst = min(held, key=lambda one: decision.WORST_FIRST.index(one[0]))
        _, name, limit = next((one for one in held if one[0] == result.get("verdict")), worst)
        return name, values[name], limit
    outputs = result.get("outputs", {})
    name = next((name for name, entry in outputs.items() if number((entry or {}).get("value"))), "")
    name = name or next(iter(outputs), "")
    return name, outputs.get(name) or {}, {}


def _number(result: Mapping[str, Any], guard: float) -> dict[str, Any]:
    """The value with its uncertainty and limits, in the unit in which it reads well."""
    _, entry, limit = judged(result, guard)
    value, spread, unit = entry.get("value"), entry.get("expanded_uncertainty") or 0.0, entry.get("unit") or ""
    if not number(value):
        return {"value": None, "text": show(value, unit) if entry else "", "unit": "", "limits": None}
    bounds: dict[str, float] = {side: limit[side] for side in ("lower", "upper") if number(limit.get(side))}
    factor, unit = scaled(float(next(iter(bounds.values()), value)), unit)
    numbers = {side: bound / factor for side, bound in bounds.items()}
    told = figures(value / factor, uncertainty=spread / factor, **numbers)
    found: dict[str, Any] = {"value": value / factor, "unit": unit, "text": told.value, "limits": None}
    if spread:
        found |= {"expanded_uncertainty": spread / factor, "uncertainty_text": told.uncertainty}
    if bounds:
        texts = {f"{side}_text": getattr(told, side) for side in bounds}
        found["limits"] = {**numbers, **texts, "source": str(limit.get("source", ""))}
    return found


def _input(entry: Mapping[str, Any]) -> dict[str, str]:
    """An input as it was typed, and where it came from when nobody typed it."""
    name, typed = str(entry.get("label") or entry["name"]), str(entry.get("typed", ""))
    if origin := ORIGINS.get(entry.get("source", "")):
        name = f"{name} ({origin})"
    bare = not any(letter.isalpha() or letter in "%°Ωµ" for letter in typed)
    return {"name": name, "text": typed, "unit": (entry.get("unit") or "") if bare and typed else ""}


OTHER_COLUMNS = (
    {"key": "ref", "title": "Reading", "share": 1.6, "kind": "tag"},
    {"key": "tag", "title": "Tag", "share": 1.6, "kind": "tag"},
    {"key": "label", "title": "What", "share": 3.4, "kind": "text"},
    {"key": "result", "title": "Result, limits", "share": 2.2, "kind": "text"},
    {"key": "verdict", "title": "Verdict", "share": 1.6, "kind": "text"},
    {"key": "working", "title": "Inputs, working", "share": 4.4, "kind": "text"},
    {"key": "taken", "title": "Instrument, at, by", "share": 2.2, "kind": "text"},
)


def other_readings(entries: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Readings that were kept against a tag, outside any procedure line."""
    return {
        "key": "other-readings",
        "title": "Readings outside the procedure",
        "columns": [dict(column) for column in OTHER_COLUMNS],
        "groups": [{"title": "Kept against a tag", "empty": "None.", "rows": [_other(one) for one in entries]}],
    }


def _other(entry: Mapping[str, Any]) -> dict[str, Any]:
    bounds = entry.get("limits") or {}
    limits = " … ".join(bounds[name] for name in ("lower_text", "upper_text") if name in bounds)
    spread = f" ± {entry['uncertainty_text']}" if entry.get("uncertainty_text") else ""
    inputs = "; ".join(f"{one['name']} = {one['text']} {one['unit']}".rstrip() for one in entry["inputs"])
    steps = [f"{step['substituted']} = {step['result']}" for step in entry["working"]]
    superseded = f"\nsuperseded: {entry['superseded']['reason']}" if entry.get("superseded") else ""
    return {
        "ref": entry["ref"],
        "tag": entry["tag"],
        "label": entry["label"],
        "result": "\n".join(filter(None, (f"{entry['text']}{spread} {entry['unit']}".strip(), limits))),
        "verdict": capital(entry["verdict"].replace("_", " ")) + superseded,
        "working": "\n".join([inputs, *steps]),
        "taken": "\n".join(filter(None, (entry["instrument"], entry["taken_at"][:16].replace("T", " "), entry["by"]))),
    }
