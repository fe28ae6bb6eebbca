"""A plane to draw counts on: dates or bars along, whole numbers up, with marks and grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from commissioning.drawings.display import Drawing, Point, Role
from commissioning.drawings.time_series import ticks

SIZE = 8.5


@dataclass(frozen=True)
class Plane:
    """The room of a drawing inside its axes; `most` is the largest count that has to fit."""

    left: float
    right: float
    top: float
    bottom: float
    most: float

    @property
    def marks(self) -> list[int]:
        return [int(one) for one in ticks(0, max(self.most, 1), 4) if float(one).is_integer()]

    def y(self, count: float) -> float:
        return self.bottom - count / max(self.marks[-1], 1) * (self.bottom - self.top)

    def draw(self, drawing: Drawing) -> None:
        """Grid, and the counts at the left."""
        for count in self.marks:
            drawing.line((self.left, self.y(count)), (self.right, self.y(count)), role=Role.GRID, weight=0.4)
            drawing.text(self.left - 4, self.y(count) + 3, str(count), size=SIZE, anchor="end")

    def frame(self, drawing: Drawing) -> None:
        drawing.line((self.left, self.top), (self.left, self.bottom), (self.right, self.bottom), weight=0.7)


def steps(points: Sequence[Point]) -> list[Point]:
    """A line that stays until the next point and then jumps: what was true on each day."""
    found = list(points[:1])
    for x, y in points[1:]:
        found += [(x, found[-1][1]), (x, y)]
    return found


def apart(places: Sequence[float], *, least: float, lowest: float) -> list[float]:
    """Places for words, moved apart until none covers another, and none below `lowest`."""
    order = sorted(range(len(places)), key=lambda at: places[at])
    found = list(places)
    for before, after in pairwise(order):
        found[after] = max(found[after], found[before] + least)
    for place, at in enumerate(reversed(order)):
        found[at] = min(found[at], lowest - least * place)
    return found
