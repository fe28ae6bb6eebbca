"""One drawing code for page and PDF: roles, words and shapes, and no drawing that depends on colour."""

from __future__ import annotations

import re
from datetime import date
from itertools import combinations, pairwise
from xml.etree import ElementTree

import pytest

from commissioning.drawings import Drawing, to_svg
from commissioning.drawings.ageing import Ages, ageing
from commissioning.drawings.date_axis import DateAxis
from commissioning.drawings.display import Line, Role, Shape, Text
from commissioning.drawings.gate_dates import GateSpan, gate_dates
from commissioning.drawings.pack import PackRow, packs
from commissioning.drawings.pdf import COLOURS, operators
from commissioning.drawings.progress import Progress, progress
from commissioning.drawings.shares import shares
from commissioning.drawings.stage_strip import STATES, stage_marks, stage_strip
from commissioning.drawings.time_series import Level, Plot, Series, ticks, time_series
from commissioning.drawings.verdict_bar import WORDS, Judged, verdict_bar
from commissioning.drawings.waiting import SystemRow, Wait, waiting
from commissioning.drawings.weekly import Week, weekly

INKED = re.compile(r"role=<Role\.(?!GROUND)[^>]*>")
SVG = "{http://www.w3.org/2000/svg}"


def bar(verdict: str) -> Drawing:
    return verdict_bar(Judged(value=3.0, verdict=verdict, lower=1.0, upper=5.0, uncertainty=0.4, unit="V"))


def plot() -> Drawing:
    series = [
        Series("cell 1", [2.0, 1.9, 1.8]),
        Series("cell <2>", [2.0, 1.8, 1.5], weak=True),
        Series("c", [2, 2, 1.9]),
    ]
    return time_series(Plot("Cells & more", "V", [0, 60, 120], "min", series, [Level(1.6, "end voltage")]))


def strip() -> Drawing:
    return stage_strip([(state, state) for state in STATES], width=480)


def gates() -> Drawing:
    dates = (date(2026, 5, 4), date(2026, 5, 20), date(2026, 6, 30))
    spans = [GateSpan("GUB10 energisation", dates, date(2026, 5, 1)), GateSpan("GUB11 <energisation>", dates)]
    return gate_dates(spans, today=date(2026, 5, 2))


def passed() -> Drawing:
    today, later = date(2026, 5, 2), date(2026, 9, 1)
    counts = [(date(2026, 3, 1), 0), (today, 7)]
    return progress(Progress([*counts, (later, 12)], counts, [(today, 7, 7, 7), (later, 9, 11, 12)], 12, today))


def weeks() -> Drawing:
    return weekly([Week(date(2026, 5, 4), 4, 0, 9), Week(date(2026, 5, 11), 2, 5, 6)])


def ages() -> Drawing:
    return ageing([Ages("0 to 7 d", {"A": 2, "B": 3, "C": 4}), Ages("over 7 d", {})])


def pack() -> Drawing:
    return packs([PackRow("Float voltage", [0.1, -0.4], [("QPS GUB10", 7.2), ("QPS GUB11", 4.0)])], outside=3.5)


def back() -> Drawing:
    return shares([("Pellwick & Sons", 0.1, 0.3, 0.6)])


def waits() -> Drawing:
    stages = [("mechanical_completion", "accepted"), ("energisation", "not_started")]
    rows = [SystemRow("GUB10", "QPS", stages), SystemRow("GUC10", "VOF", stages)]
    ways = [
        Wait(("GUB10", "mechanical_completion"), ("GUC10", "energisation"), holds=False),
        Wait(("GUB10", "energisation"), ("GUC10", "energisation"), holds=True),
        Wait(("GUC10", "mechanical_completion"), ("GUB10", "mechanical_completion"), holds=True),
    ]
    return waiting(rows, ways)


FORECASTS = (gates(), passed(), weeks(), ages(), pack(), back(), waits())


def shapes(drawing: Drawing) -> list[tuple[str, str]]:
    """Marks without their colours: all that is left is ink or the bare ground."""
    return [(type(mark).__name__, INKED.sub("ink", repr(mark))) for mark in drawing.marks]


@pytest.mark.parametrize(
    "drawing",
    [
        bar("accept"),
        plot(),
        strip(),
        stage_marks([("M", "held")]),
        gates(),
        passed(),
        weeks(),
        ages(),
        pack(),
        back(),
        waits(),
    ],
)
def test_svg_is_well_formed_titled_and_carries_no_style(drawing: Drawing) -> None:
    text = to_svg(drawing, identity="d1")
    root = ElementTree.fromstring(text)
    assert root.find(f"{SVG}title").text == drawing.title  # type: ignore[union-attr]
    assert root.find(f"{SVG}desc").text  # type: ignore[union-attr]
    assert " style=" not in text
    assert "fill=" not in text
    assert root.get("role") == "img"


def test_verdicts_differ_by_shape_not_only_by_colour() -> None:
    for one, other in combinations(WORDS, 2):
        assert shapes(bar(one)) != shapes(bar(other))
        assert WORDS[one] in bar(one).description


