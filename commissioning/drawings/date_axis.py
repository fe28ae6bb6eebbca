"""A time axis in dates: from one date to another, with round marks in between."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from commissioning.drawings.display import Drawing, Role

#: About so many points of width for each mark.
APART = 46.0
#: Steps in months, once weeks are too many.
MONTHS = (1, 2, 3, 6, 12, 24, 60, 120)


@dataclass(frozen=True)
class DateAxis:
    """Dates between `left` and `right` on the drawing."""

    first: date
    last: date
    left: float
    right: float

    def at(self, day: date) -> float:
        """Where a date stands; one outside the axis stands at its end."""
        whole = max((self.last - self.first).days, 1)
        share = (day - self.first).days / whole
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)

    def marks(self) -> list[date]:
        """Mondays, or firsts of months, so many as fit."""
        most = max(int((self.right - self.left) / APART), 2)
        days = max((self.last - self.first).days, 1)
        for weeks in (1, 2):
            if days / (7 * weeks) <= most:
                return [one for one in _mondays(self.first, self.last)][::weeks]
        step = next((one for one in MONTHS if days / (30.4 * one) <= most), MONTHS[-1])
        return list(_firsts(self.first, self.last, step))

    def draw(self, drawing: Drawing, *, top: float, bottom: float, size: float) -> None:
        """Grid lines with their dates above them, and the year where it changes."""
        marks = self.marks()
        monthly = all(one.day == 1 for one in marks)
        year = 0
        for one in marks:
            x = self.at(one)
            drawing.line((x, top), (x, bottom), role=Role.GRID, weight=0.4)
            words = f"{one:%Y-%m}" if monthly else f"{one:%m-%d}"
            if not monthly and one.year != year:
                drawing.text(x, top - size - 3, f"{one:%Y}", size=size, role=Role.QUIET, anchor="middle")
            drawing.text(x, top - 3, words, size=size, role=Role.QUIET, anchor="middle")
            year = one.year


def _mondays(first: date, last: date) -> Iterator[date]:
    one = first + timedelta(days=-first.weekday() % 7)
    while one <= last:
        yield one
        one += timedelta(days=7)


def _firsts(first: date, last: date, step: int) -> Iterator[date]:
    month = first.year * 12 + first.month - 1 + (first.day > 1)
    month += -month % step
    while (one := date(month // 12, month % 12 + 1, 1)) <= last:
        yield one
        month += step
