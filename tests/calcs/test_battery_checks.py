"""Checks of cells, links and chargers: ohmic value, link resistance, specific gravity, temperatures, regulation."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, bulk, run


def value(name, output, **typed):
    return run(name, typed).outputs[output]["value"]


# ohmic_deviation


@pytest.mark.parametrize(
    ("measured", "deviation", "verdict"),
    [
        ("0.63 mΩ", 26, "accept"),  # independent: arithmetic; 50 % published warranty limit
        ("0.75 mΩ", 50, "accept"),
        ("0.76 mΩ", 52, "reject"),
    ],
)
def test_ohmic_value_against_its_reference(measured, deviation, verdict):
    result = run("ohmic_deviation", {"measured": measured, "baseline": "0.50 mΩ"})
    assert result.outputs["deviation"]["value"] == pytest.approx(deviation)
    assert result.verdict == verdict


def test_from_twenty_per_cent_on_the_cell_is_to_be_watched():
    # memory: IEEE 1188, watch 20 to 30 %, typical value, verify
    watched, calm = (run("ohmic_deviation", {"measured": one, "baseline": 0.5e-3}) for one in (0.63e-3, 0.59e-3))
    assert any("advised at most 20 %" in caution for caution in watched.cautions)
    assert not any("advised" in caution for caution in calm.cautions)


def test_a_conductance_counts_as_its_reciprocal():
    # independent: 2000 S against 2500 S is 0.5 mΩ against 0.4 mΩ
    assert value("ohmic_deviation", "deviation", measured="2000 S", baseline="2.5 kS") == pytest.approx(25)
    assert value("ohmic_deviation", "deviation", measured="0.5 mΩ", baseline="2.5 kS") == pytest.approx(25)


def test_the_uncertainty_of_a_conductance_is_carried():
    got = run("ohmic_deviation", {"measured": "2000 ± 40 S", "baseline": "2.5 kS"}).outputs["deviation"]
    assert got["expanded_uncertainty"] == pytest.approx(125 * 0.02)  # independent: 2 % of R/R0 = 125 %


@pytest.mark.parametrize(
    ("typed", "input"),
    [
        ({"measured": "0.6 V", "baseline": "0.5 mΩ"}, "measured"),
        ({"measured": "0.6 mΩ", "baseline": "0 S"}, "baseline"),
        ({"measured": 0, "baseline": "0.5 mΩ"}, "measured"),
        ({"baseline": "0.5 mΩ"}, "measured"),
        ({"measured": "1e9 S", "baseline": "0.5 mΩ"}, "measured"),
    ],
)
def test_what_is_neither_resistance_nor_conductance_is_refused(typed, input):
    with pytest.raises(InputError) as refusal:
        run("ohmic_deviation", typed)
    assert refusal.value.input == input


@given(st.floats(1e-5, 1e-2), st.floats(0.1, 5))
def test_deviation_depends_on_the_ratio_alone(baseline, ratio):
    got = value("ohmic_deviation", "deviation", measured=baseline * ratio, baseline=baseline)
    assert got == pytest.approx(100 * (ratio - 1), abs=1e-6)


def test_a_column_of_cells():
    columns = bulk("ohmic_deviation", {"measured": numpy.array([0.63e-3, 0.76e-3]), "baseline": 0.5e-3})
    assert columns.verdict_words() == ["accept", "reject"]


# link_resistance


@pytest.mark.parametrize(
    ("readings", "worst", "verdict"),
    [
        ("40, 42, 38, 40", 5.0, "accept"),  # independent: arithmetic
        ("40, 42, 38, 60", 100 / 3, "reject"),  # 20 % over the mean: memory, typical value, verify
        ("100, 100, 100", 0, "accept"),  # 100 µΩ: published guide, the edge
        ("101, 101, 101", 0, "reject"),
        ("0.04 mΩ, 42, 38, 40", 5.0, "accept"),
    ],
)
def test_links(readings, worst, verdict):
    result = run("link_resistance", {"readings": readings})
    assert result.outputs["worst"]["value"] == pytest.approx(worst, abs=1e-9)
    assert result.verdict == verdict


def test_the_place_of_the_worst_link_is_named():
    assert value("link_resistance", "place", readings=[40, 42, 60, 38]) == 3


@pytest.mark.parametrize("readings", ["40", "", "40, -1", "40 V, 41 V", "0, 0"])
def test_links_that_cannot_be_compared_are_refused(readings):
    with pytest.raises(InputError) as refusal:
        run("link_resistance", {"readings": readings})
    assert refusal.value.input == "readings"


@given(st.lists(st.floats(1, 1000), min_size=2, max_size=60), st.floats(0.1, 10))
def test_worst_link_is_never_below_the_mean_and_does_not_depend_on_the_scale(readings, factor):
    worst = value("link_resistance", "worst", readings=readings)
    assert worst >= -1e-9
    assert value("link_resistance", "worst", readings=[factor * one for one in readings]) == pytest.approx(
        worst, abs=1e-6
    )


def test_uncertain_links_agree_with_monte_carlo():
    readings = [40, 42, 38, 46]
    result = run("link_resistance", {"readings": ", ".join(f"{one} ± 1" for one in readings)})
    # independent: Monte Carlo after JCGM 101
    drawn = numpy.random.default_rng(2).normal(readings, 0.5, (400_000, 4))
    worst = 100 * (drawn.max(axis=1) / drawn.mean(axis=1) - 1)
    assert result.outputs["worst"]["expanded_uncertainty"] == pytest.approx(2 * worst.std(), rel=0.01)


# specific_gravity


@pytest.mark.parametrize(
    ("measured", "temperature", "corrected"),
    # memory: 0.001 for 1.67 °C, typical value, verify
    [(1.240, 25, 1.240), (1.240, 26.67, 1.241), (1.240, 23.33, 1.239), (1.240, 35, 1.24599), (1.240, "77 degF", 1.240)],
)
def test_gravity_at_25_degrees(measured, temperature, corrected):
    got = value("specific_gravity", "corrected", measured=measured, temperature=temperature)
    assert got == pytest.approx(corrected, abs=5e-6)


@pytest.mark.parametrize(
    ("target", "verdict"), [(1.240, "accept"), (1.25, "accept"), (1.26, "reject"), (None, "cannot_say")]
)  # ±0.010: memory, typical value, verify
def test_the_makers_gravity_decides(target, verdict):
    assert run("specific_gravity", {"measured": 1.240, "temperature": 25, "target": target}).verdict == verdict


@given(st.floats(1.05, 1.35), st.floats(0, 49), st.floats(0.01, 1))
def test_the_same_reading_in_a_warmer_cell_is_a_stronger_acid(measured, temperature, more):
    cool, warm = (
        value("specific_gravity", "corrected", measured=measured, temperature=one)
        for one in (temperature, temperature + more)
    )
    assert warm - cool == pytest.approx(0.001 * more / 1.67, rel=1e-6)


@pytest.mark.parametrize("wrong", [{"measured": 1240}, {"measured": 0.9}, {"temperature": 60}, {"temperature": "25 V"}])
def test_a_gravity_in_points_or_of_a_boiling_cell_is_refused(wrong):
    with pytest.raises(InputError) as refusal:
        run("specific_gravity", {"measured": 1.24, "temperature": 25, **wrong})
    assert refusal.value.input in wrong


def test_acid_is_cautioned_before_the_result():
    assert "Acid burns" in run("specific_gravity", {"measured": 1.24, "temperature": 25}).cautions[1]


# temperature_spread


@pytest.mark.parametrize(
    ("readings", "spread", "verdict"),
    # published guide: 3 K (5 °F)
    [
        ("22.5, 24.1, 23.0", 1.6, "accept"),
        ("22, 25", 3.0, "accept"),
        ("22, 25.1", 3.1, "reject"),
        ("68 degF, 73 degF", 25 / 9, "accept"),
        ("22 ± 0.5, 25 ± 0.5", 3.0, "accept_within_guard_band"),
    ],
)
def test_temperatures(readings, spread, verdict):
    result = run("temperature_spread", {"readings": readings})
    assert result.outputs["spread"]["value"] == pytest.approx(spread)
    assert result.verdict == verdict


@pytest.mark.parametrize("readings", ["22", "22, 300", "22 V, 23 V"])
def test_temperatures_that_tell_no_spread_are_refused(readings):
    with pytest.raises(InputError) as refusal:
        run("temperature_spread", {"readings": readings})
    assert refusal.value.input == "readings"


@given(st.lists(st.floats(0, 50), min_size=2, max_size=60), st.floats(-20, 20))
def test_the_spread_does_not_depend_on_the_level_or_the_order(readings, shift):
    base = value("temperature_spread", "spread", readings=readings)
    assert base == pytest.approx(numpy.ptp(readings))
    moved = value("temperature_spread", "spread", readings=[one + shift for one in reversed(readings)])
    assert moved == pytest.approx(base, abs=1e-9)


# regulation


@pytest.mark.parametrize(
    ("readings", "deviation", "verdict"),
    # ±1 %: memory, typical value, verify; deviations independent: arithmetic
    [
        ("54.2, 54.0, 53.8, 54.1", 0.37037, "accept"),
        ("54.0, 53.4", -1.1111, "reject"),
        ("54.54, 54.0", 1.0, "accept"),
        ("53.46", -1.0, "accept"),
        ("54.5 ± 0.1", 0.92593, "accept_within_guard_band"),
    ],
)
def test_regulation(readings, deviation, verdict):
    result = run("regulation", {"readings": readings, "setpoint": 54})
    assert abs(result.outputs["deviation"]["value"]) == pytest.approx(abs(deviation), abs=5e-5)
    assert result.verdict == verdict


def test_the_sign_of_the_furthest_reading_is_kept():
    assert value("regulation", "deviation", readings="54.2, 53.6", setpoint=54) == pytest.approx(-0.74074, abs=5e-6)


@given(st.lists(st.floats(10, 500), min_size=1, max_size=10), st.floats(10, 500))
def test_no_reading_is_further_than_the_furthest(readings, setpoint):
    result = run("regulation", {"readings": readings, "setpoint": setpoint})
    each = [100 * (one / setpoint - 1) for one in readings]
    assert abs(result.outputs["deviation"]["value"]) == pytest.approx(max(map(abs, each)), abs=1e-9)
    assert result.outputs["deviations"]["value"] == pytest.approx(each, abs=1e-9)


@pytest.mark.parametrize("wrong", [{"setpoint": 0}, {"readings": "54 A"}, {"readings": ""}, {"permitted": -1}])
def test_impossible_settings_are_refused(wrong):
    with pytest.raises(InputError) as refusal:
        run("regulation", {"readings": "54", "setpoint": 54, **wrong})
    assert refusal.value.input in wrong