def test_states_differ_by_shape_not_only_by_colour() -> None:
    for one, other in combinations(STATES, 2):
        assert shapes(stage_strip([("A", one)]))[:-1] != shapes(stage_strip([("A", other)]))[:-1]
        assert STATES[one][0] in stage_strip([("A", one)]).description


def test_the_value_stands_between_its_limits_where_it_should() -> None:
    low, high = (mark for mark in bar("accept").marks if getattr(mark, "weight", 0) == 1.0)
    middle = (low.points[0][0] + high.points[0][0]) / 2  # type: ignore[union-attr]
    diamond = next(mark for mark in bar("accept").marks if getattr(mark, "role", None) is Role.NORMAL)
    xs = [x for x, _ in diamond.points]  # type: ignore[union-attr]
    assert sum(xs) / len(xs) == pytest.approx(middle)  # independent: 3 is midway between 1 and 5


def test_one_sided_and_missing_limits_can_be_drawn() -> None:
    for limits in ({"lower": 1.0}, {"upper": 0.5}, {}, {"lower": 0.0, "upper": 0.0}):
        drawing = verdict_bar(Judged(value=2.0, verdict="cannot_say", **limits))
        assert all(-1 <= x <= drawing.width + 1 for mark in drawing.marks for x, _ in getattr(mark, "points", ()))


def test_weak_cells_are_named_and_levels_drawn() -> None:
    words = [mark.text for mark in plot().marks if hasattr(mark, "text")]
    assert "cell <2>" in words
    assert "end voltage" in words
    assert "cell 1" not in words
    assert {"V", "time / min"} <= set(words)
    assert "Weak: cell <2>." in plot().description


@pytest.mark.parametrize(("low", "high"), [(0, 1), (91.7, 118.2), (-5, 5), (1.0, 1.0), (0.0011, 0.0032), (0, 300)])
def test_axis_marks_cover_the_values_in_round_steps(low: float, high: float) -> None:
    marks = ticks(low, high)
    assert marks[0] <= low + 1e-9
    assert marks[-1] >= high - 1e-9
    assert 2 <= len(marks) <= 9


def test_colours_of_states_stay_apart_in_greyscale() -> None:
    # published: ITU-R BT.601 luma
    luma = {role: 0.299 * r + 0.587 * g + 0.114 * b for role, (r, g, b) in COLOURS.items()}
    assert abs(luma[Role.ABNORMAL] - luma[Role.DANGER]) > 0.3
    assert abs(luma[Role.GRID] - luma[Role.NORMAL]) > 0.3


def test_pdf_operators_put_every_mark_in_its_place() -> None:
    drawing = Drawing(10, 10, "t", "d")
    drawing.line((0, 0), (10, 10))
    drawing.rect(1, 2, 3, 4, Role.GUARD)
    drawing.text(5, 5, "hello", anchor="end")
    code = operators(drawing, 100, 200, show=lambda t, s, z: f"({t}) Tj", measure=lambda t, s, z: 20.0)
    assert "100.00 200.00 m 110.00 190.00 l S" in code
    assert "101.00 198.00 m 104.00 198.00 l 104.00 194.00 l 101.00 194.00 l f" in code
    assert "1 0 0 1 85.00 195.00 Tm (hello) Tj" in code


def test_what_a_forecast_draws_is_told_apart_without_colour() -> None:
    """Curves by their dashes, bars by being filled, categories by shade and edge."""
    curves = [one.dash for one in passed().marks if isinstance(one, Line) and one.role in (Role.INK, Role.SERIES_1)]
    assert {(), (5, 2.5), (1.5, 1.5)} <= set(curves)
    bars = {one.filled for one in weeks().marks if isinstance(one, Shape)}
    assert bars == {True, False}
    fills = {(one.role, one.filled) for one in ages().marks if isinstance(one, Shape)}
    greys = [COLOURS[role][0] for role, filled in fills if filled]
    assert len({round(one, 1) for one in greys}) == len(greys) == 2
    assert "1 of the 1 with a planned date are later than planned" in gates().description


@pytest.mark.parametrize(("last", "mark"), [(date(2026, 2, 9), "02-02"), (date(2027, 1, 1), "2026-07")])
def test_dates_have_as_many_marks_as_fit(last: date, mark: str) -> None:
    drawing = Drawing(360, 100, "t", "d")
    axis = DateAxis(date(2026, 1, 1), last, 20, 340)
    axis.draw(drawing, top=20, bottom=90, size=8)
    words = [one for one in drawing.marks if isinstance(one, Text) and "-" in one.text]
    assert mark in [one.text for one in words]
    assert all(other.x - one.x > 30 for one, other in pairwise(words))
    assert (axis.at(date(2026, 1, 1)), axis.at(last)) == (20, 340)


def test_lines_of_what_waits_stand_apart_and_end_at_the_stage_that_waits() -> None:
    lines = [one for one in waits().marks if isinstance(one, Line) and len(one.points) == 5]
    assert [bool(one.dash) for one in lines] == [True, False, False]
    lanes = [one.points[2][0] for one in lines]
    assert len(set(lanes)) == len(lanes)
    assert lines[0].points[-1] == lines[1].points[-1]
    assert lines[0].points[-1][1] > lines[0].points[0][1]
    assert "2 still do" in waits().description
