"""Workbooks and CSV files as people send them, made in memory."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from openpyxl import Workbook, load_workbook

Rows = Sequence[Sequence[Any]]

#: A register that is right in every cell, at a second site beside the small world's.
GOOD: Mapping[str, Rows] = {
    "Sites": [["code", "name", "time zone"], ["TTW", "Tarnholt Treatment Works", "Europe/London"]],
    "Systems": [
        ["tag", "site", "name", "kind", "nominal voltage [V]", "cells"],
        ["TTW-DC1", "TTW", "Switchgear supply", "DC power system, NiCd battery", 110, 92],
        ["TTW-LV1", "TTW", "Station board", "LV switchboard", None, None],
    ],
    "Equipment": [
        ["tag", "system", "parent", "kind", "serial number", "maker", "model", "cells", "capacity [Ah]"],
        ["TTW-DC1-BAT1", "TTW-DC1", None, "battery", "NC-40117", "Harrowmere", "HN-100", 92, "100 Ah"],
        ["TTW-DC1-CH1", "TTW-DC1", None, "rectifier or charger", "R-9", "Cobbledick", "C25", None, None],
        ["TTW-DC1-CH1-M1", "TTW-DC1", "TTW-DC1-CH1", "rectifier module", "R-9-1", "Cobbledick", "C25M", None, None],
    ],
    "Stage dependencies": [
        ["system", "stage", "requires system", "requires stage"],
        ["TTW-DC1", "energisation", "TTW-LV1", "energisation"],
    ],
    "Plan dates": [
        ["system", "stage", "planned for"],
        ["TTW-DC1", "mechanical completion", "2026-09-14"],
        ["TTW-LV1", "energisation", "2026-10-02"],
    ],
    "Supply points": [
        ["system", "tag", "kind", "description"],
        ["TTW-DC1", "TTW-DC1-Q1", "incomer", "AC incomer, board LV1 way 6"],
        ["TTW-DC1", "TTW-DC1-F1", "battery", "battery fuse links"],
    ],
    "Signal points": [
        ["system", "tag", "description", "direction", "stage", "equipment", "far end", "order"],
        ["TTW-DC1", "K3", "earth fault", "relay output", "energisation", "TTW-DC1-CH1", "card 4 channel 7", 1],
    ],
    "Instruments": [["serial number", "description"], ["MM-2207", "multimeter"]],
    "Instrument ranges": [
        ["serial number", "unit", "lower", "upper", "of reading [%]", "counts", "resolution"],
        ["MM-2207", "V", None, 400, 0.05, 2, 0.01],
    ],
    "Calibrations": [
        ["serial number", "calibrated on", "due on", "certificate number"],
        ["MM-2207", "2026-03-01", "2027-03-01", "LAB-881"],
    ],
    "Snags": [
        ["reference", "system", "stage", "tag", "category", "text", "owes", "due on"],
        [
            "SN-004",
            "TTW-DC1",
            None,
            "TTW-DC1-BAT1",
            "A",
            "Label missing on fuse F2",
            "Pellwick",
            "2026-05-01",
        ],
        [None, "TTW-LV1", None, None, "C", "Touch up paint on door", None, None],
    ],
}
#: How many rows that register adds.
GOOD_ROWS = sum(len(rows) - 1 for rows in GOOD.values())


def with_rows(base: Mapping[str, Rows] = GOOD, **sheets: Rows) -> dict[str, Rows]:
    """The register with some sheets replaced: `with_rows(Sites=[...])`; underscores stand for spaces."""
    return {**base, **{title.replace("_", " "): rows for title, rows in sheets.items()}}


def xlsx(sheets: Mapping[str, Rows]) -> io.BytesIO:
    book = Workbook(write_only=True)
    for title, rows in sheets.items():
        tab = book.create_sheet(title)
        for row in rows:
            tab.append(row)
    out = io.BytesIO()
    book.save(out)
    out.seek(0)
    return out


def csv_text(rows: Rows, *, delimiter: str = ",") -> str:
    out = io.StringIO()
    csv.writer(out, delimiter=delimiter).writerows(rows)
    return out.getvalue()


def csv_zip(sheets: Mapping[str, Rows], *, delimiter: str = ",", encoding: str = "utf-8") -> io.BytesIO:
    return zipped(
        (f"{title}.csv", csv_text(rows, delimiter=delimiter).encode(encoding)) for title, rows in sheets.items()
    )


def zipped(members: Iterable[tuple[str, bytes]]) -> io.BytesIO:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    out.seek(0)
    return out


def with_member(book: io.BytesIO, name: str, content: bytes) -> io.BytesIO:
    """The archive with one member added or replaced."""
    with zipfile.ZipFile(book) as archive:
        members = [(one, archive.read(one)) for one in archive.namelist() if one != name]
    return zipped([*members, (name, content)])


def cells(book: io.BytesIO) -> dict[str, list[list[Any]]]:
    """Every cell's value by sheet, as a spreadsheet that is not ours reads them."""
    book.seek(0)
    found = load_workbook(book)
    return {tab.title: [list(row) for row in tab.iter_rows(values_only=True)] for tab in found.worksheets}
