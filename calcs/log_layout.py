"""How a logger's file is laid out: text or workbook, delimiter, decimal mark, headings, and where the data begin."""

from __future__ import annotations

import csv
import re
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from calcs.errors import InputError
from calcs.log_columns import number

HEAD_BYTES = 262_144
SAMPLE_ROWS = 40
LARGEST_WORKBOOK = 1_000_000_000
"""A workbook that unpacks to more bytes than this is refused before it is opened."""
_DELIMITERS = ("\t", ";", "|", ",")
_MOMENT = re.compile(r"^\s*[\d./-]*[ T]?\d+:\d{2}(:\d{2})?|^\s*\d{1,4}[-./]\d{1,2}[-./]\d{1,4}")
_MARK = re.compile(r"^\s*(-{1,5}|\*+|nan|n/?a|null|none|err(or)?|ol|overload|open|#+)\s*$", re.I)
_WITH_UNIT = re.compile(r"^\s*[-+]?\d*[.,]?\d+([eE][-+]?\d+)?\s*(mV|V|kV|mA|A|kA|°?C|s|min|h)\s*$")
_UNIT_ROW = re.compile(r"^[\[(]?(mV|V|kV|mA|A|kA|Ah|°C|degC|C|°F|ms|s|sec|min|h|h?h:mm(:ss)?|%|-)?[\])]?$", re.I)


@dataclass(frozen=True)
class Layout:
    """What has to be known to read the data of a file; `sample` holds its first rows as text."""

    workbook: bool
    headings: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]
    first_row: int
    notes: tuple[str, ...] = ()
    delimiter: str = ","
    decimal_comma: bool = False
    encoding: str = "utf-8"
    sheet: str = ""
    as_text: bool = False

    def headings_sha256(self) -> str:
        """A mark of these headings: the same logger set up the same way gives the same mark."""
        return sha256("\x1f".join(self.headings).encode()).hexdigest()


def look_at(path: str | Path) -> Layout:
    """The layout of a CSV, TSV or XLSX file; InputError when it holds no table of readings."""
    path = Path(path)
    with path.open("rb") as file:
        head = file.read(HEAD_BYTES)
    if not head.strip():
        raise InputError("the file is empty", input="recording")
    if head[:4] == b"PK\x03\x04":
        return _workbook(path)
    if head[:4] == b"\xd0\xcf\x11\xe0":
        raise InputError("this is an old workbook (.xls); save it as .xlsx or .csv", input="recording")
    return _text(head)


