"""Words that several sections share."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

# Whole minutes are printed without their seconds.
SECONDS = re.compile(r"( \d\d:\d\d):00(Z|[+-]\d\d:\d\d|$)")
THIN = "\u202f"

RESULTS = {
    "passed": "passed",
    "failed": "failed",
    "not_applicable": "not applicable",
    "not_done": "not done",
}
POINTS = {"hold": "hold", "witness": "witness", "review": "review", "": ""}


def when(moment: str | None) -> str:
    """An ISO 8601 moment as it is printed: date and time apart by a space, the zone kept."""
    text = (moment or "").replace("T", " ", 1).removesuffix(".000000")
    text = f"{text[:-6]}Z" if text.endswith("+00:00") else text
    return SECONDS.sub(r"\1\2", text)


def quantity(text: str | None, unit: str | None) -> str:
    """A number with its unit set off by a thin space."""
    if not text:
        return ""
    return f"{text}{THIN}{unit}" if unit else text


def limits(reading: Mapping[str, Any]) -> str:
    """Limits in words: '121.5 … 123.9 V', '≥ 1.0 MΩ', '≤ 5 %' or nothing."""
    bounds, unit = reading.get("limits") or {}, reading.get("unit", "")
    lower, upper = bounds.get("lower_text"), bounds.get("upper_text")
    if lower and upper:
        return quantity(f"{lower} … {upper}", unit)
    if lower:
        return quantity(f"≥ {lower}", unit)
    return quantity(f"≤ {upper}", unit) if upper else ""


def person(entry: Mapping[str, Any] | None) -> str:
    """A name with the role beside it."""
    if not entry:
        return ""
    return f"{entry['name']}, {entry['role']}" if entry.get("role") else str(entry["name"])
