"""The display list as PDF operators, with fixed colours that stay apart in greyscale."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Protocol

from commissioning.drawings.display import Disc, Drawing, Line, Role, Shape, Text

# IEC 60073: red danger, yellow abnormal, green normal, blue action required, grey no special meaning. The lightness of
# each differs, so that a grey print keeps them apart; the shapes and words beside them do not depend on it.
COLOURS: dict[Role, tuple[float, float, float]] = {
    Role.NORMAL: (0.06, 0.45, 0.25),
    Role.ABNORMAL: (0.93, 0.73, 0.12),
    Role.DANGER: (0.72, 0.07, 0.12),
    Role.ACTION: (0.10, 0.32, 0.66),
    Role.NEUTRAL: (0.62, 0.62, 0.62),
    Role.INK: (0, 0, 0),
    Role.QUIET: (0.4, 0.4, 0.4),
    Role.GRID: (0.82, 0.82, 0.82),
    Role.GUARD: (0.78, 0.78, 0.78),
    Role.GROUND: (1, 1, 1),
    Role.SERIES_1: (0.05, 0.20, 0.48),
    Role.SERIES_2: (0.45, 0.45, 0.45),
    Role.SERIES_WEAK: (0.72, 0.07, 0.12),
}
KAPPA = 0.5523

Measure = Callable[[str, bool, float], float]
Show = Callable[[str, bool, float], str]


class Canvas(Protocol):
    """What is asked of a canvas: to take operators as they are."""

    def addLiteral(self, s: str) -> None: ...


def draw_on_canvas(canvas: Canvas, drawing: Drawing, x: float, y: float, *, show: Show, measure: Measure) -> None:
    """Draw with the upper left corner at `x`, `y` (points from the bottom left of the page)."""
    canvas.addLiteral(f"q\n{operators(drawing, x, y, show=show, measure=measure)}\nQ")


def operators(drawing: Drawing, x: float, y: float, *, show: Show, measure: Measure) -> str:
    """The drawing as operators of a content stream; `show` encodes text and `measure` gives its width."""
    return "\n".join(_operators(drawing, x, y, show, measure))


def _operators(drawing: Drawing, x: float, y: float, show: Show, measure: Measure) -> Iterable[str]:
    for mark in drawing.marks:
        red, green, blue = COLOURS[mark.role]
        colour = f"{red:g} {green:g} {blue:g}"
        if isinstance(mark, Text):
            yield _text(mark, x, y, colour, show, measure)
        elif isinstance(mark, Line):
            dash = f"[{' '.join(f'{d:g}' for d in mark.dash)}] 0 d " if mark.dash else ""
            undash = " [] 0 d" if mark.dash else ""
            yield f"{colour} RG {mark.weight:g} w {dash}{_path(mark.points, x, y)} S{undash}"
        else:
            path = _circle(mark, x, y) if isinstance(mark, Disc) else _path(mark.points, x, y)
            yield f"{colour} rg {path} f" if mark.filled else f"{colour} RG {mark.weight:g} w {path} s"


def _path(points: Iterable[tuple[float, float]], x: float, y: float) -> str:
    steps = [f"{x + px:.2f} {y - py:.2f}" for px, py in points]
    return f"{steps[0]} m {' '.join(f'{step} l' for step in steps[1:])}"


def _circle(mark: Disc, x: float, y: float) -> str:
    cx, cy, r = x + mark.x, y - mark.y, mark.radius
    k = r * KAPPA
    arcs = (
        (cx + r, cy + k, cx + k, cy + r, cx, cy + r),
        (cx - k, cy + r, cx - r, cy + k, cx - r, cy),
        (cx - r, cy - k, cx - k, cy - r, cx, cy - r),
        (cx + k, cy - r, cx + r, cy - k, cx + r, cy),
    )
    curves = " ".join(" ".join(f"{value:.2f}" for value in arc) + " c" for arc in arcs)
    return f"{cx + r:.2f} {cy:.2f} m {curves}"


def _text(mark: Text, x: float, y: float, colour: str, show: Show, measure: Measure) -> str:
    share = {"start": 0.0, "middle": 0.5, "end": 1.0}[mark.anchor]
    left = x + mark.x - (measure(mark.text, mark.strong, mark.size) * share if share else 0.0)
    shown = show(mark.text, mark.strong, mark.size)
    return f"BT {colour} rg 1 0 0 1 {left:.2f} {y - mark.y:.2f} Tm {shown} ET"


__all__ = ["COLOURS", "Shape", "draw_on_canvas", "operators"]
