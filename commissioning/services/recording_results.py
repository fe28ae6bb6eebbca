"""What a recording came to, in the shapes that its page, the API and the dossier read.

`TestRecording.summary`:
    what `calcs.log_analysis.analyse` answers (kind, started_at, recording, temperatures, outputs, verdict, cells), and
    inputs    what it rests on: entries as on a reading (`Reading.inputs`)
    result    of a discharge, the calculation's whole answer, as on a reading (`Reading.result`)
    results   rows for the dossier: {name, text, unit, verdict_words, limit}
    note      findings and why the test ended, as sentences for the dossier
`TestRecording.findings`:
    [{kind, at (seconds), words, rows: [first, last]}]
`TestRecording.plot`:
    {plots: [{title, unit, time_unit, times, series: [{name, values, weak}], levels: [{name, value}]}], buckets}
Rows of `results` and of `plots` follow `commissioning/dossier/schema.json`; a value is null where a trace is broken.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import calcs
from calcs import decision
from calcs.figures import plain, rounded, show
from commissioning.models import Verdict

#: Names of outputs that only a recharge or a float log has, in words.
OTHER_OUTPUTS = {
    "returned": "charge returned",
    "hours": "length of the log",
    "highest_voltage": "highest string voltage",
    "lowest_voltage": "lowest string voltage",
    "mean_voltage": "mean string voltage",
    "final_current": "current at the end",
}


def result_rows(result: Mapping[str, Any], *, guard_factor: float) -> list[dict[str, str]]:
    """Outputs of a discharge with their limits and what these say, for the dossier."""
    definition = calcs.get(result["calculation"])
    limits = {limit["output"]: limit for limit in result["limits"]}
    advised = {limit.output for limit in definition.limits if limit.role == "advice"}
    rows = []
    for name, entry in result["outputs"].items():
        if entry["value"] is None:
            continue
        found = definition.described(name)
        row = _row((found.help if found else "") or name, entry)
        if name in limits:
            row |= _judged(entry, limits[name], guard_factor, advice=name in advised)
        rows.append(row)
    return rows


def plain_rows(outputs: Mapping[str, Any]) -> list[dict[str, str]]:
    """Outputs of a recharge or a float log: they have no limits here."""
    return [_row(OTHER_OUTPUTS.get(name, name), entry) for name, entry in outputs.items() if entry["value"] is not None]


def _row(name: str, entry: Mapping[str, Any]) -> dict[str, str]:
    value, spread, unit = entry["value"], entry.get("expanded_uncertainty"), entry.get("unit") or ""
    if isinstance(value, bool) or not isinstance(value, int | float):
        text, unit = show(value, unit), ""
    elif spread:
        text = " ± ".join(rounded(float(value), float(spread)))
    else:
        text = plain(value, 5)
    return {"name": name[:1].upper() + name[1:], "text": text, "unit": unit}


def _judged(entry: Mapping[str, Any], limit: Mapping[str, Any], guard_factor: float, *, advice: bool) -> dict[str, str]:
    lower, upper, unit = limit.get("lower"), limit.get("upper"), limit.get("unit") or ""
    sides = [
        f"{words} {plain(side)} {unit}".strip() for words, side in (("at least", lower), ("at most", upper))
        if side is not None
    ]  # fmt: skip
    if not sides:
        return {}
    verdict = decision.decide(
        float(entry["value"]), lower, upper, entry.get("expanded_uncertainty") or 0.0, guard_factor
    ).verdict
    words = Verdict(verdict).label if verdict in Verdict.values else verdict.replace("_", " ")
    if advice:
        words = "as advised" if verdict in (Verdict.ACCEPT, Verdict.ACCEPT_GUARD) else "not as advised"
    bound = f"{'advised ' if advice else ''}{' and '.join(sides)}"
    return {"verdict_words": words, "limit": f"{bound} ({limit.get('source', '')})"}


def note_of(summary: Mapping[str, Any], findings: list[Mapping[str, Any]]) -> str:
    """Findings as sentences; each was kept out of the result by a rule."""
    cells = [
        f"{cell['label']}: {'reversed' if cell.get('reversed') else 'weak'}, lowest {plain(cell['lowest'], 4)} V"
        for cell in summary.get("cells", ())
        if cell.get("lowest") is not None
    ]
    told = [f"At {plain(one['at'] / 60, 4)} min: {one['words']}" for one in findings]
    return "".join(f"{words[:1].upper()}{words[1:]}. " for words in (*cells, *told)).strip()


def levels_of(result: Mapping[str, Any]) -> dict[str, list[dict[str, Any]]]:
    """End voltages as lines of the plots."""
    known = {name: (result["inputs"].get(name) or {}).get("value") for name in ("end_voltage_per_cell", "cells")}
    each, cells = known["end_voltage_per_cell"], known["cells"]
    if each is None or cells is None:
        return {}
    block = (result["inputs"].get("block_cells") or {}).get("value") or 1
    return {
        "String voltage": [{"name": "end voltage", "value": each * cells}],
        "Cells": [{"name": "end voltage", "value": each * block}],
    }


def finite(found: Any) -> Any:
    """Data without the numbers that JSON cannot hold: a cell without any reading has no voltage."""
    if isinstance(found, Mapping):
        return {str(key): finite(one) for key, one in found.items()}
    if isinstance(found, list | tuple):
        return [finite(one) for one in found]
    return None if isinstance(found, float) and not math.isfinite(found) else found
