"""Gates that have passed over time: as planned, as done, and as the forecast has it. Lines differ by their pattern."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from commissioning.drawings.date_axis import DateAxis
from commissioning.drawings.display import Drawing, Point, Role
from commissioning.drawings.plane import SIZE, Plane, apart, steps

TOP, BOTTOM, LEFT, RIGHT = 30.0, 10.0, 30.0, 48.0


@dataclass(frozen=True)
class Progress:
    """Counts by date: planned, done until today, and the middle of the forecast between its bounds."""

    planned: Sequence[tuple[date, int]]
    done: Sequence[tuple[date, int]]
    forecast: Sequence[tuple[date, float, float, float]]  # low, middle, high
    total: int
    today: date


def progress(found: Progress, *, width: float = 360.0, height: float = 220.0) -> Drawing:
    """The three curves, each named at its end."""
    drawing = Drawing(width, height, "Gates passed", _described(found))
    days = [found.today]
    for curve in (found.planned, found.done, found.forecast):
        days += [one[0] for one in curve]
    axis = DateAxis(min(days), max(days), LEFT, width - RIGHT)
    plane = Plane(LEFT, width - RIGHT, TOP, height - BOTTOM, found.total)
    axis.draw(drawing, top=TOP, bottom=height - BOTTOM, size=SIZE)
    if found.forecast:
        low = [(axis.at(day), plane.y(low)) for day, low, _, _ in found.forecast]
        high = [(axis.at(day), plane.y(high)) for day, _, _, high in found.forecast]
        drawing.shape(*low, *reversed(high), role=Role.GRID)
    plane.draw(drawing)
    plane.frame(drawing)
    x = axis.at(found.today)
    drawing.line((x, TOP), (x, height - BOTTOM), weight=0.8, dash=(2, 2))
    ends: dict[str, Point] = {}
    for line in _lines(found, axis, plane):
        drawing.line(*line.points, role=line.role, weight=line.weight, dash=line.dash)
        ends[line.words] = line.points[-1]
    _names(drawing, ends, plane)
    return drawing


@dataclass(frozen=True)
class _Line:
    words: str
    points: list[Point]
    role: Role
    weight: float
    dash: tuple[float, ...] = ()


def _lines(found: Progress, axis: DateAxis, plane: Plane) -> list[_Line]:
    planned = steps([(axis.at(day), plane.y(count)) for day, count in found.planned])
    ahead = [(axis.at(day), plane.y(middle)) for day, _, middle, _ in found.forecast]
    done = steps([(axis.at(day), plane.y(count)) for day, count in found.done])
    lines = (
        _Line("planned", planned, Role.INK, 1.1, (5, 2.5)),
        _Line("forecast", ahead, Role.SERIES_1, 1.4, (1.5, 1.5)),
        _Line("done", done, Role.SERIES_1, 2.2),
    )
    return [one for one in lines if len(one.points) > 1]


def _names(drawing: Drawing, ends: dict[str, Point], plane: Plane) -> None:
    """Each line by its name: what is done where it ends, the others at the right, apart from each other."""
    if done := ends.pop("done", None):
        drawing.text(done[0] + 4, done[1] + 8, "done", size=SIZE, strong=True)
    places = apart([y for _, y in ends.values()], least=SIZE + 1.5, lowest=plane.bottom)
    for (words, (x, _)), y in zip(ends.items(), places, strict=True):
        drawing.text(x + 4, y + 3, words, size=SIZE)


def _described(found: Progress) -> str:
    done = found.done[-1][1] if found.done else 0
    planned = max((count for day, count in found.planned if day <= found.today), default=0)
    said = f"{done} of {found.total} gates have passed by {found.today}; {planned} were planned by then."
    if found.forecast:
        day, low, middle, high = found.forecast[-1]
        said += f" The forecast has {middle:.0f} passed by {day}, between {low:.0f} and {high:.0f} with 80 %."
    return f"{said} The table beside it holds the counts."
