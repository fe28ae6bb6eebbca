"""What a recording says: a discharge through the one calculation `discharge_log`, a recharge, or a time on float; and
the same recording small enough to be drawn."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from calcs.engine import Result, run
from calcs.errors import InputError
from calcs.log_findings import gap_places
from calcs.logger_files import Recording

KINDS = ("discharge", "recharge", "float")
LARGEST_PLOT = 290_000
"""Characters of JSON that the plots of one recording may take."""


@dataclass(frozen=True)
class Analysis:
    """The answer for a recording: `result` of the calculation (a discharge has one) and a summary ready to store."""

    kind: str
    result: Result | None
    summary: dict[str, Any]


def analyse(recording: Recording, *, kind: str = "discharge", inputs: Mapping[str, Any] | None = None) -> Analysis:
    """Analyse a log; `inputs` are those of `discharge_log` for a discharge, and are not needed for the other kinds."""
    if kind not in KINDS:
        raise InputError(f"a log is of a {', a '.join(KINDS)}, not of '{kind}'", input="kind")
    base = {
        "kind": kind,
        "started_at": recording.started_at.isoformat() if recording.started_at else None,
        "recording": recording.summary(),
        "findings": [one.as_json() for one in recording.findings],
        "temperatures": _extremes(recording, recording.temperatures),
    }
    if kind == "discharge":
        result = run("discharge_log", {**(inputs or {}), "recording": recording})
        return Analysis(kind, result, base | _of_discharge(recording, result))
    summary = _of_recharge(recording) if kind == "recharge" else _of_float(recording)
    return Analysis(kind, None, base | summary)


def _of_discharge(recording: Recording, result: Result) -> dict[str, Any]:
    values = {name: one["value"] for name, one in result.outputs.items()}
    floor = result.inputs["end_voltage_per_cell"]["value"] * result.inputs["block_cells"]["value"]
    marked = sorted({*(values["weak_cells"] or ()), *(values["reversed"] or ())})
    return {
        "outputs": dict(result.outputs),
        "verdict": result.verdict,
        "cells": [_story(recording, place, floor) | {
            "weak": place in values["weak_cells"], "reversed": place in values["reversed"],
        } for place in marked],
    }  # fmt: skip


def _story(recording: Recording, place: int, floor: float) -> dict[str, Any]:
    """One cell: its label, its lowest voltage, when it fell below the end voltage before the string, and below zero."""
    name = f"cell_{place}"
    seconds, values = recording.frame["seconds"], recording.frame[name]
    string_stands = recording.frame["voltage"] > floor * len(recording.cells)

    def first(when: Any) -> float | None:
        found = seconds.filter(when.fill_null(False))
        return float(found[0]) / 60 if len(found) else None

    return {
        "place": place, "label": recording.labels[name], "lowest": _float(values.min()),
        "below_end_at_min": first((values < floor) & string_stands), "below_zero_at_min": first(values < 0),
    }  # fmt: skip


def _of_recharge(recording: Recording) -> dict[str, Any]:
    """Charge returned, highest voltage, current at the end; the sign of charging is the one that returns more."""
    import numpy

    if "current" not in recording.frame.columns:
        raise InputError("a recharge needs a current", input="recording")
    frame = recording.frame.drop_nulls(["voltage", "current"])
    seconds, current = frame["seconds"].to_numpy(), frame["current"].to_numpy()
    current = current if current.mean() >= 0 else -current
    parts = numpy.diff(seconds) * (current[:-1] + current[1:]) / 2
    parts[gap_places(seconds)] = 0.0
    return {
        "outputs": {
            "returned": _quantity(parts.sum() / 3600, "Ah"),
            "hours": _quantity((seconds[-1] - seconds[0]) / 3600, "h"),
            "highest_voltage": _quantity(frame["voltage"].max(), "V"),
            "final_current": _quantity(current[-1], "A"),
        },
        "cells": _cells_about_their_median(recording),
    }


def _of_float(recording: Recording) -> dict[str, Any]:
    voltage = recording.frame["voltage"].drop_nulls()
    return {
        "outputs": {
            "mean_voltage": _quantity(voltage.mean(), "V"),
            "lowest_voltage": _quantity(voltage.min(), "V"),
            "highest_voltage": _quantity(voltage.max(), "V"),
        },
        "cells": _cells_about_their_median(recording),
    }


def _cells_about_their_median(recording: Recording) -> list[dict[str, Any]]:
    """Cells whose mean voltage is an outlier among the others (robust deviation beyond 3.5, and 30 mV)."""
    import numpy

    if len(recording.cells) < 3:
        return []
    means = numpy.array(recording.frame.select(recording.cells).mean().row(0), float)
    off = means - numpy.nanmedian(means)
    size = max(1.4826 * float(numpy.nanmedian(abs(off))), 1e-9)
    odd = numpy.flatnonzero((abs(off) > 0.03) & (abs(off) > 3.5 * size))
    return [
        {"place": int(one) + 1, "label": recording.labels[recording.cells[one]], "mean": float(means[one]),
         "robust_z": float(off[one] / size)}
        for one in odd
    ]  # fmt: skip


def _extremes(recording: Recording, names: Sequence[str]) -> dict[str, Any]:
    return {
        recording.labels[name]: {
            "lowest": _float(recording.frame[name].min()),
            "highest": _float(recording.frame[name].max()),
        }
        for name in names
    }


def _quantity(value: Any, unit: str) -> dict[str, Any]:
    return {"value": _float(value), "unit": unit, "expanded_uncertainty": None}


def _float(value: Any) -> float | None:
    return None if value is None else float(value)


def plot_series(recording: Recording, width: int = 600, *, weak: Sequence[int] = ()) -> dict[str, Any]:
    """Plots of a recording at a width in points: string voltage, current, the fan of the cells, and their spread.

    Each bucket of time gives its lowest and highest value in the order in which they came, so that no extreme is lost.
    Buckets are as many as the width asks for, and fewer when the JSON would grow beyond 300 kB.
    """
    names = [name for name in recording.frame.columns if name not in ("row", "seconds")]
    buckets = max(min(width // 2, LARGEST_PLOT // (14 * (len(names) + 2)), recording.frame.height // 2), 1)
    while True:
        plots = {"plots": _plots(recording, names, buckets, weak), "buckets": buckets}
        if len(json.dumps(plots)) < LARGEST_PLOT or buckets == 1:
            return plots
        buckets = max(buckets * 4 // 5, 1)


def _plots(recording: Recording, names: Sequence[str], buckets: int, weak: Sequence[int]) -> list[dict[str, Any]]:
    import polars

    cells = [polars.col(name) for name in recording.cells]
    frame = recording.frame.drop("row")
    if len(cells) > 1:
        frame = frame.with_columns((polars.max_horizontal(cells) - polars.min_horizontal(cells)).alias("spread"))
    times, values = _reduce(frame, buckets)
    groups = (
        ("String voltage", "V", ["voltage"]),
        ("Current", "A", ["current"]),
        ("Cells", "V", list(recording.cells)),
        ("Spread of the cells", "V", ["spread"]),
        ("Temperature", "°C", list(recording.temperatures)),
    )
    marked = {f"cell_{place}" for place in weak}
    labels = {"voltage": "string", "spread": "highest less lowest", **recording.labels}
    return [
        {
            "title": title, "unit": unit, "times": times, "time_unit": "min",
            "series": [{"name": labels.get(one, one), "values": values[one], "weak": one in marked} for one in present],
            "levels": [],
        }
        for title, unit, wanted in groups
        if (present := [one for one in wanted if one in values])
    ]  # fmt: skip


def _reduce(frame: Any, buckets: int) -> tuple[list[float], dict[str, list[float | None]]]:
    """Two values of each column for each bucket of equal time: its lowest and its highest, the earlier one first."""
    import polars

    start, span = frame["seconds"][0], frame["seconds"][-1] - frame["seconds"][0]
    place = (
        ((polars.col("seconds") - start) / max(span, 1e-9) * buckets).floor().clip(0, buckets - 1).cast(polars.Int32)
    )
    names = [name for name in frame.columns if name != "seconds"]
    reduced = (
        frame.with_columns(place.alias("bucket")).group_by("bucket", maintain_order=True)
        .agg(polars.col("seconds").first().alias("first"), polars.col("seconds").last().alias("last"), *_ends(names))
    )  # fmt: skip
    first, last = (reduced[one].to_list() for one in ("first", "last"))
    times = [round(one / 60, 3) for pair in zip(first, last, strict=True) for one in pair]
    return times, {name: _woven(reduced, name) for name in names}


def _ends(names: Sequence[str]) -> list[Any]:
    import polars

    ends = []
    for name in names:
        column = polars.col(name)
        rising = column.arg_min() <= column.arg_max()
        ends.append(polars.when(rising).then(column.min()).otherwise(column.max()).alias(f"{name} a"))
        ends.append(polars.when(rising).then(column.max()).otherwise(column.min()).alias(f"{name} b"))
    return ends


def _woven(reduced: Any, name: str) -> list[float | None]:
    pairs = zip(reduced[f"{name} a"].to_list(), reduced[f"{name} b"].to_list(), strict=True)
    digits = 4 if name.startswith("cell_") or name == "spread" else 3
    return [None if one is None else round(one, digits) for pair in pairs for one in pair]
