"""A judged value reads as its uncertainty allows, and its digits never contradict its verdict."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from commissioning.drawings import to_svg
from commissioning.drawings.judged_figures import figures, sensible
from commissioning.drawings.verdict_bar import Judged, verdict_bar
from commissioning.drawings.verdict_scale import verdict_scale

NUMBERS = st.floats(-1e6, 1e6).filter(lambda one: one == 0 or abs(one) > 1e-4)


@pytest.mark.parametrize(
    ("value", "uncertainty", "lower", "upper", "told"),
    [
        # published: two significant digits of U, value rounded alike (EURACHEM/CITAC, GUM 7.2.6)
        (0.0367107, 0.0216, -1.0, 1.0, ("0.037", "0.022")),
        (122.7, 0.1285759, 121.5, 123.9, ("122.70", "0.13")),
        (0.0367107, 1.0471, -1.0, 1.0, ("0.0", "1.0")),
        # independent: a five-hundredth of the limit, by hand
        (0.0367107, 0.0, -1.0, 1.0, ("0.037", "")),
        (-10.04347826, 0.0, -10.0, 10.0, ("−10.04", "")),
        (176.7767, 0.0, 1.0, None, ("176.78", "")),
        (207.0, 0.0, 207.0, 253.0, ("207", "")),
        (95.5414012738, 0.0, 90.0, None, ("95.5", "")),
        (0.0, 0.0, 0.0, 5.0, ("0", "")),
        # what misses its limit by a hair does not read as if it met it
        (206.996, 0.0, 207.0, 253.0, ("206.996", "")),
        (0.49996, 0.03, 0.5, None, ("0.49996", "0.030")),
    ],
)
def test_digits_of_a_judged_value(
    value: float, uncertainty: float, lower: float | None, upper: float | None, told: tuple[str, str]
) -> None:
    found = figures(value, uncertainty=uncertainty, lower=lower, upper=upper)
    assert (found.value, found.uncertainty) == told


@pytest.mark.parametrize(
    ("value", "text"),
    [(207.00000000003, "207"), (0.0367107, "0.03671"), (123456.7, "123457"), (5, "5"), (1.25, "1.25"), (-0.5, "−0.5")],
)
def test_a_number_without_uncertainty_is_sensible(value: float, text: str) -> None:
    assert sensible(value) == text


@given(NUMBERS, NUMBERS, st.sampled_from([0.0, 0.003, 0.7, 40.0]), st.booleans())
def test_what_is_written_lies_where_the_value_lies(value: float, limit: float, uncertainty: float, upper: bool) -> None:
    bounds = {"upper": limit} if upper else {"lower": limit}
    told = float(figures(value, uncertainty=uncertainty, **bounds).value.replace("−", "-"))
    slack = 1e-9 * max(abs(limit), 1e-9)
    if abs(value - limit) <= slack:
        assert abs(told - limit) <= slack + 1e-12 * abs(limit)
    else:
        assert (told > limit) == (value > limit)


def test_page_and_dossier_write_the_same_figures() -> None:
    judged = Judged(0.0367107, "accept", -1.0, 1.0, 0.0216, "%")
    bar, scale = verdict_bar(judged), verdict_scale(judged, "Deviation")
    assert bar.description == scale.description
    assert bar.description.startswith("Value 0.037 %, expanded uncertainty 0.022 %, lower limit −1 %, upper limit 1 %")
    text = to_svg(scale, identity="scale")
    assert "0.037 %" in text
    assert "0.0367107" not in text
