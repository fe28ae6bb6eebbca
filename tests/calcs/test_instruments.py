"""Uncertainty of a reading from the data sheet."""

import math

import metrolopy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, run
from calcs.instruments import expanded_uncertainty


@pytest.mark.parametrize(
    ("typed", "standard", "expanded"),
    [
        ({"reading": 32.00, "percent": 2.5, "counts": 3, "resolution": 0.01}, 0.47920, 0.95840),  # published
        ({"reading": 100.0, "percent": 0.8, "counts": 2, "resolution": 0.1}, 0.57735, 1.15470),  # published
        ({"reading": 122.70, "percent": 0.05, "counts": 5, "resolution": 0.01}, 0.0642880, 0.1285759),  # independent
        ({"reading": -122.70, "percent": 0.05, "counts": 5, "resolution": 0.01}, 0.0642880, 0.1285759),
    ],
)
def test_accuracy_of_reading_and_counts(typed, standard, expanded):
    result = run("instrument_uncertainty", typed)
    assert result.outputs["standard"]["value"] == pytest.approx(standard, rel=1e-5)
    assert result.outputs["expanded"]["value"] == pytest.approx(expanded, rel=1e-5)
    assert result.verdict == "cannot_say"


@given(st.floats(1, 1000), st.floats(0.01, 5), st.integers(0, 20), st.floats(0.001, 1), st.floats(0.001, 1))
def test_metrolopy_agrees(reading, percent, counts, calibration, spread):
    # independent: metrolopy, a uniform distribution and two normal ones added
    half_width = reading * percent / 100 + counts * 0.01
    parts = (
        metrolopy.gummy(metrolopy.UniformDist(center=reading, half_width=half_width))
        + metrolopy.gummy(0, u=calibration / 2)
        + metrolopy.gummy(0, u=spread / math.sqrt(5))
    )
    got = expanded_uncertainty(
        reading=reading, percent_of_reading=percent, counts=counts, resolution=0.01, calibration=calibration,
        repeatability=spread, readings=5,
    )  # fmt: skip
    assert got == pytest.approx(2 * parts.u, rel=1e-9)


def test_percent_of_range_and_temperature_add_to_the_half_width():
    got = expanded_uncertainty(
        reading=100,
        percent_of_reading=0.1,
        percent_of_range=0.05,
        full_scale=400,
        percent_per_degree=0.01,
        degrees_outside=5,
    )
    assert got == pytest.approx(2 * (0.1 + 0.2 + 0.05) / math.sqrt(3))  # independent: arithmetic


def test_function_and_calculation_agree():
    typed = {
        "reading": 100, "percent": 0.1, "percent_of_range": 0.05, "full_scale": 400, "per_degree": 0.01, "degrees": 5,
        "counts": 2, "resolution": 0.1, "repeatability": 0.3, "readings": 9, "calibration": 0.4,
    }  # fmt: skip
    got = expanded_uncertainty(
        reading=100, percent_of_reading=0.1, percent_of_range=0.05, full_scale=400, percent_per_degree=0.01,
        degrees_outside=5, counts=2, resolution=0.1, repeatability=0.3, readings=9, calibration=0.4,
    )  # fmt: skip
    assert run("instrument_uncertainty", typed).outputs["expanded"]["value"] == pytest.approx(got)


@given(st.floats(0, 10), st.floats(0, 10))
def test_a_better_percentage_never_makes_it_worse(percent, worse):
    less = expanded_uncertainty(reading=100, percent_of_reading=percent, counts=1, resolution=0.1)
    more = expanded_uncertainty(reading=100, percent_of_reading=percent + worse, counts=1, resolution=0.1)
    assert less <= more


@pytest.mark.parametrize(
    ("typed", "at_fault"),
    [
        ({"reading": 100}, "percent"),
        ({"reading": 100, "percent": 1, "repeatability": 0.1}, "readings"),
        ({"reading": 100, "percent": -1}, "percent"),
        ({"percent": 1}, "reading"),
    ],
)
def test_an_incomplete_data_sheet_is_refused(typed, at_fault):
    with pytest.raises(InputError) as refusal:
        run("instrument_uncertainty", typed)
    assert refusal.value.input == at_fault
