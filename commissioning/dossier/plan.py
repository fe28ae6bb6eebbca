"""Which sections a dossier has, in order, and how they are cut into pieces that start on a page of their own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

Part = tuple[str, Any]

# A piece is closed when it carries about this many rows: big enough to fill pages, small enough to hold in memory.
ROWS_A_PIECE = 220
VERDICTS = ("accept", "reject", "cannot say")


@dataclass(frozen=True)
class Piece:
    """Sections drawn on one run of pages: where they stand in the dossier, and the system named in the header."""

    kind: str
    label: str
    parts: tuple[Part, ...]


def pieces_of_system(system: Mapping[str, Any]) -> Iterator[Piece]:
    """Everything that one system brings: its own sections, then its share of the annex of workings."""
    yield from system_pieces(system)
    yield from working_pieces(system)


def system_pieces(system: Mapping[str, Any]) -> Iterator[Piece]:
    """The pieces of one system, in the order of the dossier."""
    label = f"{system['tag']}  {system['name']}"
    waiting: list[Part] = []
    rows = 0
    for part, weight in system_parts(system):
        if waiting and rows + weight > ROWS_A_PIECE:
            yield Piece("body", label, tuple(waiting))
            waiting, rows = [], 0
        waiting.append(part)
        rows += weight
    yield Piece("body", label, tuple(waiting))


def system_parts(system: Mapping[str, Any]) -> Iterator[tuple[Part, int]]:
    """Parts of a system with the number of rows each brings; a part is a drawer's name and its data."""
    place = {"id": system["id"], "tag": system["tag"]}
    stages = system.get("stages", [])
    bare = {key: system[key] for key in HEAD_KEYS if key in system}
    strip = [{"name": stage["name"], "state": stage["state"]} for stage in stages]
    yield ("system_head", {**bare, "strip": strip}), 20
    yield ("certificates", {**place, "stages": [_certificate(stage) for stage in stages]}), 8 * len(stages)
    records = [record for stage in stages for record in stage.get("check_records", [])]
    yield ("check_records", {**place, "stages": [_checks(stage) for stage in stages]}), len(records)
    readings = [_numbered(record, reading) for record in records for reading in record.get("readings", [])]
    yield ("readings", {**place, "readings": readings}), len(readings)
    for key, drawer in LISTS:
        rows = system.get(key, [])
        yield (drawer, {**place, "rows": rows}), len(rows) * (25 if key == "recordings" else 1)
    concessions = [{**c, "stage": stage["name"]} for stage in stages for c in stage.get("concessions", [])]
    yield ("concessions", {**place, "rows": concessions}), len(concessions)
    for name in sorted(system.get("sections", {})):
        section = system["sections"][name]
        yield ("provided", {**place, **section}), sum(len(group["rows"]) for group in section["groups"])
    photos = system.get("photos", [])
    yield ("photos", {**place, "rows": photos}), len(photos) * 10


HEAD_KEYS = (
    "id", "site", "tag", "name", "kind", "time_zone", "supply_state", "supply_caution", "nameplate", "equipment",
)  # fmt: skip
LISTS = (
    ("recordings", "recordings"),
    ("signals", "signals"),
    ("alarms", "alarms"),
    ("supplies", "supplies"),
    ("supply_log", "supply_log"),
    ("permissions", "permissions"),
    ("as_left", "as_left"),
)


def working_pieces(system: Mapping[str, Any]) -> Iterator[Piece]:
    """The annex with the full working of every reading of a system, cut like the rest."""
    readings = [
        reading
        for stage in system.get("stages", [])
        for record in stage.get("check_records", [])
        for reading in record.get("readings", [])
        if reading.get("working")
    ]
    for start in range(0, len(readings), ROWS_A_PIECE):
        data = {
            "id": system["id"],
            "tag": system["tag"],
            "first": start == 0,
            "readings": readings[start : start + ROWS_A_PIECE],
        }
        yield Piece("working", f"{system['tag']}  {system['name']}", (("working", data),))


#: What the annexes print of the content.
ANNEXED = ("instruments", "sources", "glossary", "audit_extract")


def annex_pieces(content: Mapping[str, Any]) -> Iterator[Piece]:
    """Annexes of the whole dossier; the first is followed by the certificates of its instruments."""
    yield Piece("annex", "Annex: instruments", (("instruments", content.get("instruments", [])),))
    parts: list[Part] = [
        ("sources", content.get("sources", [])),
        ("glossary", content.get("glossary", [])),
        ("audit", content.get("audit_extract", {})),
    ]
    yield Piece("annex", "Annexes", tuple(parts))


def _certificate(stage: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in stage.items() if key != "check_records"}


def _checks(stage: Mapping[str, Any]) -> dict[str, Any]:
    records = [
        {**{k: v for k, v in record.items() if k != "readings"}, "reading_count": len(record.get("readings", []))}
        for record in stage.get("check_records", [])
    ]
    return {"kind": stage["kind"], "name": stage["name"], "check_records": records}


def _numbered(record: Mapping[str, Any], reading: Mapping[str, Any]) -> dict[str, Any]:
    kept = {key: value for key, value in reading.items() if key != "working"}
    return {**kept, "check": record["key"], "has_working": bool(reading.get("working")), **_short(reading)}


def _short(reading: Mapping[str, Any]) -> dict[str, str]:
    """The formula of the last step, for the table; the whole of the working stands in the annex.

    Steps that hold the result against its limit say what the row says beside it.
    """
    steps = [step for step in reading.get("working", []) if not step["result"].startswith(VERDICTS)]
    return {"short": steps[-1]["formula"]} if steps else {}
