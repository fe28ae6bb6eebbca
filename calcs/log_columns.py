"""Which column of a logger's file is what: a guess with its confidence and its words, for a person to confirm."""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from calcs.errors import InputError
from calcs.unit_table import unit as find_unit

TIME_KINDS = ("elapsed", "clock", "absolute")
_TIME = re.compile(r"time|elapsed|stamp|duration|clock|zeit|uhr|dauer|heure|hora|^t$|^sec|^min|^h$", re.I)
_DATE = re.compile(r"\bdate\b|datum|fecha|^day$", re.I)
_CURRENT = re.compile(r"curr|amp|strom|courant|^i($|[ _]?(dc|bat|b|load|dis))|load", re.I)
_TEMPERATURE = re.compile(r"temp|°c|ambient|degc", re.I)
_CELL = re.compile(r"(?:cell|zelle|block|mono|jar|unit|element|bloc|cel|ch|c|v|u|z|#|no)?[ _.#-]*0*(\d{1,3})$", re.I)
_CELL_WORD = re.compile(r"cell|zelle|block|mono|jar|element|bloc", re.I)
_STRING = re.compile(r"string|batt|bank|total|bus|pack|term|strang|gesamt|\bdc\b|volt|spannung|tension|^u|^v", re.I)
_COUNTER = re.compile(r"^(no|nr|#|index|record|sample|row|n|lfd|scan|reading)\.?( ?no\.?| ?nr\.?)?$", re.I)
_UNIT = re.compile(r"[\[(]\s*([^\])]{1,8})\s*[\])]\s*$|[ /,_]\s*(mV|V|kV|mA|A|kA|°C|degC|°F|ms|s|sec|min|h|hrs?)\s*$")
_CLOCK = re.compile(r"^\s*(?:\d+\s*d\s*|\d+[. ])?\d+:\d{2}(?::\d{2}(?:[.,]\d+)?)?\s*(?:[ap]m)?\s*$", re.I)
_DATED = re.compile(r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}|\d{1,2}[- ][A-Za-z]{3}[- ]\d{2,4}")
_DIMENSIONS = {"voltage": "V", "current": "A", "temperature": "°C", "time": "s"}


