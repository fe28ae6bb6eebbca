"""Packs of like values, each on a line by its robust z: hollow discs in the pack, filled diamonds outside, named."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from commissioning.drawings.display import Drawing, Role
from commissioning.drawings.plane import SIZE

ROW, TOP, FOOT, MARGIN = 42.0, 6.0, 30.0, 14.0
#: What lies farther is drawn at the end.
REACH = 10.0


@dataclass(frozen=True)
class PackRow:
    """A pack in words, the z of its values, and the names of those outside."""

    words: str
    inside: Sequence[float]
    outside: Sequence[tuple[str, float]]


def packs(rows: Sequence[PackRow], *, outside: float, width: float = 360.0) -> Drawing:
    """One row a pack, with the bounds of the pack as dashed lines."""
    height = TOP + ROW * len(rows) + FOOT
    drawing = Drawing(width, height, "Readings beside their pack", _described(rows))
    middle, reach = width / 2, width / 2 - MARGIN

    def x(z: float) -> float:
        return middle + min(max(z / REACH, -1.0), 1.0) * reach

    floor = height - FOOT
    for z in (-outside, outside):
        drawing.line((x(z), TOP + 12), (x(z), floor), weight=0.8, dash=(3, 2))
        drawing.text(x(z), floor + 10, f"{z:+g}".replace("-", "−"), size=SIZE, anchor="middle")
    drawing.line((middle, TOP + 12), (middle, floor), role=Role.GRID, weight=0.6)
    drawing.text(middle, floor + 10, "middle", size=SIZE, anchor="middle")
    drawing.text(middle, floor + 22, "robust z", size=SIZE, role=Role.QUIET, anchor="middle")
    for place, row in enumerate(rows):
        top = TOP + ROW * place
        y = top + 20
        drawing.text(MARGIN - 8, top + 8, row.words, size=SIZE)
        drawing.line((x(-REACH), y), (x(REACH), y), role=Role.GRID, weight=0.6)
        for z in row.inside:
            drawing.disc(x(z), y, 2.6, Role.SERIES_1, filled=False, weight=0.8)
        _outside(drawing, [(name, x(z), z) for name, z in row.outside], y, middle)
    return drawing


def _outside(drawing: Drawing, marks: list[tuple[str, float, float]], y: float, middle: float) -> None:
    for _, at, _ in marks:
        drawing.shape((at, y - 4.6), (at + 4.6, y), (at, y + 4.6), (at - 4.6, y), role=Role.ABNORMAL)
        drawing.shape(
            (at, y - 4.6), (at + 4.6, y), (at, y + 4.6), (at - 4.6, y), role=Role.INK, filled=False, weight=0.8
        )
    # The farthest on each side is named; the table names them all.
    for side in (-1, 1):
        several = [one for one in marks if one[2] * side > 0]
        if several:
            name, at, _ = max(several, key=lambda one: abs(one[2]))
            more = f" and {len(several) - 1} more" if len(several) > 1 else ""
            anchor = "start" if at < middle else "end"
            drawing.text(
                at + (-4.6 if at < middle else 4.6), y + 13, name + more, size=SIZE, anchor=anchor, strong=True
            )


def _described(rows: Sequence[PackRow]) -> str:
    count = sum(len(one.outside) for one in rows)
    return f"{count} readings outside their pack on {len(rows)} lines. The table beside it names them all."
