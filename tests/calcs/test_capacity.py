"""Capacity from a discharge test, by time, by rate and by charge; lead-acid and nickel-cadmium."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, bulk, run


def by_time(**typed):
    return run("capacity_test", {"rated_time": 480, **typed})


def capacity(result):
    return result.outputs["capacity"]["value"]


@pytest.mark.parametrize(
    ("actual", "temperature", "expected"),
    [
        (450, "77 degF", 93.75),  # independent: arithmetic; at 77 °F the factor is 1 by definition
        (450, 25, 93.75),
        (432, "68 degF", 95.541),  # memory: K_T 0.942, typical value, verify
        (432, "72.5 degF", 100 * 432 / (480 * 0.9725)),  # independent: halfway would be 0.9775, a sixth is 0.9725
    ],
)
def test_time_method(actual, temperature, expected):
    result = by_time(actual_time=actual, temperature=temperature)
    assert capacity(result) == pytest.approx(expected, abs=5e-4)


def test_rate_method():
    typed = {"method": "rate", "test_rate": 100, "published_rate": 110, "temperature": "68 degF"}
    assert capacity(run("capacity_test", typed)) == pytest.approx(96.000, abs=5e-4)  # memory: K_C 1.056, verify


@pytest.mark.parametrize(
    ("actual", "verdict"),
    # published guide: accept from 90 % when new, replace below 80 %
    [(432, "accept"), (431.9, "reject"), (380, "reject")],
)
def test_ninety_per_cent_is_accepted_and_less_is_not(actual, verdict):
    assert by_time(actual_time=actual, temperature=25).verdict == verdict


def test_below_eighty_per_cent_replacement_is_advised():
    low, middling = by_time(actual_time=383, temperature=25), by_time(actual_time=400, temperature=25)
    assert any("80 % the battery is replaced" in caution for caution in low.cautions)
    assert not any("80 % the battery is replaced" in caution for caution in middling.cautions)


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"actual_time": 432, "temperature": "38 degF"}, "it reaches from 40 to 120"),
        ({"actual_time": 432, "temperature": 77}, "between −5 °C and 55 °C"),  # 77 °F typed without its unit
        ({"temperature": 25}, "needs both"),
        ({"method": "rate", "test_rate": 100, "temperature": 25}, "needs both"),
        ({"actual_time": "432 A", "temperature": 25}, "measures a current"),
        ({"actual_time": float("nan"), "temperature": 25}, "not a finite number"),
    ],
)
def test_what_cannot_be_calculated_is_refused(typed, words):
    with pytest.raises(InputError, match=words):
        by_time(**typed)


def test_the_rate_table_reaches_further_down_than_the_time_table():
    typed = {"test_rate": 100, "published_rate": 110, "temperature": "30 degF"}
    assert capacity(run("capacity_test", {**typed, "method": "rate"})) == pytest.approx(130.0)
    with pytest.raises(InputError, match="not in the table"):
        by_time(actual_time=400, temperature="30 degF")


def test_a_project_may_bring_the_makers_factors():
    own = {"time_factor": {"title": "maker's factors", "source": "maker", "values": [[60, 0.9], [80, 1.02]]}}
    result = run("capacity_test", {"actual_time": 450, "rated_time": 480, "temperature": "70 degF"}, tables=own)
    assert result.outputs["factor"]["value"] == pytest.approx(0.96)


def test_tables_say_that_they_are_typical_values():
    result = by_time(actual_time=432, temperature=20)
    assert any("typical value, verify" in line.result for line in result.working)


def test_a_short_test_by_time_is_pointed_out():
    result = run("capacity_test", {"actual_time": 14, "rated_time": 15, "temperature": 25})
    assert any("rate method" in caution for caution in result.cautions)
    assert not any("rate method" in caution for caution in by_time(actual_time=450, temperature=25).cautions)


def test_the_caution_of_the_live_test_comes_first():
    assert by_time(actual_time=450, temperature=25).cautions[0].startswith("Discharge test: the battery is live")


@given(st.floats(5, 45), st.floats(1, 900), st.floats(0.01, 100))
def test_more_time_is_more_capacity_and_a_warmer_battery_is_credited_less(temperature, actual, more):
    base = capacity(by_time(actual_time=actual, temperature=temperature))
    assert capacity(by_time(actual_time=actual + more, temperature=temperature)) > base
    assert capacity(by_time(actual_time=actual, temperature=temperature + 1)) < base


def test_uncertainty_of_time_and_temperature_agrees_with_monte_carlo():
    result = by_time(actual_time="432 ± 2", temperature="21 ± 1")
    # independent: Monte Carlo after JCGM 101 with numpy's own interpolation
    random = numpy.random.default_rng(20_240_611)
    fahrenheit = random.normal(21, 0.5, 400_000) * 9 / 5 + 32
    factor = numpy.interp(fahrenheit, [65, 68, 70, 72, 75], [0.920, 0.942, 0.955, 0.970, 0.985])
    drawn = 100 * random.normal(432, 1, 400_000) / (480 * factor)
    assert result.outputs["capacity"]["expanded_uncertainty"] == pytest.approx(2 * drawn.std(), rel=0.06)


def test_a_column_of_tests_agrees_with_each_alone():
    times, warmth = numpy.array([300.0, 432.0, 450.0]), numpy.array([10.0, 20.0, 30.0])
    columns = bulk("capacity_test", {"method": "time", "actual_time": times, "rated_time": 480, "temperature": warmth})
    for index in range(3):
        alone = by_time(actual_time=times[index], temperature=warmth[index])
        assert columns.outputs["capacity"][index] == pytest.approx(capacity(alone))


# capacity_iec


def iec(**typed):
    return run("capacity_iec", {"hours": 10, "rated": 100, **typed})


@pytest.mark.parametrize(
    ("measured", "temperature", "hours", "corrected"),
    [
        (93, 15, 10, 95.876),  # independent: 93/0.97; λ memory, typical value, verify
        (93, 20, 10, 93.0),
        (93, 25, 3, 93 / 1.03),  # independent: the boundary itself counts as long
        (93, 25, 2.9, 93 / 1.05),
        (93, 25, "180 min", 93 / 1.03),
    ],
)
def test_charge_is_corrected_to_20_degrees(measured, temperature, hours, corrected):
    result = iec(measured=measured, temperature=temperature, hours=hours)
    assert result.outputs["corrected"]["value"] == pytest.approx(corrected, abs=5e-4)


def test_outside_15_to_30_degrees_nothing_is_decided():
    assert iec(measured=100, temperature=15).verdict == "accept"
    assert iec(measured=100, temperature=14.9).verdict == "cannot_say"
    assert iec(measured=100, temperature=30.1).verdict == "cannot_say"


def test_without_the_rated_capacity_only_the_charge_is_given():
    result = run("capacity_iec", {"measured": 93, "temperature": 15, "hours": 10})
    assert result.outputs["capacity"]["value"] is None
    assert result.verdict == "cannot_say"


@given(st.floats(1, 5000), st.floats(15, 30), st.floats(0.5, 20))
def test_correcting_and_undoing_returns_the_charge(measured, temperature, hours):
    corrected = iec(measured=measured, temperature=temperature, hours=hours).outputs["corrected"]["value"]
    coefficient = 0.006 if hours >= 3 else 0.01
    assert corrected * (1 + coefficient * (temperature - 20)) == pytest.approx(measured)
    assert (corrected > measured) == (temperature < 20) or corrected == pytest.approx(measured, rel=1e-12)


def test_uncertainty_of_the_corrected_charge_agrees_with_monte_carlo():
    result = iec(measured="93 ± 0.5", temperature="15.5 ± 1.0")
    # independent: Monte Carlo after JCGM 101
    random = numpy.random.default_rng(7)
    drawn = random.normal(93, 0.25, 400_000) / (1 + 0.006 * (random.normal(15.5, 0.5, 400_000) - 20))
    assert result.outputs["corrected"]["expanded_uncertainty"] == pytest.approx(2 * drawn.std(), rel=0.01)
    assert result.outputs["corrected"]["value"] == pytest.approx(drawn.mean(), rel=1e-4)


# nicd_capacity


@pytest.mark.parametrize(
    ("actual", "expected", "verdict"),
    # independent: arithmetic; 90 % common practice, no source
    [(280, 93.3333, "accept"), (270, 90.0, "accept"), (269.9, 89.9667, "reject")],
)
def test_nickel_cadmium_by_time(actual, expected, verdict):
    result = run("nicd_capacity", {"actual_time": actual, "rated_time": 300})
    assert capacity(result) == pytest.approx(expected, abs=5e-5)
    assert result.verdict == verdict


def test_a_specified_capacity_replaces_the_bundled_limit():
    own = {"capacity": {"lower": 95, "source": "specification"}}
    assert run("nicd_capacity", {"actual_time": 280, "rated_time": 300}, limits=own).verdict == "reject"


@given(st.floats(0.1, 1000), st.floats(0.1, 1000))
def test_nickel_cadmium_capacity_times_rated_time_is_the_time(actual, rated):
    result = run("nicd_capacity", {"actual_time": actual, "rated_time": rated})
    assert capacity(result) * rated / 100 == pytest.approx(actual)


def test_hours_are_taken_as_minutes_when_they_carry_their_unit():
    result = run("nicd_capacity", {"actual_time": "4.5 h", "rated_time": "5 h"})
    assert capacity(result) == pytest.approx(90.0)
    assert result.verdict == "accept"
