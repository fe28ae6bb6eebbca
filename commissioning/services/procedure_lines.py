"""A line of a bundled procedure as the fields of a row."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from commissioning.procedures.loader import (
    LineData,
)

#: Fields of a line that a procedure and a laid-out check line share.
CONTENT_FIELDS = (
    "title",
    "how",
    "accept",
    "action",
    "work",
    "injects_voltage",
    "caution",
    "point",
    "party",
    "required",
    "timer_seconds",
    "calculation",
    "inputs",
    "limits",
)
ORDER_STEP = 10


def line_fields(line: LineData) -> dict[str, Any]:
    """A bundled line as field values of a row."""
    values = {name: getattr(line, name) for name in CONTENT_FIELDS if name not in ("inputs", "limits")}
    values["inputs"] = {source.name: _without_empty(asdict(source), "name") for source in line.inputs}
    values["limits"] = [asdict(limit) for limit in line.limits]
    return values


def _without_empty(values: dict[str, Any], *dropped: str) -> dict[str, Any]:
    empty = ("", None)
    return {key: v for key, v in values.items() if key not in dropped and v not in empty and v is not False}
