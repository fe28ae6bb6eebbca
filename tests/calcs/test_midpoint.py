"""The mid-point voltage of a string."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, run


def outputs(**typed):
    return {name: one["value"] for name, one in run("midpoint_deviation", typed).outputs.items()}


@pytest.mark.parametrize(
    ("upper", "lower", "of_total", "of_mean", "offset"),
    [
        (14.688, 14.112, 2.000, 4.000, 0.288),  # published: two manuals, two definitions; offset independent
        (61.9, 60.8, 0.8965, 1.7930, 0.55),  # independent: arithmetic
        (60.8, 61.9, -0.8965, -1.7930, -0.55),
        (61.35, 61.35, 0, 0, 0),
    ],
)
def test_both_definitions(upper, lower, of_total, of_mean, offset):
    got = outputs(upper=upper, lower=lower)
    assert got["of_total"] == pytest.approx(of_total, abs=5e-5)
    assert got["of_mean"] == pytest.approx(of_mean, abs=5e-5)
    assert got["offset"] == pytest.approx(offset, abs=1e-9)


def test_unequal_halves_are_compared_per_cell():
    got = outputs(upper=28 * 2.25, lower=26 * 2.25, upper_cells=28, lower_cells=26)
    assert got["of_total"] == pytest.approx(0, abs=1e-12)
    assert got["offset"] == pytest.approx(0, abs=1e-12)


def test_one_dead_cell_of_54_is_seen_although_two_per_cent_would_miss_it():
    share = 122.7 / 53
    typed = {"upper": 27 * share, "lower": 26 * share, "upper_cells": 27, "lower_cells": 27}
    result = run("midpoint_deviation", typed)
    # independent: 27 good cells above 26 good ones and a dead one, 100/53 %
    assert result.outputs["of_total"]["value"] == pytest.approx(1.887, abs=5e-4)
    assert result.verdict == "reject"
    without_cells = run("midpoint_deviation", {"upper": typed["upper"], "lower": typed["lower"]})
    assert without_cells.verdict == "accept"
    assert any("Give the numbers of cells" in caution for caution in without_cells.cautions)


@given(st.integers(2, 200))
def test_one_dead_cell_is_rejected_in_a_string_of_any_length(half):
    typed = {"upper": float(half), "lower": float(half - 1), "upper_cells": half, "lower_cells": half}
    assert run("midpoint_deviation", typed).verdict == "reject"


@given(st.floats(10, 100), st.floats(10, 100))
def test_exchanging_the_halves_changes_the_sign(upper, lower):
    assert outputs(upper=upper, lower=lower)["of_total"] == pytest.approx(
        -outputs(upper=lower, lower=upper)["of_total"]
    )


def test_the_result_says_which_definition_the_limit_uses():
    result = run("midpoint_deviation", {"upper": 61.9, "lower": 60.8})
    assert any("per cent of the total" in caution for caution in result.cautions)
    assert result.limits[0]["output"] == "of_total"


def test_cells_of_the_lower_half_alone_are_refused():
    with pytest.raises(InputError) as refusal:
        run("midpoint_deviation", {"upper": 61.9, "lower": 60.8, "lower_cells": 27})
    assert refusal.value.input == "upper_cells"
