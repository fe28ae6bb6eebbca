"""One column of a sheet, and how a cell of it is read: what was typed goes in, a value or a sentence comes out."""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from difflib import get_close_matches
from enum import StrEnum
from functools import cached_property
from typing import Any

from calcs.errors import InputError
from calcs.units import parse

#: Typed into a cell, it empties what is recorded. An empty cell leaves what is recorded alone.
NONE_WORD = "(none)"
#: What a spreadsheet shows in place of a value that it could not work out.
ERROR_VALUES = frozenset({"#REF!", "#N/A", "#VALUE!", "#NAME?", "#DIV/0!", "#NUM!", "#NULL!", "#SPILL!", "#CALC!"})
#: The most characters that a spreadsheet keeps in one cell.
CELL_CHARACTERS = 32767
_ILLEGAL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
_EXACT_DIGITS = 10**15


class Kind(StrEnum):
    TEXT = "text"
    LONG_TEXT = "long text"
    NUMBER = "number"
    WHOLE = "whole number"
    DATE = "date"
    CHOICE = "choice"
    TAGS = "tags"


class BadCell(Exception):
    """A cell that cannot be read: what is wrong with it and what would be right."""

    def __init__(self, wrong: str, right: str) -> None:
        super().__init__(f"{wrong}; {right}")
        self.wrong, self.right = wrong, right


@dataclass(frozen=True)
class Column:
    """A column: its name in code, its heading on the sheet, and what may stand in it.

    One that is `only_new` tells of a new row; what is recorded already keeps its own.
    """

    name: str
    heading: str
    kind: Kind = Kind.TEXT
    help: str = ""
    required: bool = False
    refers_to: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    unit: str = ""
    lower: float | None = None
    upper: float | None = None
    max_length: int = 200
    default: Any = None
    example: str = ""
    also: tuple[str, ...] = ()
    only_new: bool = False
    check: Callable[[Any], str | None] | None = field(default=None, compare=False)

    @property
    def title(self) -> str:
        """The heading as it is written on the sheet: with its unit, and a star where a new row needs it."""
        return self.heading + (f" [{self.unit}]" if self.unit else "") + (" *" if self.required else "")

    @cached_property
    def known_as(self) -> frozenset[str]:
        return frozenset(plain(word) for word in (self.heading, self.name.rpartition(".")[2], *self.also))

    @cached_property
    def labels(self) -> Mapping[str, str]:
        return dict(self.choices)

    @cached_property
    def _choice_words(self) -> Mapping[str, str]:
        return {plain(word): value for value, label in self.choices for word in (value, label)}

    def read(self, raw: Any) -> Any:
        """The value of a cell that is not empty. Raises `BadCell`."""
        value = _READERS[self.kind](self, raw)
        if self.check and value not in (None, "") and (wrong := self.check(value)):
            raise BadCell(wrong, self.help)
        return value

    def normal(self, value: Any) -> Any:
        """A recorded value in the form that `read` gives, so that the two compare."""
        if value is None or value == "" or value == []:
            return None
        if self.kind in (Kind.TEXT, Kind.LONG_TEXT):
            return tidy(str(value), lines=self.kind is Kind.LONG_TEXT) or None
        if self.kind is Kind.TAGS:
            return tuple(tidy(str(tag)) for tag in value)
        return exact(value) if self.kind is Kind.NUMBER else value

    def show(self, value: Any) -> str:
        """A value in words, as a dry run shows it."""
        if value is None or value == ():
            return "(empty)"
        if self.kind is Kind.CHOICE:
            return self.labels.get(value, str(value))
        if self.kind is Kind.TAGS:
            return "; ".join(value)
        return f"{value} {self.unit}".strip() if self.kind in (Kind.NUMBER, Kind.WHOLE) else str(value)


def plain(text: str) -> str:
    """A heading, sheet name or allowed value without capitals, units in brackets, stars and punctuation."""
    text = re.sub(r"[\[(].*?[\])]|\*", " ", text.casefold())
    return " ".join(re.split(r"[\s_\-/.,:]+", text)).strip()


def tidy(text: str, *, lines: bool = False) -> str:
    """Text without control characters and stray spaces; only long text keeps its line breaks."""
    text = _ILLEGAL.sub("", unicodedata.normalize("NFC", text))
    if not lines:
        return " ".join(text.split())
    return "\n".join(text.replace("\r\n", "\n").replace("\r", "\n").split("\n")).strip()


def without_control_characters(text: str) -> str:
    """Text without what no spreadsheet can hold; tabs and line ends stay."""
    return _ILLEGAL.sub("", text)


