"""Shares with their intervals, one a row: a disc at the share, a line over its interval."""

from __future__ import annotations

from collections.abc import Sequence

from commissioning.drawings.display import Drawing, Role
from commissioning.drawings.plane import SIZE

ROW, TOP, FOOT, MARGIN = 30.0, 6.0, 16.0, 14.0


def shares(rows: Sequence[tuple[str, float, float, float]], *, width: float = 360.0) -> Drawing:
    """Rows of (words, low, share, high), shares from 0 to 1."""
    height = TOP + ROW * len(rows) + FOOT
    drawing = Drawing(width, height, "Share of items that came back", _described(rows))
    floor, across = height - FOOT, width - 2 * MARGIN
    for at in range(0, 101, 20):
        x = MARGIN + at / 100 * across
        drawing.line((x, TOP), (x, floor), role=Role.GRID, weight=0.4)
        drawing.text(x, floor + 11, f"{at} %", size=SIZE, anchor="middle", role=Role.QUIET)
    for place, (words, low, middle, high) in enumerate(rows):
        y = TOP + ROW * place + 20
        left, dot, right = (MARGIN + one * across for one in (low, middle, high))
        drawing.text(min(left, width * 0.45), y - 8, words, size=SIZE)
        drawing.line((left, y), (right, y), role=Role.SERIES_1, weight=1.4)
        for end in (left, right):
            drawing.line((end, y - 3), (end, y + 3), role=Role.SERIES_1, weight=1.4)
        drawing.disc(dot, y, 3.6, Role.SERIES_1)
    return drawing


def _described(rows: Sequence[tuple[str, float, float, float]]) -> str:
    if not rows:
        return "No company."
    words, low, middle, high = rows[0]
    return (
        f"{len(rows)} companies. {words}: {middle:.0%}, between {low:.0%} and {high:.0%}. "
        "The table beside it holds the counts."
    )
