"""Time series plots: string voltage, current, and the fan of cell voltages with the weak ones named."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

from commissioning.drawings.display import Drawing, Role

LEFT, RIGHT, TOP, BOTTOM = 36.0, 34.0, 12.0, 20.0


@dataclass(frozen=True)
class Series:
    """One trace: its name, its values in the order of the times, and whether it is to be named on the plot."""

    name: str
    values: Sequence[float | None]
    weak: bool = False


@dataclass(frozen=True)
class Level:
    """A horizontal line with a meaning, such as the end voltage."""

    value: float
    name: str


@dataclass(frozen=True)
class Plot:
    """Traces of one quantity over one time axis."""

    title: str
    unit: str
    times: Sequence[float]
    time_unit: str
    series: Sequence[Series]
    levels: Sequence[Level] = field(default_factory=tuple)


def ticks(low: float, high: float, about: int = 5) -> list[float]:
    """Round values that cover low to high in steps of 1, 2 or 5 times a power of ten."""
    span = high - low or abs(high) or 1.0
    raw = span / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(factor * power for factor in (1, 2, 5, 10) if factor * power >= raw * 0.999)
    first = math.floor(low / step + 1e-9)
    last = math.ceil(high / step - 1e-9)
    return [round(index * step, 10) for index in range(first, max(last, first + 1) + 1)]


def time_span(times: Sequence[float]) -> tuple[float, float]:
    """The ends of the time axis: those of the times themselves, so that a closer look fills the drawing."""
    first, last = min(times, default=0.0), max(times, default=1.0)
    return first, last if last > first else first + 1.0


def _ticks_within(first: float, last: float) -> list[float]:
    found = [one for one in ticks(first, last, 6) if first <= one <= last]
    return found if len(found) > 1 else [first, last]


def time_series(plot: Plot, *, width: float = 252.0, height: float = 130.0) -> Drawing:
    """The plot with axes, units, levels and named weak traces."""
    drawing = Drawing(width, height, plot.title, _described(plot))
    first, last = time_span(plot.times)
    ys = _range(plot)
    across, down = width - LEFT - RIGHT, height - TOP - BOTTOM

    def x_at(value: float) -> float:
        return LEFT + (value - first) / (last - first) * across

    def y_at(value: float) -> float:
        return TOP + (ys[-1] - value) / (ys[-1] - ys[0]) * down

    _axes(drawing, plot, [(x_at(x), x) for x in _ticks_within(first, last)], [(y_at(y), y) for y in ys])
    for level in plot.levels:
        drawing.line((LEFT, y_at(level.value)), (LEFT + across, y_at(level.value)), weight=0.6, dash=(3, 2))
        drawing.text(LEFT + 3, y_at(level.value) - 2, level.name, size=6, role=Role.QUIET)
    _traces(drawing, plot, x_at, y_at)
    return drawing


def _known(plot: Plot) -> list[float]:
    return [value for one in plot.series for value in one.values if value is not None]


def _range(plot: Plot) -> list[float]:
    values = _known(plot) + [level.value for level in plot.levels]
    return ticks(min(values, default=0), max(values, default=1), 5)


def _axes(drawing: Drawing, plot: Plot, xs: list[tuple[float, float]], ys: list[tuple[float, float]]) -> None:
    right, floor = drawing.width - RIGHT, drawing.height - BOTTOM
    for at, value in ys:
        drawing.line((LEFT, at), (right, at), role=Role.GRID, weight=0.4)
        drawing.text(LEFT - 3, at + 2, _number(value, ys), size=6, anchor="end")
    for at, value in xs:
        drawing.line((at, floor), (at, floor + 2.5), weight=0.5)
        drawing.text(at, floor + 9, _number(value, xs), size=6, anchor="middle")
    drawing.line((LEFT, TOP), (LEFT, floor), (right, floor), weight=0.6)
    drawing.text(LEFT - 3, TOP - 5, plot.unit, size=6.5, anchor="end")
    drawing.text(right, floor + 17, f"time / {plot.time_unit}", size=6.5, anchor="end")
    drawing.text(LEFT, TOP - 5, plot.title, size=7, strong=True)


def _number(value: float, marks: list[tuple[float, float]]) -> str:
    step = marks[1][1] - marks[0][1]
    return f"{value:.{max(0, -math.floor(math.log10(step) + 1e-9))}f}".replace("-", "−")


def _traces(drawing: Drawing, plot: Plot, x_at: object, y_at: object) -> None:
    many = len(plot.series) > 2
    xs = [x_at(time) for time in plot.times]  # type: ignore[operator]
    named: list[tuple[float, Series]] = []
    for one in sorted(plot.series, key=lambda item: item.weak):
        role = Role.SERIES_WEAK if one.weak else Role.SERIES_2 if many else Role.SERIES_1
        dash = (4.0, 1.5) if one.weak else ()
        parts = [[(x, y_at(v)) for x, v in part] for part in _unbroken(xs, one.values)]  # type: ignore[operator]
        for points in parts:
            drawing.line(*points, role=role, weight=1.1 if one.weak or not many else 0.35, dash=dash)
        if one.weak and parts:
            named.append((parts[-1][-1][1], one))
    _labels(drawing, named)


def _unbroken(xs: Sequence[float], values: Sequence[float | None]) -> list[list[tuple[float, float]]]:
    """Stretches of two readings or more; a trace breaks where a reading is missing."""
    parts: list[list[tuple[float, float]]] = [[]]
    for x, value in zip(xs, values, strict=False):
        if value is None:
            parts.append([])
        else:
            parts[-1].append((x, value))
    return [part for part in parts if len(part) > 1]


def _labels(drawing: Drawing, named: list[tuple[float, Series]]) -> None:
    """Names of the weak traces at their ends, moved apart so that none covers another."""
    last = -math.inf
    for at, one in sorted(named, key=lambda item: item[0]):
        last = max(at + 2, last + 6.5)
        drawing.text(drawing.width - RIGHT + 3, last, one.name, size=6, role=Role.SERIES_WEAK, strong=True)


def _described(plot: Plot) -> str:
    values = _known(plot)
    if not values or not plot.times:
        return "No values."
    weak = [one.name for one in plot.series if one.weak]
    named = f" Weak: {', '.join(weak)}." if weak else ""
    levels = "".join(f" {level.name}: {level.value:g} {plot.unit}." for level in plot.levels)
    return (
        f"{len(plot.series)} trace{'s' if len(plot.series) != 1 else ''} over {plot.times[-1] - plot.times[0]:g} "
        f"{plot.time_unit}, from {min(values):g} to {max(values):g} {plot.unit}.{levels}{named}"
    )
