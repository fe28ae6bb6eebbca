"""How long open punch items have stood: a bar for each span of days, its parts the categories, named on the bar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from commissioning.drawings.display import Drawing, Role
from commissioning.drawings.plane import SIZE

LEFT, RIGHT, ROW, TOP, FOOT = 78.0, 28.0, 24.0, 6.0, 20.0
#: Category, how it is drawn: filled dark, filled light with an edge, hollow.
LOOKS = {"A": (Role.SERIES_1, True), "B": (Role.GRID, True), "C": (Role.INK, False)}


@dataclass(frozen=True, slots=True)
class Ages:
    """Items of one span of days, by category."""

    words: str
    counts: Mapping[str, int]

    @property
    def total(self) -> int:
        return sum(self.counts.values())


def ageing(spans: Sequence[Ages], *, width: float = 360.0) -> Drawing:
    """The spans from young to old, from top to bottom."""
    height = TOP + ROW * len(spans) + FOOT
    drawing = Drawing(width, height, "Age of open punch items", _described(spans))
    most = max((one.total for one in spans), default=0) or 1
    for place, one in enumerate(spans):
        y, x = TOP + ROW * place, LEFT
        drawing.text(LEFT - 6, y + 13, one.words, size=SIZE, anchor="end")
        for category, (role, filled) in LOOKS.items():
            wide = one.counts.get(category, 0) / most * (width - LEFT - RIGHT)
            if wide:
                drawing.rect(x, y + 3, wide, ROW - 8, role, filled=filled, weight=0.8)
                drawing.rect(x, y + 3, wide, ROW - 8, Role.INK, filled=False, weight=0.6)
            x += wide
        drawing.text(x + 4, y + 13, str(one.total), size=SIZE, strong=True)
    drawing.line((LEFT, TOP), (LEFT, height - FOOT), weight=0.7)
    at = LEFT
    for category, (role, filled) in LOOKS.items():
        drawing.rect(at, height - 13, 9, 8, role, filled=filled, weight=0.8)
        drawing.rect(at, height - 13, 9, 8, Role.INK, filled=False, weight=0.6)
        drawing.text(at + 13, height - 6, category, size=SIZE)
        at += 34
    return drawing


def _described(spans: Sequence[Ages]) -> str:
    if not sum(one.total for one in spans):
        return "No item is open."
    said = "; ".join(f"{one.words}: {one.total}" for one in spans)
    return f"Open items by age. {said}. The table beside it holds the categories."
