"""Continuity of a protective conductor, and the resistance of an earth rod."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from calcs import InputError, run

RUN = {"length": 22, "line_per_km": 7.41, "protective_per_km": 12.1}


def continuity(**typed):
    return run("protective_continuity", {**RUN, **typed})


def test_expected_resistance_of_a_run():
    result = continuity(measured=0.45)
    assert result.outputs["expected"]["value"] == pytest.approx(0.4292, abs=5e-5)  # published: 0.429 Ω
    assert result.outputs["ratio"]["value"] == pytest.approx(1.04841, abs=5e-6)  # independent: arithmetic


@pytest.mark.parametrize(
    ("measured", "verdict"),
    # 1.2 times expected: common practice, no source
    [
        ("0.4292 Ω", "accept"),
        ("515.064 mΩ", "accept"),
        ("516 mΩ", "reject"),
        ("0.50 ± 0.03", "accept_within_guard_band"),
    ],
)
def test_a_reading_well_above_the_expected_is_rejected(measured, verdict):
    assert continuity(measured=measured).verdict == verdict


def test_a_reading_well_below_points_to_a_parallel_path():
    assert any("parallel path" in caution for caution in continuity(measured=0.3).cautions)
    assert not any("parallel path" in caution for caution in continuity(measured=0.42).cautions)


def test_hot_conductors_are_expected_to_read_higher():
    cold, hot = (continuity(measured=0.45, hot_factor=factor).outputs["expected"]["value"] for factor in (1, 1.2))
    assert hot == pytest.approx(1.2 * cold)


def test_the_dead_test_caution_comes_first():
    assert "prove dead at the point of work" in continuity(measured=0.45).cautions[0]


@pytest.mark.parametrize(
    ("change", "input"),
    [
        ({"length": 0}, "length"),
        ({"line_per_km": 0, "protective_per_km": 0}, "line_per_km"),
        ({"measured": "0.45 V"}, "measured"),
        ({"measured": -0.1}, "measured"),
    ],
)
def test_impossible_runs_are_refused(change, input):
    with pytest.raises(InputError) as refusal:
        continuity(**{"measured": 0.45, **change})
    assert refusal.value.input == input


@given(st.floats(0.1, 5000), st.floats(0.01, 50), st.floats(0.01, 50), st.floats(0.1, 10))
def test_the_ratio_is_one_when_the_expected_is_measured_and_grows_with_it(length, line, protective, factor):
    typed = {"length": length, "line_per_km": line, "protective_per_km": protective}
    expected = run("protective_continuity", {**typed, "measured": 0}).outputs["expected"]["value"]
    result = run("protective_continuity", {**typed, "measured": expected * factor})
    assert result.outputs["ratio"]["value"] == pytest.approx(factor)


# earth_electrode


def rod(**typed):
    return run("earth_electrode", {"resistivity": 55, "length": 3, "diameter": 25, **typed})


def rod_by_potential(resistivity, length, radius):
    """Independent: mean potential along a rod that leaks evenly, by the method of images, integrated numerically."""

    def inner(z):
        near = numpy.arcsinh((length - z) / radius) + numpy.arcsinh(z / radius)
        image = numpy.arcsinh((2 * length - (length - z)) / radius) - numpy.arcsinh((length - (length - z)) / radius)
        return near + image

    return resistivity / (4 * numpy.pi * length**2) * quad(inner, 0, length, limit=200)[0]


def test_earth_rod():
    assert rod().outputs["resistance"]["value"] == pytest.approx(17.119, abs=5e-4)  # published: 17.12 Ω


def test_earth_rod_agrees_with_the_mean_potential():
    for length, diameter in ((3, 25), (1.2, 16), (6, 14.2)):
        expected = rod_by_potential(55, length, diameter / 2000)
        got = rod(length=length, diameter=diameter).outputs["resistance"]["value"]
        assert got == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize(("permitted", "verdict"), [(20, "accept"), (17, "reject"), (None, "cannot_say")])
def test_the_resistance_of_the_design_decides(permitted, verdict):
    assert rod(permitted=permitted).verdict == verdict


def test_a_stub_is_refused():
    with pytest.raises(InputError, match="slender") as refusal:
        rod(length=0.4)
    assert refusal.value.input == "length"


def test_the_figure_is_called_an_estimate_and_the_caution_comes_first():
    result = rod()
    assert "Never open an earth connection" in result.cautions[0]
    assert any("estimate for planning" in caution for caution in result.cautions)


@given(st.floats(1, 10_000), st.floats(1, 30), st.floats(5, 40), st.floats(1.01, 3))
def test_more_rod_is_less_resistance_and_resistivity_is_a_factor(resistivity, length, diameter, more):
    base = rod(resistivity=resistivity, length=length, diameter=diameter).outputs["resistance"]["value"]
    longer = rod(resistivity=resistivity, length=length * more, diameter=diameter).outputs["resistance"]["value"]
    wetter = rod(resistivity=resistivity / more, length=length, diameter=diameter).outputs["resistance"]["value"]
    assert longer < base
    assert wetter == pytest.approx(base / more)


def test_uncertainty_of_the_soil_is_carried():
    got = rod(resistivity="55 ± 10 %").outputs["resistance"]
    assert got["expanded_uncertainty"] == pytest.approx(0.1 * got["value"])
