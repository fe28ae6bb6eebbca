"""Which stage waits for which: a row a system under its site, a column a stage, and a line from what is needed.

What holds a stage now is a heavy line with a filled head, what holds nothing now a thin dashed one with a hollow head.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from commissioning.drawings.display import Drawing, Point, Role
from commissioning.drawings.plane import SIZE
from commissioning.drawings.stage_strip import STATES, state_mark

ROW, HEAD, FOOT, LEFT, MARGIN = 24.0, 28.0, 34.0, 84.0, 8.0
#: Columns with their heading on two lines.
COLUMNS = {
    "mechanical_completion": ("mechanical", "completion"),
    "pre_energisation": ("pre-", "energisation"),
    "energisation": ("", "energisation"),
    "battery_connected": ("battery-", "connected"),
}
MARK = 5.0
#: Lines that go up or down beside one column stand so far apart.
LANE = 4.5
LANES = 8


@dataclass(frozen=True)
class SystemRow:
    """A system, its site, and the state of its stages by kind (the keys of STATES)."""

    tag: str
    site: str
    stages: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class Wait:
    """From the stage that is needed to the one that waits: (tag, kind) each."""

    needs: tuple[str, str]
    waits: tuple[str, str]
    holds: bool


def waiting(rows: Sequence[SystemRow], waits: Sequence[Wait], *, width: float = 360.0) -> Drawing:
    """Rows have to be in the order of their sites."""
    places, sites, floor = _places(rows)
    drawing = Drawing(width, floor + FOOT, "Stages that wait for other systems", _described(rows, waits))
    step = (width - LEFT - MARGIN) / len(COLUMNS)
    columns = {kind: LEFT + step * (at + 0.62) for at, kind in enumerate(COLUMNS)}
    for kind, (upper, lower) in COLUMNS.items():
        for words, y in ((upper, 10.0), (lower, 20.0)):
            drawing.text(columns[kind], y, words, size=SIZE - 0.5, anchor="middle", role=Role.QUIET)
    for site, y in sites:
        drawing.text(MARGIN - 6, y + 3, site, size=SIZE, strong=True)
        drawing.line((MARGIN - 6, y + 7), (width - MARGIN, y + 7), role=Role.GRID, weight=0.6)
    at = {
        (row.tag, kind): (columns[kind], places[row.tag]) for row in rows for kind, _ in row.stages if kind in columns
    }
    _lines(drawing, waits, at)
    for row in rows:
        drawing.text(MARGIN, places[row.tag] + 3, row.tag, size=SIZE)
        for kind, state in row.stages:
            if kind in columns:
                state_mark(drawing, state, columns[kind], places[row.tag], MARK)
    _legend(drawing, floor + 14)
    return drawing


def _places(rows: Sequence[SystemRow]) -> tuple[dict[str, float], list[tuple[str, float]], float]:
    """The height of each system and of each site's heading, and where they end."""
    places: dict[str, float] = {}
    sites: list[tuple[str, float]] = []
    y = HEAD
    for row in rows:
        if not sites or sites[-1][0] != row.site:
            sites.append((row.site, y + 12))
            y += ROW
        places[row.tag] = y + 10
        y += ROW
    return places, sites, y + 4


def _lines(drawing: Drawing, waits: Sequence[Wait], at: dict[tuple[str, str], Point]) -> None:
    """Down from the mark, along under its row, up or down before the column of the one that waits, and into it."""
    used: dict[str, int] = {}
    for wait in sorted(waits, key=lambda one: one.holds):
        if wait.needs not in at or wait.waits not in at:
            continue
        (x1, y1), (x2, y2) = at[wait.needs], at[wait.waits]
        place = used.get(wait.waits[1], 0)
        used[wait.waits[1]] = place + 1
        lane, gutter = x2 - 11 - LANE * (place % LANES), y1 + 8 + 1.6 * (place % 3)
        role, weight, dash = (Role.INK, 1.3, ()) if wait.holds else (Role.QUIET, 0.7, (2.0, 2.0))
        path = ((x1, y1 + MARK), (x1, gutter), (lane, gutter), (lane, y2), (x2 - MARK - 3, y2))
        drawing.line(*path, role=role, weight=weight, dash=dash)
        _head(drawing, x2 - MARK - 0.5, y2, holds=wait.holds)


def _head(drawing: Drawing, x: float, y: float, *, holds: bool) -> None:
    points = ((x, y), (x - 4.5, y - 2.6), (x - 4.5, y + 2.6))
    if not holds:
        drawing.shape(*points, role=Role.GROUND)
    drawing.shape(*points, role=Role.INK if holds else Role.QUIET, filled=holds, weight=0.7)


def _legend(drawing: Drawing, y: float) -> None:
    x = MARGIN
    for state in ("accepted", "in_hand", "not_started"):
        state_mark(drawing, state, x + MARK, y - 3, MARK)
        drawing.text(x + 14, y, STATES[state][0], size=SIZE)
        x += 22 + 4.6 * len(STATES[state][0])
    for words, holds, left in (("waits for it still", True, MARGIN), ("holds nothing now", False, MARGIN + 130)):
        dash = () if holds else (2.0, 2.0)
        role = Role.INK if holds else Role.QUIET
        drawing.line((left, y + 12), (left + 20, y + 12), role=role, weight=1.3 if holds else 0.7, dash=dash)
        _head(drawing, left + 24, y + 12, holds=holds)
        drawing.text(left + 29, y + 15, words, size=SIZE)


def _described(rows: Sequence[SystemRow], waits: Sequence[Wait]) -> str:
    holding = sum(one.holds for one in waits)
    return (
        f"{len(waits)} stages of {len(rows)} systems at {len({row.site for row in rows})} sites wait for another "
        f"system's; {holding} still do. The table beside it names them all."
    )
