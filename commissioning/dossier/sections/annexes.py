"""Annexes: instruments, sources of calculations, glossary, audit extract, list of attached files."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from commissioning.dossier.page import MONO, Sheet
from commissioning.dossier.sections.words import when
from commissioning.dossier.tables import Column, Row, table

Rows = Sequence[Mapping[str, Any]]


def instruments(sheet: Sheet, rows: Rows) -> None:
    """Instruments used, with their calibration; certificates follow as merged pages."""
    sheet.heading(0, "Annex: instruments and calibration", anchor="annex:instruments")
    columns = (
        Column("Serial number", 1.8, style=MONO), Column("Instrument", 3), Column("Accuracy", 2.6),
        Column("Calibrated", 1.4), Column("Due", 1.4), Column("Certificate", 2.2, style=MONO),
        Column("Used from", 1.4), Column("to", 1.4), Column("In calibration when used", 1.8),
    )  # fmt: skip
    table(sheet, columns, map(_instrument, rows), empty="No instrument is recorded.")


def _instrument(row: Mapping[str, Any]) -> Row:
    pages = row.get("certificates", [])
    number = row.get("certificate_number") or "none given"
    return Row(
        (
            row["serial"], row["name"], row.get("accuracy", ""), row.get("calibrated_on", ""),
            row.get("calibration_due", ""), number if pages else f"{number} (not attached)",
            row.get("used_from", ""), row.get("used_to", ""), "yes" if row.get("in_calibration") else "NO",
        ),
        anchor=f"instrument:{row['serial']}",
        link=f"certificate:{pages[0]['sha256']}" if pages else "",
        strong=not row.get("in_calibration"),
    )  # fmt: skip


def sources(sheet: Sheet, rows: Rows) -> None:
    """Where every calculation used comes from."""
    sheet.heading(0, "Annex: sources of calculations", anchor="annex:sources")
    columns = (
        Column("Calculation", 2.6, style=MONO), Column("Edition", 1, style=MONO), Column("What it says", 4),
        Column("Source", 5), Column("Kind", 1.6),
    )  # fmt: skip
    table_rows = (
        Row((s["calculation"], s["edition"], s.get("title", ""), s["source"], s.get("kind", "")),
            anchor=f"source:{s['calculation']}")
        for s in rows
    )  # fmt: skip
    table(sheet, columns, table_rows, empty="No calculation was used.")


def glossary(sheet: Sheet, rows: Rows) -> None:
    """What the words mean."""
    sheet.heading(0, "Annex: glossary", anchor="annex:glossary", keep=80)
    columns = (Column("Term", 2.4), Column("Meaning", 7), Column("From", 2.6))
    table(
        sheet, columns, (Row((g["term"], g["meaning"], g.get("source", ""))) for g in rows), empty="No term is given."
    )


def audit(sheet: Sheet, extract: Mapping[str, Any]) -> None:
    """The part of the audit chain that concerns this dossier."""
    sheet.heading(0, "Annex: audit extract", anchor="annex:audit", keep=80)
    if extract.get("head_hash"):
        sheet.pair("Head of the chain", extract["head_hash"], style=MONO)
    columns = (
        Column("No.", 0.9, "right"), Column("At", 2.2), Column("By", 2), Column("What was done", 2.2),
        Column("To", 2.6), Column("Hash of the entry", 8, style=MONO),
    )  # fmt: skip
    rows = (
        Row((e["seq"], when(e["at"]), e["by"], e["action"], e.get("object", ""), e["hash"]))
        for e in extract.get("entries", [])
    )
    table(sheet, columns, rows, empty="No audit entry is included.")


def attachments(sheet: Sheet, rows: Rows) -> None:
    """Files that travel inside this document, with their hashes."""
    sheet.heading(0, "Annex: attached files", anchor="annex:attachments", keep=80)
    sheet.paragraph(
        "These files are attached inside this document. manifest.json gives the SHA-256 of every photo and file "
        "that the dossier shows or merges."
    )
    columns = (Column("File", 2, style=MONO), Column("What it is", 4.4), Column("SHA-256", 5.6, style=MONO))
    table(sheet, columns, (Row((a["name"], a["what"], a["sha256"])) for a in rows), empty="No file is attached.")
