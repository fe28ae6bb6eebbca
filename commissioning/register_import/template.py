"""The workbook to fill in: headings, drop-downs with the allowed values, help on each cell, and a sheet of notes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import IO, Any

from openpyxl import Workbook as XlsxWorkbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Alignment, Font
from openpyxl.utils import get_column_letter, quote_sheetname
from openpyxl.worksheet.datavalidation import DataValidation

from .columns import Column, Kind
from .export import SheetWriter, text_cell
from .keepers import Keeper
from .register_sheets import keepers
from .sheet import Sheet

NOTES, LISTS = "Notes", "Lists"
#: Drop-downs and help reach down to this row.
_LAST_ROW = 20001
_PROMPT = 250
_HOW = (
    "Fill in the sheets that you need; leave the others empty or delete them. Columns may be left out or moved.",
    "Headings with a star are needed for a new row. What can be told apart by its key is found again and changed.",
    "An empty cell leaves what is recorded alone. The word (none) empties it. A row that is missing deletes nothing.",
    "Format tags and serial numbers as text, so that the spreadsheet does not turn them into dates or numbers.",
    "Numbers may carry their unit (480 mV) and a decimal comma. Dates are written year-month-day: 2026-03-01.",
    "The dry run shows what would be added, changed and left alone before anything is written.",
    "This workbook records no isolation: a supply point that it adds is not recorded - treat as LIVE.",
)


def make_template(out: IO[bytes]) -> None:
    """Write an empty register workbook to `out`."""
    book = XlsxWorkbook(write_only=True)
    every = keepers()
    _notes(book, every)
    lists = _Lists(every)
    writer = SheetWriter(book)
    for keeper in every:
        tab = writer.open(keeper.sheet)
        for validation in _validations(keeper.sheet, lists, every):
            tab.data_validations.append(validation)
    lists.write(book)
    book.save(out)


def _notes(book: XlsxWorkbook, every: Iterable[Keeper]) -> None:
    tab = book.create_sheet(NOTES)
    tab.freeze_panes = "A2"
    for letter, width in zip("ABCDEF", (20, 26, 10, 14, 60, 60), strict=True):
        tab.column_dimensions[letter].width = width
    tab.append([_bold(tab, words) for words in ("sheet", "column", "needed", "holds", "help", "allowed values")])
    for words in _HOW:
        tab.append([None, None, None, None, _wrapped(tab, words)])
    for keeper in every:
        sheet = keeper.sheet
        tab.append([_bold(tab, sheet.title), None, None, None, _wrapped(tab, sheet.help)])
        for column in sheet.columns:
            tab.append(_note(tab, sheet, column))


def _note(tab: Any, sheet: Sheet, column: Column) -> list[Any]:
    holds = f"{column.kind}, {column.unit}" if column.unit else str(column.kind)
    example = f" Example: {column.example}." if column.example else ""
    allowed = "; ".join(label for _, label in column.choices) or _range_words(column)
    needed = "yes" if column.required else ""
    return [sheet.title, column.heading, needed, holds, _wrapped(tab, column.help + example), _wrapped(tab, allowed)]


def _range_words(column: Column) -> str:
    if column.lower is None or column.upper is None:
        return ""
    return f"{column.lower:g} to {column.upper:g} {column.unit}".strip()


def _bold(tab: Any, words: str) -> WriteOnlyCell:
    cell = WriteOnlyCell(tab, words)
    cell.font = Font(bold=True)
    return cell


def _wrapped(tab: Any, words: str) -> Any:
    if not words or not isinstance(text_cell(tab, words), str):
        return text_cell(tab, words) if words else None
    cell = WriteOnlyCell(tab, words)
    cell.alignment = Alignment(wrap_text=True, vertical="top")
    return cell


class _Lists:
    """A sheet with one list of allowed values in each column; labels with commas cannot stand in a rule itself."""

    def __init__(self, every: Iterable[Keeper]) -> None:
        columns = (column for keeper in every for column in keeper.sheet.columns)
        self.lists = list(dict.fromkeys(column.choices for column in columns if column.choices))

    def reference(self, choices: tuple[tuple[str, str], ...]) -> str:
        letter = get_column_letter(self.lists.index(choices) + 1)
        return f"{LISTS}!${letter}$1:${letter}${len(choices)}"

    def write(self, book: XlsxWorkbook) -> None:
        tab = book.create_sheet(LISTS)
        tab.sheet_state = "hidden"
        for at in range(max(map(len, self.lists), default=0)):
            tab.append([text_cell(tab, choices[at][1]) if at < len(choices) else None for choices in self.lists])


def _validations(sheet: Sheet, lists: _Lists, every: Iterable[Keeper]) -> Iterable[DataValidation]:
    titles = {keeper.sheet.name: keeper.sheet.title for keeper in every}
    for at, column in enumerate(sheet.columns, start=1):
        rule = _rule(column, lists, titles)
        rule.promptTitle, rule.prompt = column.heading[:32], _prompt(column)
        rule.showInputMessage = bool(rule.prompt)
        letter = get_column_letter(at)
        rule.add(f"{letter}2:{letter}{_LAST_ROW}")
        yield rule


def _rule(column: Column, lists: _Lists, titles: dict[str, str]) -> DataValidation:
    if column.choices:
        rule = DataValidation("list", formula1=lists.reference(column.choices), allow_blank=True)
        rule.errorTitle, rule.error = "Not one of the allowed values", "Choose one from the list."
        rule.showErrorMessage, rule.errorStyle = True, "stop"
    elif column.refers_to:
        first = f"{quote_sheetname(titles[column.refers_to])}!$A$2:$A${_LAST_ROW}"
        rule = DataValidation("list", formula1=first, allow_blank=True, showErrorMessage=False)
    else:
        rule = DataValidation(None, allow_blank=True, showErrorMessage=False)
    return rule


def _prompt(column: Column) -> str:
    more = f" {_range_words(column)}." if column.kind in (Kind.NUMBER, Kind.WHOLE) and _range_words(column) else ""
    return (column.help + more)[:_PROMPT]
