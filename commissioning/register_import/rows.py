"""What was read: rows with their values, problems with their place, notes for the reader."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from .sheet import Key, Sheet


@dataclass(frozen=True, slots=True)
class Problem:
    """A row that cannot be taken: where, what is wrong, and what would be right."""

    sheet: str
    row: int
    column: str
    wrong: str
    right: str

    @property
    def words(self) -> str:
        place = f"{self.sheet}, row {self.row}" if self.row else self.sheet
        return f"{place}{f', {self.column}' if self.column else ''}: {self.wrong}; {self.right}."

    def as_data(self) -> dict[str, Any]:
        return {
            "sheet": self.sheet,
            "row": self.row,
            "column": self.column,
            "wrong": self.wrong,
            "right": self.right,
            "words": self.words,
        }


@dataclass(slots=True)
class Row:
    """One row as it was typed: its values by column name. An empty cell is absent; None empties what is recorded."""

    number: int
    values: dict[str, Any]
    key: Key
    bad: bool = False


@dataclass
class SheetRows:
    sheet: Sheet
    rows: list[Row] = field(default_factory=list)

    @property
    def by_key(self) -> Mapping[Key, Row]:
        return {row.key: row for row in reversed(self.rows)}


@dataclass
class Workbook:
    """Everything that was read from one upload."""

    sheets: dict[str, SheetRows] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    @property
    def row_count(self) -> int:
        return sum(len(sheet.rows) for sheet in self.sheets.values())
