"""CSV as it comes: UTF-8, UTF-16 or Windows text; comma, semicolon, tab or bar between the cells."""

from __future__ import annotations

import codecs
import csv
import io
from collections.abc import Callable, Iterator
from typing import IO

from .archives import Unreadable
from .columns import plain

DELIMITERS = (",", ";", "\t", "|")
_CHUNK = 1 << 16
_FIELD_CHARACTERS = 131072


def encoding_of(open_file: Callable[[], IO[bytes]]) -> str:
    """utf-8-sig, utf-16 when the file's mark says so, else cp1252: a guess that the reader is told of."""
    with open_file() as file:
        first = file.read(_CHUNK)
        if first.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return "utf-16"
        decoder = codecs.getincrementaldecoder("utf-8")()
        try:
            chunk = first
            while chunk:
                decoder.decode(chunk)
                chunk = file.read(_CHUNK)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8-sig"


def delimiter_of(line: str, is_heading: Callable[[str], bool]) -> str:
    """The mark that parts the heading line into the most known headings."""

    def score(mark: str) -> tuple[int, int]:
        cells = next(csv.reader([line], delimiter=mark), [])
        return sum(1 for cell in cells if cell.strip() and is_heading(plain(cell))), len(cells)

    return max(DELIMITERS, key=score)


def rows_of(
    open_file: Callable[[], IO[bytes]], *, encoding: str, is_heading: Callable[[str], bool], name: str
) -> Iterator[tuple[int, list[str]]]:
    """(line number, cells) of each row. Line numbers count as a text editor does."""
    csv.field_size_limit(_FIELD_CHARACTERS)
    with open_file() as file, io.TextIOWrapper(file, encoding, errors="replace", newline="") as text:
        mark, skipped = _delimiter(text, is_heading)
        reader = csv.reader(text, delimiter=mark)
        start = skipped + 1
        try:
            for cells in reader:
                yield start, cells
                start = skipped + reader.line_num + 1
        except csv.Error as error:
            raise Unreadable(f"{name}, line {start}: {error}. Save the file anew as CSV.") from None


def _delimiter(text: io.TextIOWrapper, is_heading: Callable[[str], bool]) -> tuple[str, int]:
    """The delimiter, and how many lines a `sep=` mark takes up."""
    first = text.readline(_FIELD_CHARACTERS)
    mark = first.strip('\r\n "').casefold()
    if mark.startswith("sep=") and len(mark) == 5:
        return mark[4], 1
    while first and not first.strip(" \r\n;,\t|"):
        first = text.readline(_FIELD_CHARACTERS)
    text.seek(0)
    return delimiter_of(first, is_heading), 0
