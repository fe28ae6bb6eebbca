"""The registers as CSV, for reading in a spreadsheet: what the register workbook shows, and the dossiers by number."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from commissioning.models import Dossier, Project
from commissioning.register_import.columns import Kind
from commissioning.register_import.export import FORMULA_STARTS
from commissioning.register_import.register_sheets import keepers
from commissioning.register_import.sheet import Sheet


def registers(project: Project) -> Iterator[tuple[str, Iterator[bytes]]]:
    """Each register by the name of its file, with its lines."""
    for keeper in keepers():
        recorded = keeper.recorded(project=project, access=None)
        rows = (_row(keeper.sheet, one.values) for one in recorded)
        heading = [column.title for column in keeper.sheet.columns]
        yield f"registers/{keeper.sheet.name}.csv", csv_lines(heading, rows)
    yield "documents.csv", csv_lines(["number", "revision", "complete", "pages", "sha256", "file"], _documents(project))


def csv_lines(heading: Sequence[str], rows: Iterable[Sequence[Any]]) -> Iterator[bytes]:
    """Lines of CSV (RFC 4180) in UTF-8 with a mark that spreadsheets know it by."""
    yield b"\xef\xbb\xbf"
    yield _line(heading)
    for row in rows:
        yield _line(row)


def _line(row: Sequence[Any]) -> bytes:
    out = io.StringIO()
    csv.writer(out).writerow([harmless(value) for value in row])
    return out.getvalue().encode()


def harmless(value: Any) -> Any:
    """Text that a spreadsheet could take for a formula is marked as text."""
    if isinstance(value, str) and value.startswith(FORMULA_STARTS):
        return f"'{value}"
    return value


def _row(sheet: Sheet, values: Any) -> list[Any]:
    return [_cell(column, values.get(column.name)) for column in sheet.columns]


def _cell(column: Any, value: Any) -> Any:
    if value is None or value == ():
        return ""
    if column.kind in (Kind.NUMBER, Kind.WHOLE) and isinstance(value, int | float):
        return value
    return column.show(value)


def _documents(project: Project) -> Iterator[list[Any]]:
    for one in Dossier.objects.filter(project=project, built_at__isnull=False).order_by("number", "revision"):
        number = f"{project.code}-D-{one.number:04d}"
        complete = "no" if one.interim else "yes"
        yield [number, one.revision, complete, one.pages, one.pdf_sha256, f"files/{one.pdf.name}"]
