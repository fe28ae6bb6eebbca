"""File → rows: one workbook, one CSV file, a zip or a folder of CSV files."""

from __future__ import annotations

import io
import logging
import struct
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from difflib import get_close_matches
from functools import partial
from pathlib import Path, PurePosixPath
from typing import IO, Any, cast
from warnings import catch_warnings, simplefilter

from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from . import archives, delimited
from .archives import Unreadable
from .columns import ERROR_VALUES, NONE_WORD, BadCell, Column, is_empty, plain
from .rows import Problem, Row, SheetRows, Workbook
from .sheet import Sheet, sheet_called

Progress = Callable[[int, int, str], None]
Cells = Sequence[Any]
ROW_LIMIT = 200_000
_COLUMN_LIMIT = 300
_HEADING_ROWS = 20
#: Tabs of the template that hold no register.
_OWN_TABS = frozenset({"notes", "lists"})
_EVERY = 500
#: So many rows may reach beyond the columns that a sheet can have; stray formatting does that to a few.
_WIDE_ROWS = 1000
#: What unpacking and the workbook library raise when a file is not what it claims to be; SyntaxError is the XML
#: parser's. Each is logged, so that a mistake of ours does not pass for a damaged file.
_DAMAGED = (
    InvalidFileException,
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    ArithmeticError,
    AttributeError,
    EOFError,
    LookupError,
    OSError,
    RuntimeError,
    SyntaxError,
    TypeError,
    ValueError,
)
log = logging.getLogger(__name__)


def no_progress(done: int, total: int, words: str) -> None:
    """For callers that do not show how far it is."""


class Reader:
    """Reads one upload into a `Workbook`; every bad cell becomes a problem and the reading goes on."""

    def __init__(self, sheets: Iterable[Sheet], progress: Progress = no_progress) -> None:
        self.sheets = tuple(sheets)
        self.progress = progress
        self.workbook = Workbook()
        self.count = self.wide = 0

    def read(self, file: IO[bytes] | Path, name: str) -> Workbook:
        """Read `file`, which may be a folder. Raises `Unreadable` when the file as a whole cannot be taken."""
        if isinstance(file, Path):
            if file.is_dir():
                self._read_folder(file)
                return self._read_something(name)
            with file.open("rb") as stream:
                return self.read(stream, name)
        if PurePosixPath(name).suffix.casefold() in (".xlsm", ".xltm", ".xlsb"):
            raise Unreadable("Workbooks with macros are not taken. Save it as .xlsx.")
        archive = archives.open_zip(file)
        if archive is None:
            self._read_csv(partial(_kept, file), name)
        elif archives.is_workbook(archive):
            self._read_workbook(file)
        else:
            self._read_zip(archive)
        return self._read_something(name)

    def _read_something(self, name: str) -> Workbook:
        if not self.workbook.sheets and not self.workbook.problems:
            titles = ", ".join(sheet.title for sheet in self.sheets)
            raise Unreadable(f"Nothing in {name} is a sheet of the register. Name the sheets or CSV files: {titles}.")
        return self.workbook

    def _read_workbook(self, file: IO[bytes]) -> None:
        file.seek(0)
        with catch_warnings():
            simplefilter("ignore")  # openpyxl warns of validation and styles that it does not keep
            book = load_workbook(file, read_only=True, data_only=True, keep_links=False)
        with closing(book):
            for tab in book.worksheets:
                sheet = self._sheet_for(tab.title)
                if sheet is not None:
                    # The size written in the file may be a lie, and every row would be padded to it.
                    tab.reset_dimensions()
                    self._read_rows(sheet, tab.title, enumerate(tab.iter_rows(values_only=True), start=1))

    def _read_zip(self, archive: zipfile.ZipFile) -> None:
        for member in archives.csv_members(archive):
            self._read_csv(partial(archive.open, member), member.filename)

    def _read_folder(self, folder: Path) -> None:
        for path in sorted(folder.iterdir()):
            if path.is_file() and path.suffix.casefold() in (".csv", ".tsv", ".txt"):
                self._read_csv(partial(_opened, path), path.name)

    def _read_csv(self, open_file: Callable[[], IO[bytes]], name: str) -> None:
        sheet = self._sheet_for(PurePosixPath(name.replace("\\", "/")).stem)
        if sheet is None:
            return
        encoding = delimited.encoding_of(open_file)
        if encoding == "cp1252":
            note = "is not UTF-8 and was read as Windows text (cp1252): check letters with accents and signs such as Ω"
            self.workbook.notes.append(f"{name} {note}.")
        headings = frozenset().union(*(column.known_as for column in sheet.columns))
        rows = delimited.rows_of(open_file, encoding=encoding, is_heading=headings.__contains__, name=name)
        self._read_rows(sheet, name, rows)

    def _sheet_for(self, title: str) -> Sheet | None:
        sheet = sheet_called(title, self.sheets)
        if sheet is None and plain(title) not in _OWN_TABS:
            guess = _guess(title, [one.title for one in self.sheets])
            self.workbook.notes.append(f"The sheet '{title}' is no part of the register and was left out.{guess}")
        if sheet is not None and sheet.name in self.workbook.sheets:
            right = "put all its rows on one sheet"
            self.workbook.problems.append(Problem(sheet.title, 0, "", "the sheet is there twice", right))
            return None
        return sheet

    def _read_rows(self, sheet: Sheet, place: str, rows: Iterator[tuple[int, Cells]]) -> None:
        read = self.workbook.sheets[sheet.name] = SheetRows(sheet)
        columns = self._headings(sheet, place, rows)
        if columns is None:
            return
        for number, cells in rows:
            self._limit_width(place, cells)
            if any(not is_empty(cell) for cell in cells):
                self._count_row(sheet)
                row = self._row(sheet, columns, number, cells)
                if row is not None:
                    read.rows.append(row)

    def _count_row(self, sheet: Sheet) -> None:
        self.count += 1
        if self.count > ROW_LIMIT:
            raise Unreadable(f"The file has more than {ROW_LIMIT} rows. Split it into several files.")
        if self.count % _EVERY == 0:
            self.progress(self.count, 0, f"reading {sheet.title}")

    def _limit_width(self, place: str, cells: Cells) -> None:
        self.wide += len(cells) > _COLUMN_LIMIT
        if self.wide > _WIDE_ROWS:
            raise Unreadable(f"The rows of {place} reach too far to the right. Delete the empty columns there.")

    def _headings(self, sheet: Sheet, place: str, rows: Iterator[tuple[int, Cells]]) -> dict[int, Column] | None:
        """Column by position. The heading row is the first that holds a heading the sheet cannot be without."""
        for number, cells in rows:
            titles = ["" if is_empty(cell) else str(cell) for cell in cells[:_COLUMN_LIMIT]]
            found = {at: sheet.column_for(title) for at, title in enumerate(titles) if title}
            if any(column in sheet.needed for column in found.values()):
                return self._checked_headings(sheet, place, number, titles, found)
            if number >= _HEADING_ROWS:
                break
        needed = ", ".join(column.heading for column in sheet.needed)
        right = f"the first rows must hold the headings; these are needed: {needed}"
        self.workbook.problems.append(Problem(sheet.title, 1, "", "no heading row was found", right))
        return None

    def _checked_headings(
        self, sheet: Sheet, place: str, number: int, titles: list[str], found: dict[int, Column | None]
    ) -> dict[int, Column]:
        columns: dict[int, Column] = {}
        for at, column in found.items():
            if column is None:
                guess = _guess(titles[at], [one.heading for one in sheet.columns])
                self.workbook.notes.append(f"{place}: the column '{titles[at]}' is not known and was left out.{guess}")
            elif column in columns.values():
                self._problem(sheet, number, column, "the heading is there twice", "keep one of the two columns")
            else:
                columns[at] = column
        for column in sheet.needed:
            if column not in columns.values():
                self._problem(sheet, number, column, "the column is missing", f"add it. {column.help}")
        return columns

    def _row(self, sheet: Sheet, columns: dict[int, Column], number: int, cells: Cells) -> Row | None:
        values: dict[str, Any] = {}
        bad = False
        for at, column in columns.items():
            raw = cells[at] if at < len(cells) else None
            if is_empty(raw):
                continue
            try:
                values[column.name] = _value(column, raw)
            except BadCell as error:
                bad = True
                self._problem(sheet, number, column, error.wrong, error.right)
        for column in sheet.columns:
            if column.default is not None and column.name not in values:
                values[column.name] = column.default
        missing = [column for column in sheet.needed if values.get(column.name) is None]
        for column in missing:
            if column in columns.values() and not bad:
                self._problem(sheet, number, column, "the cell is empty", column.help.rstrip("."))
        return None if missing else Row(number, values, sheet.key_of(values), bad)

    def _problem(self, sheet: Sheet, row: int, column: Column, wrong: str, right: str) -> None:
        self.workbook.problems.append(Problem(sheet.title, row, column.heading, wrong, right.rstrip(".")))


