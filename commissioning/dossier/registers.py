"""The rows of the registers: what of the content goes to which sheet of the workbook."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from commissioning.dossier.workbook import Workbook

Data = Mapping[str, Any]

CHECKS = ("System", "Stage", "Check", "Order", "Title", "Point", "Result", "Reason", "By", "At")
READINGS = (
    "System", "Stage", "Check", "Reading", "Tag", "What", "Value", "As printed", "Unit", "Expanded uncertainty",
    "Lower limit", "Upper limit", "Verdict", "Probability of conformity", "Instrument", "Taken at", "By",
    "Superseded by", "Calculation", "Edition",
)  # fmt: skip
LISTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "signals": ("Signals", ("ref", "tag", "meaning", "source", "target", "forced", "seen", "restored", "state")),
    "alarms": ("Alarms", ("ref", "tag", "alarm", "seen_at", "by", "state", "ending", "cleared_at")),
    "supplies": ("Supplies", ("tag", "name", "state", "lock_number", "by", "at", "note")),
    "supply_log": ("Supply log", ("at", "supply", "what", "lock_number", "by")),
    "as_left": ("As left", ("tag", "setting", "value", "unit", "specified", "at", "by", "note")),
    "photos": ("Photos", ("ref", "tag", "caption", "taken_at", "by", "sha256")),
}
INSTRUMENTS = (
    "serial", "name", "accuracy", "calibrated_on", "calibration_due", "certificate_number", "used_from", "used_to",
    "in_calibration",
)  # fmt: skip


def start(book: Workbook, content: Data) -> None:
    """Start the sheets that every dossier has, and fill those of the whole dossier."""
    book.sheet("Check records", CHECKS)
    book.sheet("Readings", READINGS)
    for title, keys in LISTS.values():
        book.sheet(title, ("System", *map(_title, keys)))
    book.sheet("Instruments", tuple(map(_title, INSTRUMENTS)))
    book.rows("Instruments", ([row.get(key) for key in INSTRUMENTS] for row in content.get("instruments", [])))


def add_system(book: Workbook, system: Data) -> None:
    """Add the rows of one system."""
    tag = system["tag"]
    book.rows("Check records", _checks(system))
    book.rows("Readings", _readings(system))
    for key, (title, keys) in LISTS.items():
        book.rows(title, ([tag, *(_plain(row.get(k)) for k in keys)] for row in system.get(key, [])))
    for name in sorted(system.get("sections", {})):
        _provided(book, tag, system["sections"][name])


def _plain(value: Any) -> Any:
    """A deed as one cell: what, when, who."""
    return f"{value['what']}; {value['at']}; {value['by']}" if isinstance(value, Mapping) else value


def _title(key: str) -> str:
    return key.replace("_", " ").capitalize()


def _checks(system: Data) -> Iterator[list[Any]]:
    for stage in system.get("stages", []):
        for record in stage.get("check_records", []):
            by = (record.get("by") or {}).get("name")
            yield [
                system["tag"], stage["name"], record["key"], record["order"], record["title"], record.get("point"),
                record["result"], record.get("reason"), by, record.get("at"),
            ]  # fmt: skip


def _readings(system: Data) -> Iterator[list[Any]]:
    for stage in system.get("stages", []):
        for record in stage.get("check_records", []):
            for reading in record.get("readings", []):
                bounds = reading.get("limits") or {}
                yield [
                    system["tag"], stage["name"], record["key"], reading["ref"], reading.get("tag"), reading["label"],
                    reading.get("value"), reading.get("text"), reading.get("unit"), reading.get("expanded_uncertainty"),
                    bounds.get("lower"), bounds.get("upper"), reading.get("verdict"),
                    reading.get("conformity_probability"), reading.get("instrument"), reading["taken_at"],
                    reading["by"], (reading.get("superseded") or {}).get("by_ref"), reading.get("calculation"),
                    reading.get("edition"),
                ]  # fmt: skip


def _provided(book: Workbook, tag: str, section: Data) -> None:
    columns = section["columns"]
    book.sheet(section["title"][:31], ("System", "List", *(column["title"] for column in columns)))
    for group in section["groups"]:
        rows = ([tag, group["title"], *(row.get(c["key"]) for c in columns)] for row in group["rows"])
        book.rows(section["title"][:31], rows)
