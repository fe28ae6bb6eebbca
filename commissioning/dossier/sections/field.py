"""Records of the field: signals, alarms, supplies, permissions, settings, and lists that other rooms provide."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from commissioning.dossier.page import BOLD, MONO, REGULAR, TEXT, Sheet
from commissioning.dossier.sections.words import person, quantity, when
from commissioning.dossier.tables import Column, Row, table

Data = Mapping[str, Any]

SIGNAL_COLUMNS = (
    Column("Signal, tag", 2.2, style=MONO), Column("Meaning", 2.8), Column("From → to", 2.6),
    Column("Forced at, how", 2.8), Column("Seen at the far end", 2.6), Column("Restored", 2.4), Column("Result", 1.2),
)  # fmt: skip


def signals(sheet: Sheet, data: Data) -> None:
    """The signal matrix: each point forced at one end, seen at the other, restored."""
    sheet.heading(1, "Signal matrix", anchor=f"signals:{data['id']}")
    table(sheet, SIGNAL_COLUMNS, map(_signal, data["rows"]), empty="No signal point is recorded.")


def _signal(row: Data) -> Row:
    return Row(
        (
            _tagged(row), row["meaning"], f"{row['source']} → {row['target']}", _deed(row.get("forced"), "not forced"),
            _deed(row.get("seen"), "not seen"), _deed(row.get("restored"), "not restored"), row["state"],
        ),
        tag=row.get("tag", ""),
        strong=row["state"] != "proved",
    )  # fmt: skip


def _tagged(row: Data) -> str:
    """A number with the tag it stands against beneath it."""
    tag = row.get("tag")
    return f"{row['ref']}\n{tag}" if tag and tag != row["ref"] else str(row["ref"])


def _deed(deed: Data | None, undone: str) -> str:
    """What was done, when and by whom, or that it was not."""
    return "\n".join((deed["what"], f"{when(deed['at'])} {deed['by']}")) if deed else undone


def alarms(sheet: Sheet, data: Data) -> None:
    """Alarm sightings and how each ended."""
    sheet.heading(1, "Alarm sightings", anchor=f"alarms:{data['id']}")
    columns = (
        Column("No., tag", 2.2, style=MONO), Column("Alarm", 2.6), Column("Seen at, by", 2.4),
        Column("What it was", 1.4), Column("How it ended", 5), Column("Cleared", 1.8),
    )  # fmt: skip
    rows = (
        Row(
            (_tagged(a), a["alarm"], f"{when(a['seen_at'])}\n{a['by']}", a["state"], a["ending"],
             when(a.get("cleared_at")) or "not seen to clear"),
            tag=a.get("tag", ""),
            strong=a["state"] == "unexplained",
        )
        for a in data["rows"]
    )  # fmt: skip
    table(sheet, columns, rows, empty="No alarm was seen, or none was recorded.")


def supplies(sheet: Sheet, data: Data) -> None:
    """Every way energy gets in, as last recorded."""
    sheet.heading(1, "Supplies", anchor=f"supplies:{data['id']}")
    columns = (
        Column("Supply", 2, style=MONO), Column("What it is", 3.4), Column("Recorded state", 2.4),
        Column("Lock number", 1.4, style=MONO), Column("By, at", 3), Column("Note", 3.4),
    )  # fmt: skip
    rows = (
        Row((s["tag"], s["name"], s["state"], s.get("lock_number", ""),
             f"{s.get('by', '')}\n{when(s.get('at'))}".strip(), s.get("note", "")), tag=s["tag"],
            strong=s["state"].startswith("LIVE"))
        for s in data["rows"]
    )  # fmt: skip
    table(sheet, columns, rows, empty="No supply is recorded - treat as LIVE.")


def supply_log(sheet: Sheet, data: Data) -> None:
    """Isolations and releases in the order they happened."""
    sheet.heading(1, "Supply log", anchor=f"supply-log:{data['id']}")
    columns = (
        Column("At", 2.4), Column("Supply", 2, style=MONO), Column("What was done", 4.6),
        Column("Lock number", 1.4, style=MONO), Column("By", 3),
    )  # fmt: skip
    rows = (Row((when(e["at"]), e["supply"], e["what"], e.get("lock_number", ""), e["by"])) for e in data["rows"])
    table(sheet, columns, rows, empty="No isolation or release is recorded - treat every supply as LIVE.")


def permissions(sheet: Sheet, data: Data) -> None:
    """Permissions to energise: which supplies, from when to when, by whose signature."""
    sheet.heading(1, "Permissions to energise", anchor=f"permissions:{data['id']}")
    columns = (
        Column("No.", 1.3, style=MONO), Column("Supplies", 3.6, style=MONO),
        Column("Valid from", 2), Column("Until", 2),
        Column("Authorised by", 3), Column("How it ended", 3), Column("SHA-256", 2.4, style=MONO),
    )  # fmt: skip
    rows = (
        Row((p["ref"], ", ".join(p["supplies"]), when(p["valid_from"]), when(p["valid_until"]), person(p),
             p.get("ending", ""), p.get("hash", "")))
        for p in data["rows"]
    )  # fmt: skip
    table(sheet, columns, rows, empty="No permission to energise was given.")


def as_left(sheet: Sheet, data: Data) -> None:
    """Settings as they were left."""
    sheet.heading(1, "As-left settings", anchor=f"as-left:{data['id']}")
    columns = (
        Column("Tag", 2, style=MONO), Column("Setting", 4), Column("As left", 1.8, "right"),
        Column("Specified", 1.8, "right"), Column("Read at, by", 3), Column("Note", 3),
    )  # fmt: skip
    rows = (
        Row((s.get("tag", ""), s["setting"], quantity(s["value"], s.get("unit")),
             quantity(s.get("specified"), s.get("unit")), f"{when(s['at'])}\n{s['by']}", s.get("note", "")),
            tag=s.get("tag", ""))
        for s in data["rows"]
    )  # fmt: skip
    table(sheet, columns, rows, empty="No setting is recorded as left.")


KINDS: dict[str, Callable[[Data, str], str]] = {
    "text": lambda row, key: str(row.get(key) or ""),
    "tag": lambda row, key: str(row.get(key) or ""),
    "time": lambda row, key: when(row.get(key)),
    "number": lambda row, key: str(row.get(key) if row.get(key) is not None else ""),
}


def provided(sheet: Sheet, data: Data) -> None:
    """A list that another room of the product put into the content: titled groups of rows under columns it names."""
    sheet.heading(1, data["title"], anchor=f"{data['key']}:{data['id']}")
    if data.get("note"):
        sheet.paragraph(data["note"])
    columns = [
        Column(
            c["title"],
            c["share"],
            "right" if c["kind"] == "number" else "left",
            MONO if c["kind"] == "tag" else REGULAR,
        )
        for c in data["columns"]
    ]
    for group in data["groups"]:
        sheet.heading(2, f"{group['title']} ({len(group['rows'])})", listed=False)
        rows = (_provided_row(data, row) for row in group["rows"])
        table(sheet, columns, rows, empty=group["empty"])


def _provided_row(data: Data, row: Data) -> Row:
    cells = [KINDS[column["kind"]](row, column["key"]) for column in data["columns"]]
    return Row(
        cells, anchor=f"{data['key']}:{row.get('ref', '')}", tag=row.get("tag", ""), strong=bool(row.get("strong"))
    )


__all__ = ["BOLD", "TEXT", "alarms", "as_left", "permissions", "provided", "signals", "supplies", "supply_log"]