def is_empty(raw: Any) -> bool:
    return raw is None or (isinstance(raw, str) and not raw.strip())


def _text(column: Column, raw: Any) -> str:
    if isinstance(raw, (datetime, date, time, timedelta)):
        wrong = f"the spreadsheet has turned it into a date ({raw})"
        raise BadCell(wrong, "format the cell as text and type it again")
    if isinstance(raw, (int, float)) and not isinstance(raw, bool):
        raw = _number_as_text(raw)
    text = tidy(str(raw), lines=column.kind is Kind.LONG_TEXT)
    if len(text) > column.max_length:
        raise BadCell(f"it has {len(text)} characters", f"shorten it to {column.max_length}")
    return text


def _number_as_text(raw: float) -> str:
    """A serial number or tag of digits only, which the spreadsheet keeps as a number."""
    if abs(raw) >= _EXACT_DIGITS:
        wrong = "the spreadsheet keeps only the first 15 digits of a number"
        raise BadCell(wrong, "format the cell as text and type it again")
    return str(int(raw)) if float(raw).is_integer() else repr(raw)


def _number(column: Column, raw: Any) -> float:
    if isinstance(raw, (bool, datetime, date, time, timedelta)):
        raise BadCell(f"'{raw}' is not a number", _wanted(column))
    try:
        value = parse(raw, column.unit, name=column.heading).value
    except InputError as error:
        wrong, _, right = str(error).partition("; ")
        raise BadCell(wrong.removeprefix(f"{column.heading}: "), right or _wanted(column)) from None
    if not math.isfinite(value) or not _inside(column, value):
        raise BadCell(f"{raw} is outside what is plausible", _wanted(column))
    return exact(value)


def exact(value: float) -> float:
    """A number to the 15 digits that every spreadsheet keeps, and whole numbers as such."""
    if float(value).is_integer() and abs(value) < _EXACT_DIGITS:
        return int(value)
    return float(f"{value:.15g}")


def _inside(column: Column, value: float) -> bool:
    return (column.lower is None or value >= column.lower) and (column.upper is None or value <= column.upper)


def _wanted(column: Column) -> str:
    what = "a whole number" if column.kind is Kind.WHOLE else "a number"
    unit = f" {column.unit}" if column.unit else ""
    if column.lower is not None and column.upper is not None:
        return f"give {what} from {column.lower:g} to {column.upper:g}{unit}"
    if column.lower is not None:
        return f"give {what} of at least {column.lower:g}{unit}"
    return f"give {what}{f' in{unit}' if unit else ''}"


def _whole(column: Column, raw: Any) -> int:
    value = _number(column, raw)
    if not isinstance(value, int):
        raise BadCell(f"{raw} is not a whole number", _wanted(column))
    return value


def _date(column: Column, raw: Any) -> date:
    if isinstance(raw, datetime):
        return raw.date()
    if isinstance(raw, date):
        return raw
    try:
        return date.fromisoformat(str(raw).strip()[:10] if "T" in str(raw) else str(raw).strip())
    except ValueError:
        raise BadCell(f"'{raw}' is not a date", "write it as year-month-day: 2026-03-01") from None


def _choice(column: Column, raw: Any) -> str:
    typed = tidy(_number_as_text(raw) if isinstance(raw, (int, float)) and not isinstance(raw, bool) else str(raw))
    words = column._choice_words
    if (value := words.get(plain(typed))) is not None:
        return value
    near = get_close_matches(plain(typed), words, n=1)
    guess = f"did you mean '{column.labels[words[near[0]]]}'? " if near else ""
    allowed = ", ".join(f"'{label}'" for _, label in column.choices)
    raise BadCell(f"'{typed}' is not one of the allowed values", f"{guess}Allowed: {allowed}")


def _tags(column: Column, raw: Any) -> tuple[str, ...]:
    tags = tuple(dict.fromkeys(tag for part in _text(column, raw).split(";") if (tag := part.strip())))
    if long := next((tag for tag in tags if len(tag) > 60), None):
        raise BadCell(f"the tag '{long}' has {len(long)} characters", "shorten it to 60")
    return tags


_READERS: Mapping[Kind, Callable[[Column, Any], Any]] = {
    Kind.TEXT: _text,
    Kind.LONG_TEXT: _text,
    Kind.NUMBER: _number,
    Kind.WHOLE: _whole,
    Kind.DATE: _date,
    Kind.CHOICE: _choice,
    Kind.TAGS: _tags,
}
