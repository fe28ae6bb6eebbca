"""Punch items week by week: raised and closed as a pair of bars, and how many stood open at the end of each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from commissioning.drawings.display import Drawing, Role
from commissioning.drawings.plane import SIZE, Plane

TOP, BOTTOM, LEFT, RIGHT = 32.0, 18.0, 30.0, 8.0


@dataclass(frozen=True, slots=True)
class Week:
    """A week by its Monday."""

    monday: date
    raised: int
    closed: int
    open_after: int


def weekly(weeks: Sequence[Week], *, width: float = 360.0, height: float = 190.0) -> Drawing:
    """Filled bars are raised, hollow ones closed; the line is what stands open."""
    drawing = Drawing(width, height, "Punch items week by week", _described(weeks))
    most = max((max(one.raised, one.closed, one.open_after) for one in weeks), default=1)
    plane = Plane(LEFT, width - RIGHT, TOP, height - BOTTOM, most)
    plane.draw(drawing)
    room = (plane.right - plane.left) / max(len(weeks), 1)
    bar = room * 0.36
    every = max(1, round(48 / room))
    for place, one in enumerate(weeks):
        x = plane.left + room * place + room * 0.12
        for at, count, filled in ((x, one.raised, True), (x + bar, one.closed, False)):
            if count:
                drawing.rect(
                    at, plane.y(count), bar, plane.bottom - plane.y(count), Role.SERIES_1, filled=filled, weight=0.8
                )
        if (len(weeks) - 1 - place) % every == 0:
            drawing.text(x + bar, plane.bottom + 11, f"{one.monday:%m-%d}", size=SIZE, anchor="middle", role=Role.QUIET)
    if len(weeks) > 1:
        points = [(plane.left + room * (at + 0.48), plane.y(one.open_after)) for at, one in enumerate(weeks)]
        drawing.line(*points, role=Role.INK, weight=1.4, dash=(4, 1.5))
    plane.frame(drawing)
    _legend(drawing)
    return drawing


def _legend(drawing: Drawing) -> None:
    y = 10.0
    drawing.rect(LEFT, y - 7, 9, 8, Role.SERIES_1)
    drawing.text(LEFT + 13, y, "raised", size=SIZE)
    drawing.rect(LEFT + 50, y - 7, 9, 8, Role.SERIES_1, filled=False, weight=0.8)
    drawing.text(LEFT + 63, y, "closed", size=SIZE)
    drawing.line((LEFT + 102, y - 3), (LEFT + 124, y - 3), role=Role.INK, weight=1.4, dash=(4, 1.5))
    drawing.text(LEFT + 128, y, "open at the end of the week", size=SIZE)


def _described(weeks: Sequence[Week]) -> str:
    if not weeks:
        return "No weeks."
    raised, closed = sum(one.raised for one in weeks), sum(one.closed for one in weeks)
    return (
        f"In {len(weeks)} weeks from {weeks[0].monday} {raised} items were raised and {closed} closed; "
        f"{weeks[-1].open_after} are open. The table beside it holds the counts."
    )
