"""The verdict bar of a page: the same picture as the dossier's, with its limits, its value and their units in words."""

from __future__ import annotations

from collections.abc import Callable

from commissioning.drawings.display import Drawing, Role
from commissioning.drawings.verdict_bar import WORDS, Judged, described, span, value_mark

#: Room for a label at either end.
EDGE = 30.0
MIDDLE = 30.0
#: Words nearer to each other than this would run together.
APART = 62.0


def verdict_scale(judged: Judged, name: str, *, width: float = 340.0) -> Drawing:
    """Where the value lies: limits below the scale, guard bands shaded, the value and its uncertainty above."""
    drawing = Drawing(width, 58.0, f"{name}: {WORDS.get(judged.verdict, 'cannot say')}", described(judged))
    low, high = _reach(judged)
    step = (width - 2 * EDGE) / (high - low)

    def at(value: float) -> float:
        return EDGE + (min(max(value, low), high) - low) * step

    _zone(drawing, judged, at)
    _limits(drawing, judged, at)
    _value(drawing, judged, at, inside=low <= judged.value <= high)
    return drawing


def _reach(judged: Judged) -> tuple[float, float]:
    """The stretch of the dossier's bar, widened to a value that lies a little beyond it."""
    low, high = span(judged)
    width = high - low
    if low - 2 * width <= judged.value < low:
        low = judged.value - width * 0.1
    elif high < judged.value <= high + 2 * width:
        high = judged.value + width * 0.1
    return low, high


def _zone(drawing: Drawing, judged: Judged, at: Callable[[float], float]) -> None:
    """What is permitted, with the guard band along each limit."""
    left = at(judged.lower) if judged.lower is not None else EDGE / 2
    right = at(judged.upper) if judged.upper is not None else drawing.width - EDGE / 2
    drawing.line((4, MIDDLE), (drawing.width - 4, MIDDLE), role=Role.QUIET, weight=0.8)
    drawing.rect(left, MIDDLE - 6, max(right - left, 0), 12, Role.GRID)
    band = judged.uncertainty * judged.guard_factor
    for limit, sign in ((judged.lower, 1), (judged.upper, -1)):
        if limit is not None and band:
            edge, inner = at(limit), at(limit + sign * band)
            drawing.rect(min(edge, inner), MIDDLE - 6, abs(inner - edge), 12, Role.NEUTRAL)


def _limits(drawing: Drawing, judged: Judged, at: Callable[[float], float]) -> None:
    unit = f" {judged.unit}" if judged.unit else ""
    told = judged.figures
    sides = ((judged.lower, f"≥ {told.lower}"), (judged.upper, f"≤ {told.upper}"))
    known = [(limit, words) for limit, words in sides if limit is not None]
    near = len(known) == 2 and abs(at(known[0][0]) - at(known[1][0])) < APART
    for place, (limit, words) in enumerate(known):
        x = at(limit)
        drawing.line((x, MIDDLE - 10), (x, MIDDLE + 10), weight=1.6)
        anchor, shift = ("end", -2.0) if near and place == 0 else ("start", 2.0) if near else ("middle", 0.0)
        drawing.text(x + shift, MIDDLE + 22, f"{words}{unit}", size=10, anchor=anchor)


def _value(drawing: Drawing, judged: Judged, at: Callable[[float], float], *, inside: bool) -> None:
    x, unit = at(judged.value), f" {judged.unit}" if judged.unit else ""
    left, right = at(judged.value - judged.uncertainty), at(judged.value + judged.uncertainty)
    if right - left > 3:
        drawing.line((left, MIDDLE), (right, MIDDLE), weight=1.4)
        for end in (left, right):
            drawing.line((end, MIDDLE - 4), (end, MIDDLE + 4), weight=1.4)
    value_mark(drawing, judged.verdict, x, MIDDLE, 6.0)
    beyond = "" if inside else " (beyond the scale)"
    anchor = "start" if x < drawing.width * 0.25 else "end" if x > drawing.width * 0.75 else "middle"
    shift = {"start": -8.0, "end": 8.0, "middle": 0.0}[anchor]
    drawing.text(x + shift, MIDDLE - 14, f"{judged.figures.value}{unit}{beyond}", size=11, anchor=anchor, strong=True)