def decode(head: bytes) -> tuple[str, str]:
    """(text, encoding) of the start of a file: by its mark, else UTF-8, else the Western code page."""
    if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return head[: len(head) // 2 * 2].decode("utf-16", "ignore"), "utf-16"
    try:
        return head.decode("utf-8-sig"), "utf-8"
    except UnicodeDecodeError as error:
        if error.start > len(head) - 4:
            return head[: error.start].decode("utf-8-sig"), "utf-8"
        return head.decode("cp1252", "replace"), "cp1252"


def _text(head: bytes) -> Layout:
    text, encoding = decode(head)
    lines = text.splitlines()
    if len(head) == HEAD_BYTES and len(lines) > 1:
        lines.pop()  # the last line was cut off
    delimiter = _delimiter(lines)
    rows = [_fields(line, delimiter) for line in lines]
    first, headings = _where_data_begin(rows)
    sample = [row for row in rows[first:] if any(row)][:SAMPLE_ROWS]
    plain = [field for row in sample for field in row if field.strip() and not _MOMENT.match(field)]
    commas = any(re.fullmatch(r"-?\d+,\d+", one.strip()) for one in plain)
    points = any(re.fullmatch(r"-?\d+\.\d+", one.strip()) for one in plain)
    decimal_comma = commas and not points
    untidy = any(one != one.strip() or _WITH_UNIT.match(one) for one in plain)
    return Layout(
        workbook=False, headings=headings, sample=tuple(map(tuple, sample)), first_row=first,
        notes=tuple(line for line in lines[:first] if line.strip())[:20], delimiter=delimiter,
        decimal_comma=decimal_comma, encoding=encoding, as_text=untidy or (decimal_comma and delimiter == ","),
    )  # fmt: skip


def _fields(line: str, delimiter: str) -> list[str]:
    if delimiter == " ":
        return line.split()
    return next(csv.reader([line], delimiter=delimiter), [])


def _delimiter(lines: Sequence[str]) -> str:
    """The delimiter that cuts the last lines into the same number of fields; blanks when no other does."""
    tail = [line for line in lines if line.strip()][-60:]
    for mark in (*_DELIMITERS, " "):
        counts = [len(_fields(line, mark)) for line in tail[len(tail) // 3 :]]
        usual = max(set(counts), key=counts.count, default=0)
        if usual >= 2 and counts.count(usual) >= 0.8 * len(counts):
            return mark
    raise InputError("the file holds no table: its lines have no delimiter in common", input="recording")


def _is_reading(field: str) -> bool:
    return number(field) is not None or bool(_MOMENT.match(field) or _MARK.match(field) or _WITH_UNIT.match(field))


def _where_data_begin(rows: Sequence[Sequence[str]]) -> tuple[int, tuple[str, ...]]:
    """(place of the first row of readings, headings); a row of units under the headings is joined to them."""
    widths = [len(row) for row in rows if any(one.strip() for one in row)]
    usual = max(set(widths), key=widths.count, default=0)
    for place, row in enumerate(rows):
        filled = [one for one in row if one.strip()]
        if len(row) >= usual - 1 and len(filled) >= 2 and sum(map(_is_reading, filled)) >= 0.6 * len(filled):
            return place, _headings(rows[:place], len(row), usual)
    raise InputError("the file holds no rows of readings", input="recording")


def _headings(before: Sequence[Sequence[str]], width: int, usual: int) -> tuple[str, ...]:
    heads = [row for row in before if any(one.strip() for one in row)]
    if not heads or len(heads[-1]) < min(width, usual) - 1:
        return tuple(f"column {place + 1}" for place in range(width))
    last = [one.strip() for one in heads[-1]]
    if len(heads) > 1 and len(heads[-2]) >= len(last) - 1 and all(_UNIT_ROW.match(one) for one in last):
        names = [*heads[-2], *[""] * len(last)]
        last = [
            f"{name.strip()} [{unit.strip('[]()')}]" if unit else name.strip()
            for name, unit in zip(names, last, strict=False)
        ]
    return tuple((*last, *[""] * (width - len(last)))[:width])


def open_workbook(path: Path) -> Any:
    """The workbook, unless it unpacks to an absurd size or is none."""
    import fastexcel

    try:
        with zipfile.ZipFile(path) as packed:
            size = sum(one.file_size for one in packed.infolist())
        if size > LARGEST_WORKBOOK:
            raise InputError("the workbook unpacks to more than 1 GB; export it as .csv", input="recording")
        return fastexcel.read_excel(path)
    except (zipfile.BadZipFile, fastexcel.FastExcelError) as error:
        raise InputError(
            "the file looks like a workbook and cannot be opened; export it as .csv", input="recording"
        ) from error


def sheet_as_text(book: Any, sheet: str, skip: int, rows: int | None) -> Any:
    """A sheet of a workbook as a polars frame of text."""
    loaded = book.load_sheet(sheet, header_row=None, skip_rows=skip, n_rows=rows, dtypes="string")
    return loaded.to_polars()


def _workbook(path: Path) -> Layout:
    book = open_workbook(path)
    best, name = None, ""
    for sheet in book.sheet_names:
        head = sheet_as_text(book, sheet, 0, 200)
        if best is None or head.height * head.width > best.height * best.width:
            best, name = head, sheet
    rows = [[one or "" for one in row] for row in best.rows()] if best is not None else []
    first, headings = _where_data_begin(rows)
    sample = [tuple(row) for row in rows[first : first + SAMPLE_ROWS]]
    notes = tuple(" ".join(one for one in row if one) for row in rows[:first])[:20]
    return Layout(True, headings, tuple(sample), first, notes, sheet=name, as_text=True)
