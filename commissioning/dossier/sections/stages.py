"""A system's first page, its stage certificates, check records and concessions."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from commissioning.dossier.page import BOLD, DARK, MID, MONO, REGULAR, SMALL, TEXT, Sheet
from commissioning.dossier.sections.marks import draw
from commissioning.dossier.sections.words import POINTS, RESULTS, person, when
from commissioning.dossier.tables import Column, Row, table
from commissioning.drawings.stage_strip import STATES, stage_strip


def system_head(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """What the system is, where it stands, and its recorded supply state."""
    sheet.heading(0, f"{data['tag']}  {data['name']}", anchor=f"system:{data['id']}", tag=data["tag"])
    for label, key in (("Site", "site"), ("Kind of system", "kind"), ("Times are in", "time_zone")):
        sheet.pair(label, data.get(key, ""))
    sheet.pair("Supply state", data.get("supply_state", "not recorded - treat as LIVE"), style=BOLD)
    if data.get("supply_caution"):
        sheet.pair("", data["supply_caution"])
    if data.get("strip"):
        sheet.ensure(44)
        sheet.y -= 8
        drawing = stage_strip([(s["name"], s["state"]) for s in data["strip"]], width=sheet.box.width)
        draw(sheet, drawing, sheet.box.left, sheet.y)
        sheet.y -= drawing.height + 8
    sheet.heading(1, "Nameplate and equipment", listed=False)
    for item in data.get("nameplate", []):
        sheet.pair(item["label"], item["value"])
    columns = (Column("Tag", 2.2, style=MONO), Column("Equipment", 4), Column("Serial number", 2, style=MONO))
    rows = (Row((e["tag"], e["name"], e.get("serial", "")), tag=e["tag"]) for e in data.get("equipment", []))
    table(sheet, columns, rows, empty="No equipment with a tag of its own is recorded.")


def certificates(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """One certificate a stage: who accepted it, in what role, when, and the hash of what was signed."""
    sheet.heading(1, "Stage certificates", anchor=f"certificates:{data['id']}")
    if not data["stages"]:
        sheet.nothing("No stage is planned for this system.")
    for stage in data["stages"]:
        keep = 95 if stage.get("acceptances") else 40
        sheet.heading(2, f"{stage['name']}: {STATES[stage['state']][0]}", listed=False, keep=keep)
        if stage.get("statement"):
            sheet.paragraph(stage["statement"])
        for acceptance in stage.get("acceptances", []):
            _acceptance(sheet, acceptance)
        if not stage.get("acceptances"):
            sheet.nothing("Not accepted: no acceptance is recorded.")


def _acceptance(sheet: Sheet, acceptance: Mapping[str, Any]) -> None:
    sheet.ensure(46)
    sheet.pair("Accepted by", person(acceptance), style=BOLD)
    sheet.pair("At", when(acceptance["at"]))
    sheet.pair("SHA-256 of what was signed", acceptance["hash"], style=MONO)
    if acceptance.get("withdrawn_at"):
        text = f"{when(acceptance['withdrawn_at'])} by {acceptance['withdrawn_by']}: {acceptance['withdrawn_reason']}"
        sheet.pair("WITHDRAWN", text, style=BOLD)
    sheet.y -= 5


def check_records(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """Every check line with its result, who and when, a stage at a time."""
    sheet.heading(1, "Check records", anchor=f"checks:{data['id']}")
    columns = (
        Column("No.", 0.6, "right"),
        Column("Check", 1.5, style=MONO),
        Column("What was done", 5.2),
        Column("Point", 0.8),
        Column("Result", 1.2),
        Column("By, at", 2.6),
        Column("Note", 3.2),
    )
    for stage in data["stages"]:
        sheet.heading(2, stage["name"], listed=False)
        table(sheet, columns, _check_rows(stage["check_records"]), empty="No check line is planned in this stage.")
    if not data["stages"]:
        sheet.nothing("No stage is planned for this system.")


def _check_rows(records: list[Mapping[str, Any]]) -> Iterator[Row]:
    for record in records:
        result = RESULTS[record["result"]]
        done = "\n".join(filter(None, (person(record.get("by")), when(record.get("at")))))
        yield Row(
            (
                record["order"], record["key"], _titled(record), POINTS[record.get("point", "")], result, done,
                _note(record),
            ),
            anchor=f"check:{record['ref']}",
            tag=record.get("tag", ""),
            strong=record["result"] in {"failed", "not_done"},
        )  # fmt: skip


def _titled(record: Mapping[str, Any]) -> str:
    return f"{record['tag']}: {record['title']}" if record.get("tag") else str(record["title"])


def _note(record: Mapping[str, Any]) -> str:
    parts = [record.get("reason", "")]
    for witness in record.get("witnesses", []):
        parts.append(f"Witnessed: {person(witness)}, {when(witness['at'])}.")
    if notice := record.get("notice"):
        parts.append(f"Notice given {when(notice['given_at'])} for {when(notice['for_at'])}.")
    if proof := record.get("proof_of_dead"):
        parts.append(
            f"Proved dead at the point of work by {proof['by']}, {when(proof['at'])}, detector {proof['detector']}"
            f" proved before and after."
        )
    if count := record.get("reading_count"):
        parts.append(f"{count} reading{'s' if count != 1 else ''}.")
    return " ".join(filter(None, parts))


def concessions(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """What does not meet its limit and was accepted all the same, with reason and signature."""
    sheet.heading(1, "Concessions", anchor=f"concessions:{data['id']}")
    columns = (
        Column("No.", 1.2, style=MONO), Column("Stage", 1.8), Column("What is conceded", 4), Column("Reason", 4),
        Column("Granted by, at", 2.6), Column("SHA-256", 2.4, style=MONO),
    )  # fmt: skip
    rows = (
        Row((c["ref"], c["stage"], c["what"], c["reason"], f"{person(c)}\n{when(c['at'])}", c.get("hash", "")))
        for c in data["rows"]
    )
    table(sheet, columns, rows, empty="No concession was granted.")


__all__ = ["DARK", "MID", "REGULAR", "SMALL", "TEXT", "certificates", "check_records", "concessions", "system_head"]
