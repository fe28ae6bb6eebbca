"""A display list: what a drawing consists of, in words of meaning and not of colour.

Lengths are points, `y` runs down from the top left. A role says what a mark stands for; the back ends give it a
colour after IEC 60073 (a CSS class on the page, a fixed colour in the PDF). Shape and word always carry the meaning
too, so that no drawing depends on colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum


class Role(StrEnum):
    """What a mark stands for."""

    NORMAL = "normal"
    ABNORMAL = "abnormal"
    DANGER = "danger"
    ACTION = "action"
    NEUTRAL = "neutral"
    INK = "ink"
    QUIET = "quiet"
    GRID = "grid"
    GUARD = "guard"
    GROUND = "ground"
    SERIES_1 = "series-1"
    SERIES_2 = "series-2"
    SERIES_WEAK = "series-weak"


Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Line:
    """A line, or a path through several points."""

    points: Sequence[Point]
    role: Role = Role.INK
    weight: float = 0.6
    dash: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class Shape:
    """A closed polygon; hollow when it is not filled."""

    points: Sequence[Point]
    role: Role = Role.INK
    filled: bool = True
    weight: float = 0.6


@dataclass(frozen=True, slots=True)
class Disc:
    """A circle."""

    x: float
    y: float
    radius: float
    role: Role = Role.INK
    filled: bool = True
    weight: float = 0.6


@dataclass(frozen=True, slots=True)
class Text:
    """Words on a base line; `anchor` is start, middle or end."""

    x: float
    y: float
    text: str
    size: float = 7.0
    role: Role = Role.INK
    anchor: str = "start"
    strong: bool = False


Mark = Line | Shape | Disc | Text


@dataclass
class Drawing:
    """A titled picture with a text alternative that says what it shows."""

    width: float
    height: float
    title: str
    description: str
    marks: list[Mark] = field(default_factory=list)

    def line(self, *points: Point, role: Role = Role.INK, weight: float = 0.6, dash: tuple[float, ...] = ()) -> None:
        """Add a line through the points."""
        self.marks.append(Line(points, role, weight, dash))

    def shape(self, *points: Point, role: Role = Role.INK, filled: bool = True, weight: float = 0.6) -> None:
        """Add a closed polygon."""
        self.marks.append(Shape(points, role, filled, weight))

    def rect(
        self, x: float, y: float, width: float, height: float, role: Role, *, filled: bool = True, weight: float = 0.6
    ) -> None:
        """Add a rectangle with its upper left corner at `x`, `y`."""
        corners = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
        self.marks.append(Shape(corners, role, filled, weight))

    def disc(self, x: float, y: float, radius: float, role: Role, *, filled: bool = True, weight: float = 0.6) -> None:
        """Add a circle."""
        self.marks.append(Disc(x, y, radius, role, filled, weight))

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = 7.0,
        role: Role = Role.INK,
        anchor: str = "start",
        strong: bool = False,
    ) -> None:
        """Add words."""
        self.marks.append(Text(x, y, text, size, role, anchor, strong))
