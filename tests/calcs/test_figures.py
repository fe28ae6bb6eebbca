"""Numbers as they are printed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.figures import plain, rounded, show
from calcs.uncertainty import uncertain


@pytest.mark.parametrize(
    ("value", "unit", "shown"),
    [
        (-10.043478, "%", "−10.0435 %"),
        (207.00000000000003, "V", "207 V"),
        (200_000.0, "Ω", "200 kΩ"),
        (0.52e6, "Ω", "520 kΩ"),
        (0.0005, "Ω", "500 µΩ"),
        (0.0, "Ω", "0 Ω"),
        (1234567.0, "V", "1234570 V"),
        (True, "", "yes"),
        (None, "V", "none"),
        ([1.0, 2.5], "A", "1 A, 2.5 A"),
        ("positive", "", "positive"),
    ],
)
def test_a_value_with_its_unit(value, unit, shown):
    assert show(value, unit) == shown


@pytest.mark.parametrize(
    ("value", "spread", "shown"),
    [
        (122.7034, 0.1285, "122.70 ± 0.13 V"),
        (122.7034, 0.0996, "122.70 ± 0.10 V"),
        (122.7034, 0.0994, "122.703 ± 0.099 V"),
        (12345.6, 234.0, "12350 ± 230 V"),
        (-0.5, 1.0, "−0.5 ± 1.0 V"),
        (5.0, 9.96, "5 ± 10 V"),
    ],
)
def test_two_significant_digits_of_the_uncertainty_decide(value, spread, shown):
    assert show(uncertain(value, spread), "V") == shown


@given(st.floats(1e-6, 1e6), st.floats(-1e6, 1e6))
def test_rounding_never_moves_a_value_by_more_than_a_twentieth_of_its_uncertainty(spread, value):
    figure, width = (float(one.replace("−", "-")) for one in rounded(value, spread))
    assert abs(figure - value) <= spread / 20 * 1.01 + 1e-9 * abs(value)
    assert width == pytest.approx(spread, rel=0.051)


@given(st.floats(-1e11, 1e11))
def test_plain_figures_read_back(value):
    assert float(plain(value).replace("−", "-")) == pytest.approx(value, rel=1e-5, abs=1e-300)
