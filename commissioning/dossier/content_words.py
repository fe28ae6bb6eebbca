"""Words of the frozen content: moments in the site's zone, states, nameplates. Needs no database."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from commissioning.procedures.nameplate import NAMEPLATE_KEYS

STAGE_ORDER = ("mechanical_completion", "pre_energisation", "energisation", "battery_connected")
SHORT = {
    "mechanical_completion": "Mech.",
    "pre_energisation": "Pre-en.",
    "energisation": "Energ.",
    "battery_connected": "Battery",
}
SUPPLY_WORDS = {
    "released": "LIVE (recorded released)",
    "isolated": "recorded isolated",
    "not_recorded": "not recorded - treat as LIVE",
}
BATTERY_NOTE = "Isolated means links or fuses open; the battery's terminals stay live."


def moment(at: datetime | None, zone: ZoneInfo) -> str:
    """ISO 8601 with its zone, to the second; nothing for nothing."""
    return at.astimezone(zone).isoformat(timespec="seconds") if at else ""


def spoken(at: datetime | None, zone: ZoneInfo) -> str:
    """A moment inside a sentence: to the minute."""
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M}" if at else ""


def sentence(text: str) -> str:
    """One line that ends with a full stop."""
    line = " ".join(text.split())
    return line if not line or line[-1] in ".!?" else f"{line}."


def sentences(*parts: str) -> str:
    return " ".join(sentence(part) for part in parts if part)


def upto(kind: str) -> tuple[str, ...]:
    """Kinds of stage up to this one; empty: all of them."""
    return STAGE_ORDER[: STAGE_ORDER.index(kind) + 1] if kind else STAGE_ORDER


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def value_text(value: Mapping[str, Any]) -> str:
    """A value kept on a check line, as it was typed."""
    return str(value.get("typed", value.get("value", ""))).strip()


def nameplate_row(key: str, value: Any) -> tuple[str, str, str]:
    """What a nameplate value is, its text and its unit."""
    known = NAMEPLATE_KEYS.get(key)
    number = isinstance(value, int | float) and not isinstance(value, bool)
    text = f"{value:.10g}".replace("-", "−") if number else str(value)
    return capital(known.words if known else key.replace("_", " ")), text, known.unit if known else ""
