"""Tables drawn row by row straight on the sheet: nothing is kept but the row in hand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from commissioning.dossier import fonts
from commissioning.dossier.page import BLACK, BOLD, HAIR, LEAD, MID, MONO, PALE, REGULAR, SMALL, Sheet, wrap

GAP = 5.0
PAD = 2.2
MAX_LINES = 40
SMALLEST = 5.4


@dataclass(frozen=True)
class Column:
    """One column: its head, its share of the width, and how its cells stand."""

    title: str
    share: float
    align: str = "left"  # left | right | decimal
    style: str = REGULAR
    drawer: Callable[[Sheet, float, float, float, Any], None] | None = None


@dataclass(frozen=True)
class Row:
    """Cells in the order of the columns, and what the row is known by to links and the index."""

    cells: Sequence[Any]
    anchor: str = ""
    tag: str = ""
    link: str = ""
    strong: bool = False


class Table:
    """A table in progress on a sheet."""

    def __init__(self, sheet: Sheet, columns: Sequence[Column], *, size: float = SMALL) -> None:
        self.sheet, self.columns, self.size = sheet, columns, size
        total = sum(column.share for column in columns)
        room = sheet.box.width - GAP * (len(columns) - 1)
        self.widths = [room * column.share / total for column in columns]
        starts = [sheet.box.left]
        for width in self.widths:
            starts.append(starts[-1] + width + GAP)
        self.starts = starts[:-1]
        self.drawn = 0

        self.heads = [wrap(c.title, w, BOLD, size) for c, w in zip(self.columns, self.widths, strict=True)]
        self.head_height = max(map(len, self.heads)) * size * LEAD + PAD * 2

    def head(self) -> None:
        """Column heads; drawn again at the top of every page the table reaches."""
        sheet, size, cells, height = self.sheet, self.size, self.heads, self.head_height
        sheet.fill(sheet.box.left - 2, sheet.y - height, sheet.box.width + 4, height, PALE)
        for column, x, width, lines in zip(self.columns, self.starts, self.widths, cells, strict=True):
            for number, line in enumerate(lines):
                y = sheet.y - PAD - size * (1 + LEAD * number)
                if column.align == "left":
                    sheet.write(x, y, line, BOLD, size)
                else:
                    sheet.write_right(x + width, y, line, BOLD, size)
        sheet.y -= height
        sheet.rule(sheet.y, 0.6, BLACK)

    def rows(self, rows: Iterable[Row]) -> int:
        """Draw every row; returns how many."""
        for row in rows:
            self.row(row, opening=not self.drawn)
            self.drawn += 1
        if self.drawn:
            self.sheet.y -= 4
        return self.drawn

    def row(self, row: Row, *, opening: bool = False) -> None:
        """Draw one row, on a new page if it does not fit; a row taller than a page goes on over the next."""
        cells = [self._lines(*item, row.strong) for item in zip(self.columns, self.widths, row.cells, strict=True)]
        tallest = max(len(lines) for lines in cells)
        if opening:
            self.sheet.ensure(3.0 + self.head_height + self._height(min(tallest, MAX_LINES)))
            self.sheet.y -= 0.0 if self.sheet.y == self.sheet.box.top else 3.0
            self.head()
        for start in range(0, tallest, MAX_LINES):
            part = [lines[start : start + MAX_LINES] for lines in cells]
            self._segment(row, part, first=start == 0, last=start + MAX_LINES >= tallest)

    def _height(self, lines: int) -> float:
        return lines * self.size * LEAD + PAD * 2

    def _lines(self, column: Column, width: float, cell: Any, strong: bool) -> Sequence[str]:
        if column.drawer:
            return ("",)
        if column.style == MONO and all(self._shrunk(line, width) for line in str(cell).split("\n")):
            return str(cell).split("\n")
        return wrap(str(cell), width, BOLD if strong and column.style == REGULAR else column.style, self.size)

    def _shrunk(self, text: str, width: float) -> float:
        """Size at which a tag stays in one piece; 0 when it would be too small to read."""
        full = fonts.width(text, MONO, self.size)
        size = self.size if full <= width else self.size * width / full
        return size if size >= SMALLEST else 0.0

    def _segment(self, row: Row, cells: Sequence[Sequence[str]], *, first: bool, last: bool) -> None:
        sheet, size = self.sheet, self.size
        height = self._height(max(len(lines) for lines in cells))
        if sheet.ensure(height):
            self.head()
        if first:
            self._places(row, height)
        base = sheet.y - PAD - size
        for column, x, width, lines, cell in zip(self.columns, self.starts, self.widths, cells, row.cells, strict=True):
            if column.drawer and first:
                column.drawer(sheet, x, sheet.y, width, cell)
            style = BOLD if row.strong and column.style == REGULAR else column.style
            for number, line in enumerate(lines):
                self._cell(column, x, width, base - number * size * LEAD, line, style)
        sheet.y -= height
        if last:
            sheet.rule(sheet.y, 0.3, HAIR)

    def _places(self, row: Row, height: float) -> None:
        sheet = self.sheet
        if row.anchor:
            sheet.row_anchor(row.anchor)
        if row.tag:
            sheet.tag(row.tag)
        if row.link:
            sheet.link(sheet.box.left, sheet.y - height, sheet.box.right, sheet.y, row.link)

    def _cell(self, column: Column, x: float, width: float, y: float, line: str, style: str) -> None:
        sheet, size = self.sheet, self.size
        if column.align == "right":
            sheet.write_right(x + width, y, line, style, size)
        elif column.align == "decimal":
            whole = line.partition(".")[0]
            point = x + width * 0.62
            sheet.write(max(x, point - fonts.width(whole, style, size)), y, line, style, size)
        else:
            fitted = self._shrunk(line, width) if style == MONO else size
            sheet.write(x, y, line, style, fitted or size)


def table(sheet: Sheet, columns: Sequence[Column], rows: Iterable[Row], *, empty: str) -> None:
    """A whole table, or the one line that says why there is none."""
    if not Table(sheet, columns).rows(rows):
        sheet.nothing(empty)


__all__ = ["MID", "Column", "Row", "Table", "table"]
