"""Dates of gates as a forecast gives them, each between its 50 and its 95 % date, beside the planned one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from commissioning.drawings.date_axis import DateAxis
from commissioning.drawings.display import Drawing, Role

ROW, HEAD, FOOT = 27.0, 24.0, 26.0
MARGIN = 18.0
SIZE = 8.5


@dataclass(frozen=True)
class GateSpan:
    """A gate in words, its 50, 80 and 95 % dates, and its planned date."""

    words: str
    dates: tuple[date, ...]
    planned: date | None = None


def gate_dates(gates: Sequence[GateSpan], *, today: date, width: float = 360.0) -> Drawing:
    """One row a gate: its words, and under them a disc (50 %), a thick bar to 80 %, a thin one to 95 %."""
    height = HEAD + ROW * len(gates) + FOOT
    drawing = Drawing(width, height, "Dates of the gates", _described(gates))
    every = [day for gate in gates for day in (*gate.dates, *([gate.planned] if gate.planned else []))]
    axis = DateAxis(min([today, *every]), max([today, *every]), MARGIN, width - MARGIN)
    axis.draw(drawing, top=HEAD, bottom=height - FOOT, size=SIZE)
    x = axis.at(today)
    drawing.line((x, HEAD - 2), (x, height - FOOT), weight=0.8, dash=(2, 2))
    for place, gate in enumerate(gates):
        _row(drawing, axis, gate, HEAD + ROW * place)
    _legend(drawing, height - FOOT + 14)
    return drawing


def _row(drawing: Drawing, axis: DateAxis, gate: GateSpan, top: float) -> None:
    middle = top + 19
    # Words stand over the bar, from its begin, or end at its end where they would leave the drawing.
    begin = axis.at(gate.dates[0])
    right = begin > (axis.left + axis.right) / 2
    drawing.text(
        axis.at(gate.dates[-1]) if right else begin, top + 11, gate.words, size=SIZE, anchor="end" if right else "start"
    )
    even, likely, sure = (axis.at(day) for day in gate.dates)
    drawing.line((even, middle), (sure, middle), role=Role.SERIES_1, weight=1.2)
    drawing.line((even, middle), (likely, middle), role=Role.SERIES_1, weight=4.5)
    drawing.line((sure, middle - 3.5), (sure, middle + 3.5), role=Role.SERIES_1, weight=1.2)
    drawing.disc(even, middle, 3.6, Role.GROUND)
    drawing.disc(even, middle, 3.6, Role.SERIES_1, filled=False, weight=1.4)
    if gate.planned:
        _diamond(drawing, axis.at(gate.planned), middle)


def _diamond(drawing: Drawing, x: float, y: float) -> None:
    drawing.shape((x, y - 4.6), (x + 4.6, y), (x, y + 4.6), (x - 4.6, y), role=Role.INK)


def _legend(drawing: Drawing, y: float) -> None:
    x = MARGIN
    drawing.disc(x, y - 3, 3.6, Role.SERIES_1, filled=False, weight=1.4)
    drawing.text(x + 7, y, "50 %", size=SIZE)
    drawing.line((x + 36, y - 3), (x + 52, y - 3), role=Role.SERIES_1, weight=4.5)
    drawing.text(x + 56, y, "to 80 %", size=SIZE)
    drawing.line((x + 98, y - 3), (x + 114, y - 3), role=Role.SERIES_1, weight=1.2)
    drawing.line((x + 114, y - 6.5), (x + 114, y + 0.5), role=Role.SERIES_1, weight=1.2)
    drawing.text(x + 119, y, "to 95 %", size=SIZE)
    _diamond(drawing, x + 168, y - 3)
    drawing.text(x + 176, y, "planned", size=SIZE)
    drawing.line((x + 222, y - 3), (x + 240, y - 3), weight=0.8, dash=(2, 2))
    drawing.text(x + 244, y, "today", size=SIZE)


def _described(gates: Sequence[GateSpan]) -> str:
    if not gates:
        return "No gate."
    last = max(gates, key=lambda one: one.dates[0])
    late = sum(1 for one in gates if one.planned and one.dates[0] > one.planned)
    planned = sum(1 for one in gates if one.planned)
    return (
        f"{len(gates)} gates. The last one, {last.words}, passes as likely as not by {last.dates[0]}, "
        f"by {last.dates[2]} with 95 %. {late} of the {planned} with a planned date are later than planned. "
        "The table beside it holds every date."
    )