@dataclass(frozen=True)
class ColumnMap:
    """What each column means, by its place in the file (counted from 0), and how sure the guess is (0…1)."""

    time: int
    time_kind: str
    time_unit: str = "s"
    date: int | None = None
    day_first: bool = True
    voltage: int | None = None
    current: int | None = None
    cells: tuple[int, ...] = ()
    temperatures: tuple[int, ...] = ()
    units: Mapping[int, str] = field(default_factory=dict)
    labels: Mapping[int, str] = field(default_factory=dict)
    confidence: float = 1.0
    words: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The map as it is stored; `from_json` reads it again."""
        return asdict(self) | {
            "cells": list(self.cells),
            "temperatures": list(self.temperatures),
            "words": list(self.words),
            "units": {str(key): one for key, one in self.units.items()},
            "labels": {str(key): one for key, one in self.labels.items()},
        }

    @classmethod
    def from_json(cls, stored: Mapping[str, Any]) -> ColumnMap:
        return cls(
            **{
                **stored,
                "cells": tuple(stored.get("cells", ())),
                "temperatures": tuple(stored.get("temperatures", ())),
                "words": tuple(stored.get("words", ())),
                "units": {int(key): one for key, one in stored.get("units", {}).items()},
                "labels": {int(key): one for key, one in stored.get("labels", {}).items()},
            }
        )

    def used(self) -> tuple[int, ...]:
        """Columns that are read, in the order of the file."""
        places = {self.time, self.date, self.voltage, self.current, *self.cells, *self.temperatures}
        return tuple(sorted(one for one in places if one is not None))


def number(text: str) -> float | None:
    """A field as a number, decimal comma or point; None when it is none."""
    text = text.strip().strip('"')
    try:
        return float(text.replace(",", ".") if text.count(",") == 1 and "." not in text else text)
    except ValueError:
        return None


def split_heading(heading: str) -> tuple[str, str]:
    """(name, unit) of a heading such as `Cell 7 [mV]`, `Strom (A)` or `Elapsed, s`; unit empty when none is there."""
    text = heading.strip().strip('"').strip()
    found = _UNIT.search(text)
    if not found:
        return text, text if text in ("V", "mV", "A", "mA", "°C") else ""
    unit = (found[1] or found[2]).strip()
    return text[: found.start()].strip(" ,;:_"), unit


@dataclass
class _Column:
    place: int
    name: str
    unit: str
    values: list[str]

    def numbers(self) -> list[float]:
        return [value for one in self.values if (value := number(one)) is not None]

    def share(self, fits: Callable[[str], Any]) -> float:
        filled = [one for one in self.values if one.strip()]
        return sum(bool(fits(one)) for one in filled) / len(filled) if filled else 0.0

    def measures(self, what: str) -> bool:
        known, wanted = find_unit(self.unit) if self.unit else None, find_unit(_DIMENSIONS[what])
        return known is not None and wanted is not None and known.dimension == wanted.dimension


def guess_columns(headers: Sequence[str], sample: Sequence[Sequence[str]]) -> ColumnMap:
    """What each column probably is, from its heading and some rows of the file; to be confirmed by a person.

    Raises InputError when no column can be the time.
    """
    columns = []
    for place, heading in enumerate(headers):
        name, unit = split_heading(heading)
        columns.append(_Column(place, name, unit, [row[place] if place < len(row) else "" for row in sample]))
    timed = _guess_time(columns)
    taken = {timed.time, timed.date}
    left = [one for one in columns if one.place not in taken and one.numbers() and not _COUNTER.match(one.name)]
    temperatures = [one for one in left if one.measures("temperature") or _TEMPERATURE.search(one.name)]
    left = [one for one in left if one not in temperatures]
    current, current_sure, current_words = _guess_current(left)
    left = [one for one in left if one is not current]
    cells, cells_sure, cells_words = _guess_cells(left)
    left = [one for one in left if one not in cells]
    voltage, voltage_sure, voltage_words = _guess_string(left, cells)
    used = [one for one in (voltage, current, *cells, *temperatures) if one is not None]
    return replace(
        timed,
        voltage=voltage.place if voltage else None,
        current=current.place if current else None,
        cells=tuple(one.place for one in cells),
        temperatures=tuple(one.place for one in temperatures),
        units={one.place: one.unit or _presumed(one, current, temperatures) for one in used},
        labels={one.place: one.name for one in used},
        confidence=round(timed.confidence * min(current_sure, cells_sure, voltage_sure), 2),
        words=(*timed.words, voltage_words, current_words, cells_words, *_temperature_words(temperatures)),
    )


def _presumed(column: _Column, current: _Column | None, temperatures: Sequence[_Column]) -> str:
    if column is current:
        return "A"
    if column in temperatures:
        return "°C"
    values = column.numbers()
    return "mV" if values and sorted(values)[len(values) // 2] > 1500 else "V"


def _guess_time(columns: Sequence[_Column]) -> ColumnMap:
    dated = [one for one in columns if one.share(_DATED.search) > 0.8]
    clocks = [one for one in columns if one.share(_CLOCK.match) > 0.8]
    whole = [one for one in dated if one.share(lambda text: ":" in text) > 0.8]
    if whole:
        return _absolute(whole[0], None)
    if dated and clocks:
        return _absolute(clocks[0], dated[0])
    if clocks:
        return _by_clock(clocks[0])
    named = [one for one in columns if one.numbers() and (_TIME.search(one.name) or one.measures("time"))]
    rising = [one for one in columns if _rises(one.numbers())]
    for one in (*(one for one in named if one in rising), *named, *rising[:1]):
        return _by_number(one, sure=one in named and one in rising)
    words = "no column can be the time: a column of time stamps, or of rising seconds, minutes or hours"
    raise InputError(words, input="recording")


def _absolute(clock: _Column, date: _Column | None) -> ColumnMap:
    texts = (date or clock).values
    day_first, doubt = _day_first(texts)
    words = f"time: column {clock.place + 1} '{clock.name}'" + (
        f" with the date in column {date.place + 1}" if date else ""
    )
    return ColumnMap(
        clock.place, "absolute", "s", date.place if date else None, day_first, confidence=0.8 if doubt else 0.98,
        words=(f"{words}, date and time{doubt}",),
    )  # fmt: skip


_DAY_MONTH = re.compile(r"\s*(\d{1,2})[-./](\d{1,2})[-./]")


def _day_first(texts: Sequence[str]) -> tuple[bool, str]:
    pairs = [(int(found[1]), int(found[2])) for one in texts if (found := _DAY_MONTH.match(one))]
    if not pairs:
        return True, ""
    if any(first > 12 for first, _ in pairs):
        return True, ""
    if any(second > 12 for _, second in pairs):
        return False, ""
    dotted = any("." in one for one in texts[:1])
    return True, "" if dotted else "; day before month is presumed, both would fit"


def _by_clock(column: _Column) -> ColumnMap:
    starts_at_zero = bool(re.match(r"^\s*0*:?0?0:0\d(?::|$)", column.values[0])) if column.values else False
    elapsed = starts_at_zero or bool(re.search(r"elapsed|duration|test time|dauer", column.name, re.I))
    kind = "elapsed" if elapsed else "clock"
    how = "time since the start" if elapsed else "time of day; midnight is carried over"
    return ColumnMap(
        column.place, kind, "s", confidence=0.95, words=(f"time: column {column.place + 1} '{column.name}', {how}",)
    )


def _by_number(column: _Column, sure: bool) -> ColumnMap:
    values = column.numbers()
    unit, certain = column.unit, 0.95 if sure else 0.6
    if not column.measures("time"):
        named = re.search(r"\b(ms|s|sec|seconds?|min|minutes?|h|hrs?|hours?)\b", column.name, re.I)
        unit = named[1].lower() if named else "s"
        certain = certain if named else min(certain, 0.7)
    kind = "elapsed"
    if values and values[0] > 1e11:
        kind, unit, certain = "absolute", "ms", 0.9
    elif values and values[0] > 1e9:
        kind, unit, certain = "absolute", "s", 0.9
    elif values and 30_000 < values[0] < 80_000 and values[-1] - values[0] < 10 and not column.unit:
        kind, unit, certain = "absolute", "d", 0.8  # days as a spreadsheet counts them
    words = f"time: column {column.place + 1} '{column.name}', counted in {unit}"
    words += "" if certain > 0.9 else "; a guess"
    return ColumnMap(column.place, kind, unit, confidence=certain, words=(words,))


def _rises(values: Sequence[float]) -> bool:
    return len(values) >= 2 and all(b >= a for a, b in itertools.pairwise(values)) and values[-1] > values[0]


def _guess_current(columns: Sequence[_Column]) -> tuple[_Column | None, float, str]:
    by_unit = [one for one in columns if one.measures("current")]
    by_name = [one for one in columns if not one.unit and _CURRENT.search(one.name)]
    found = (by_unit or by_name)[:1]
    if not found:
        return None, 0.7, "current: no column; it has to be stated as constant"
    doubt = (
        "" if len(by_unit or by_name) == 1 else f"; {len(by_unit or by_name)} columns would fit, the first was taken"
    )
    return found[0], 0.75 if doubt else 0.97, f"current: column {found[0].place + 1} '{found[0].name}'{doubt}"


def _guess_cells(columns: Sequence[_Column]) -> tuple[list[_Column], float, str]:
    voltages = [one for one in columns if not one.unit or one.measures("voltage")]
    numbered = [one for one in voltages if _CELL.search(one.name)]
    worded = [one for one in numbered if _CELL_WORD.search(one.name)]
    cells = worded if len(worded) >= 2 else numbered
    if len(cells) < 2:
        return [], 0.9, "cells: none"
    counts = [int(found[1]) for one in cells if (found := _CELL.search(one.name))]
    orderly = len(set(counts)) == len(counts)
    words = f"cells: {len(cells)} columns, '{cells[0].name}' to '{cells[-1].name}'"
    return cells, 0.97 if orderly else 0.6, words + ("" if orderly else "; numbers repeat")


def _guess_string(columns: Sequence[_Column], cells: Sequence[_Column]) -> tuple[_Column | None, float, str]:
    by_unit = [one for one in columns if one.measures("voltage")]
    by_name = [one for one in columns if not one.unit and _STRING.search(one.name)]
    found = by_unit or by_name
    if not found:
        return (None, 0.85, "string voltage: the sum of the cells") if cells else (None, 0.3, "string voltage: none")
    best = max(found, key=lambda one: bool(_STRING.search(one.name)))
    total = sum(numbers[0] for one in cells if (numbers := one.numbers()))
    own = best.numbers()[0]
    words = f"string voltage: column {best.place + 1} '{best.name}'"
    if cells and abs(total - own) <= 0.05 * abs(own):
        return best, 0.99, f"{words}, close to the sum of the cells"
    doubt = "" if len(found) == 1 else f"; {len(found)} columns would fit"
    return best, 0.75 if doubt else 0.9, words + doubt


def _temperature_words(columns: Sequence[_Column]) -> tuple[str, ...]:
    return (f"temperature: {', '.join(repr(one.name) for one in columns)}",) if columns else ()
