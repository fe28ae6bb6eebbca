"""The register as the same workbook that the import reads: exported and imported again, it changes nothing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date
from typing import IO, Any

from openpyxl import Workbook as XlsxWorkbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.styles.cell_style import StyleArray
from openpyxl.utils import get_column_letter

from commissioning.selectors.access import Access

from .columns import CELL_CHARACTERS, ERROR_VALUES, Column, Kind, without_control_characters
from .reading import Progress, no_progress
from .recorded import Recorded
from .register_sheets import keepers
from .sheet import Sheet

#: A spreadsheet may take text that starts so for a formula.
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_EVERY = 500
#: The style that marks a cell as text typed with a leading quote.
_AS_TEXT = StyleArray()
_AS_TEXT.quotePrefix = 1


def export_register(*, access: Access, out: IO[bytes], progress: Progress = no_progress) -> None:
    """Write what the person may see of the register to `out`, one row at a time."""
    book = XlsxWorkbook(write_only=True)
    writer = SheetWriter(book)
    done = 0
    for keeper in keepers():
        tab = writer.open(keeper.sheet)
        for one in keeper.recorded(project=access.project, access=access):
            if not one.settled:
                tab.append(writer.row(tab, keeper.sheet, one))
                done += 1
                if done % _EVERY == 0:
                    progress(done, 0, f"writing {keeper.sheet.title}")
    book.save(out)


class SheetWriter:
    """Writes headings and rows so that no cell can run as a formula."""

    def __init__(self, book: XlsxWorkbook) -> None:
        self.book = book

    def open(self, sheet: Sheet) -> Any:
        tab = self.book.create_sheet(sheet.title)
        tab.freeze_panes = "B2"
        for at, column in enumerate(sheet.columns, start=1):
            tab.column_dimensions[get_column_letter(at)].width = width_of(column)
        tab.append(self.headings(tab, sheet.columns))
        return tab

    def headings(self, tab: Any, columns: Iterable[Column]) -> Iterator[WriteOnlyCell]:
        for column in columns:
            cell = WriteOnlyCell(tab, column.title)
            cell.font = Font(bold=True)
            yield cell

    def row(self, tab: Any, sheet: Sheet, one: Recorded) -> list[Any]:
        return [self.cell(tab, column, one.values.get(column.name)) for column in sheet.columns]

    def cell(self, tab: Any, column: Column, value: Any) -> Any:
        if value is None or value == ():
            return None
        if column.kind in (Kind.NUMBER, Kind.WHOLE, Kind.DATE) and isinstance(value, (int, float, date)):
            return value
        return text_cell(tab, column.show(value))


def text_cell(tab: Any, text: str) -> Any:
    """Text as text. One that could be taken for a formula is marked as text twice: by its type and by a quote.

    Text longer than a cell holds is left out: an empty cell leaves what is recorded alone, a cut one would cut it.
    """
    if len(text) > CELL_CHARACTERS:
        return None
    if not text.startswith(FORMULA_STARTS) and text not in ERROR_VALUES and text.isprintable():
        return text
    cell = WriteOnlyCell(tab, "")
    cell._value = without_control_characters(text)
    cell.data_type = "s"
    cell._style = StyleArray(_AS_TEXT)
    return cell


def width_of(column: Column) -> int:
    widest = max((len(label) for _, label in column.choices), default=0)
    return max(10, min(46, max(len(column.title) + 2, widest, 40 if column.kind is Kind.LONG_TEXT else 0)))