def _guess(typed: str, known: Iterable[str]) -> str:
    by_plain = {plain(word): word for word in known}
    near = get_close_matches(plain(typed), by_plain, n=1)
    return f" Did you mean '{by_plain[near[0]]}'?" if near else ""


def _value(column: Column, raw: Any) -> Any:
    if isinstance(raw, str):
        word = raw.strip()
        if word in ERROR_VALUES:
            raise BadCell(f"the spreadsheet could not work it out ({word})", "correct its formula or type the value")
        if word.casefold() == NONE_WORD:
            return None
    return column.normal(column.read(raw))


def _opened(path: Path) -> IO[bytes]:
    return path.open("rb")


def _kept(file: IO[bytes]) -> IO[bytes]:
    """The upload from its start, as a file that may be closed after one pass while the upload stays open."""
    return cast(IO[bytes], _Kept(file))


class _Kept(io.RawIOBase):
    """Reads a file that belongs to somebody else."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        file.seek(0)

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: Any) -> int:
        content = self._file.read(len(buffer))
        buffer[: len(content)] = content
        return len(content)

    def read1(self, size: int = -1) -> bytes:
        return self._file.read(size if size >= 0 else 1 << 16)


def read_upload(
    *, file: IO[bytes] | Path, name: str, sheets: Iterable[Sheet], progress: Progress = no_progress
) -> Workbook:
    """Everything in the upload, with every bad cell reported. Raises `Unreadable` for a file that cannot be taken."""
    try:
        return Reader(sheets, progress).read(file, name)
    except _DAMAGED as error:
        log.warning("The upload %s could not be read.", name, exc_info=True)
        words = f"{name} is damaged and cannot be read to its end. Open it, save it anew and upload that."
        raise Unreadable(words) from error
