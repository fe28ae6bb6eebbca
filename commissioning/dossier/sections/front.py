"""The first pages: cover, what is missing, revisions and changes, overview of systems."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import segno

from commissioning.dossier.page import (
    BLACK,
    BOLD,
    COVER,
    HEAD,
    LEAD,
    MID,
    MONO,
    REGULAR,
    SMALL,
    TEXT,
    TITLE,
    Sheet,
    wrap,
)
from commissioning.dossier.sections.marks import draw
from commissioning.dossier.sections.words import person, when
from commissioning.dossier.tables import Column, Row, Table, table
from commissioning.drawings.stage_strip import stage_marks

# Where the signature stands on the cover, from the bottom left of the text box; `sign` puts its field there.
SIGNATURE_BOX = (0.0, 4.0, 330.0, 74.0)


def cover(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """Title, scope, revision, the QR code, the latest revisions and the place of the signature."""
    box = sheet.box
    sheet.bookmark(0, "Cover")
    sheet.y = box.top - 40
    sheet.write(box.left, sheet.y, "Handover dossier", REGULAR, HEAD, MID)
    for line in wrap(data["title"], box.width - 110, BOLD, COVER):
        sheet.y -= COVER * 1.2
        sheet.write(box.left, sheet.y, line, BOLD, COVER)
    _qr(sheet, data["url"], box.right - 96, box.top - 130, 96)
    sheet.y = min(sheet.y, box.top - 132) - 14
    state = "INTERIM - not complete; see page 2" if data["interim"] else "complete"
    sheet.pair("State", state, style=BOLD)
    for label, value, style in (
        ("Project", f"{data['project']['code']}  {data['project']['name']}", REGULAR),
        ("Client", data["project"].get("client", ""), REGULAR),
        ("Covers", data["scope"]["words"], REGULAR),
        ("Number", data["number"], MONO),
        ("Revision", data["revision"], BOLD),
        ("Issued", when(data["issued_at"]), REGULAR),
        ("Requested by", person(data["requested_by"]), REGULAR),
        ("SHA-256 of the content", data["content_sha256"], MONO),
    ):
        sheet.pair(label, value, style=style)
    sheet.y -= 8
    sheet.heading(1, "Revisions", listed=False)
    Table(sheet, REVISION_COLUMNS).rows(map(_revision, data["revisions"][-8:]))
    _foot(sheet, data)


REVISION_COLUMNS = (
    Column("Rev.", 0.7, style=BOLD), Column("Issued", 2.4), Column("State", 1.2), Column("By", 2.6), Column("Why", 5),
    Column("SHA-256 of the content", 3, style=MONO),
)  # fmt: skip


def _revision(row: Mapping[str, Any]) -> Row:
    digest = row.get("content_sha256") or "this document"
    return Row((row["revision"], when(row["issued_at"]), row["state"], row["by"], row["reason"], digest))


def _foot(sheet: Sheet, data: Mapping[str, Any]) -> None:
    box = sheet.box
    left, bottom, width, height = SIGNATURE_BOX
    x, y = box.left + left, box.bottom + bottom
    sheet.code.append(f"{MID:g} G 0.5 w {x:.2f} {y:.2f} {width:.2f} {height:.2f} re S")
    sheet.write(x, y + height + 4, "Signature", REGULAR, SMALL, MID)
    words = (
        "This dossier holds what was recorded. It does not say that anything is dead: a record of isolation is not "
        "a proof. Prove dead at the point of work. Local rules, the maker's manual and a competent person come first."
    )
    for number, line in enumerate(wrap(words, box.width - width - 14, REGULAR, SMALL)):
        sheet.write(x + width + 14, y + height - SMALL - number * SMALL * LEAD, line, REGULAR, SMALL)


def _qr(sheet: Sheet, url: str, x: float, y: float, side: float) -> None:
    code = segno.make(url, error="m", micro=False)
    matrix = [bytes(row) for row in code.matrix]
    cell = side / (len(matrix) + 8)
    squares = [
        f"{x + (column + 4) * cell:.3f} {y + side - (line + 5) * cell:.3f} {cell:.3f} {cell:.3f} re"
        for line, row in enumerate(matrix)
        for column, dark in enumerate(row)
        if dark
    ]
    sheet.code.append(f"{BLACK:g} g {' '.join(squares)} f")
    sheet.link(x, y, x + side, y + side, url)


def missing(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """Page 2: what is missing, in words."""
    sheet.fresh()
    sheet.heading(0, "What is missing", anchor="missing")
    rows = data["missing"]
    if not rows:
        sheet.paragraph("Nothing is missing: every planned stage, check record, reading and list is in this dossier.")
        return
    sheet.paragraph(
        f"This dossier is INTERIM. {len(rows)} thing{'s are' if len(rows) != 1 else ' is'} missing before it can be "
        f"issued as complete:",
        BOLD,
    )
    columns = (Column("System", 2, style=MONO), Column("Where", 2.6), Column("What is missing", 8))
    entries = (
        Row((m.get("tag", ""), m["where"], m["text"]), link=f"system:{m['system']}" if m.get("system") else "")
        for m in rows
    )
    Table(sheet, columns, size=TEXT).rows(entries)


def revisions(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """All revisions, and what changed since the one before."""
    sheet.heading(0, "Revisions and changes", anchor="revisions")
    Table(sheet, REVISION_COLUMNS).rows(map(_revision, data["revisions"]))
    previous = data.get("previous")
    if not previous:
        sheet.nothing("This is the first revision: there is nothing to compare it with.")
        return
    sheet.heading(1, f"What changed since revision {previous['revision']}", anchor="changes")
    sheet.pair("Earlier content", f"SHA-256 {previous['content_sha256']}", style=MONO)
    columns = (Column("Where", 4), Column("Change", 1.2), Column("Before", 4), Column("Now", 4))
    rows = (Row((c["where"], c["kind"], c.get("before", ""), c.get("after", ""))) for c in data["changes"])
    table(sheet, columns, rows, empty="Nothing that is printed changed.")


def overview(sheet: Sheet, rows: list[Mapping[str, Any]]) -> None:
    """One line a system: where each stands."""
    sheet.heading(0, "Systems in this dossier", anchor="overview")
    columns = (
        Column("Site", 2.2), Column("System", 1.9, style=MONO), Column("Name", 2.8),
        Column("Stages", 5.2, drawer=_strip),
        Column("Checks", 0.8, "right"), Column("Readings", 0.9, "right"), Column("Photos", 0.8, "right"),
    )  # fmt: skip
    entries = (
        Row((s["site"], s["tag"], f"{s['name']}\n", s["stages"], s["checks"], s["readings"], s["photos"]),
            tag=s["tag"], link=f"system:{s['id']}")
        for s in rows
    )  # fmt: skip
    table(sheet, columns, entries, empty="This dossier holds no system.")


def _strip(sheet: Sheet, x: float, y: float, width: float, stages: list[Mapping[str, Any]]) -> None:
    draw(sheet, stage_marks([(s["short"], s["state"]) for s in stages], width=width), x, y - 2.5)


__all__ = ["SIGNATURE_BOX", "TITLE", "cover", "missing", "overview", "revisions"]
