"""Insulation of the poles: inverse of a forward nodal solution that knows nothing of the formulas."""

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calcs import InputError, run


def nodal(system, positive, negative, *, meter=(None, None), resistor=(None, None)):
    """Independent: voltage of earth over the negative pole by current balance; conductances from each pole to earth."""
    above = 1 / positive + sum(1 / one for one in (meter[0], resistor[0]) if one)
    below = 1 / negative + sum(1 / one for one in (meter[1], resistor[1]) if one)
    earth = float(numpy.linalg.solve([[above + below]], [above * system])[0])
    return system - earth, earth  # positive pole to earth, negative pole to earth


def two_readings(system, positive, negative, meter):
    reading_positive = nodal(system, positive, negative, meter=(meter, None))[0]
    reading_negative = nodal(system, positive, negative, meter=(None, meter))[1]
    return {
        "system": system, "positive": reading_positive, "negative": reading_negative, "meter_resistance": meter,
    }  # fmt: skip


def three_readings(system, positive, negative, meter, resistor, pole):
    typed = two_readings(system, positive, negative, meter)
    place = 0 if pole == "positive" else 1
    at = (meter, None) if place == 0 else (None, meter)
    with_resistor = (resistor, None) if place == 0 else (None, resistor)
    loaded = nodal(system, positive, negative, meter=at, resistor=with_resistor)[place]
    return {**typed, "test_resistance": resistor, "test_pole": pole, "loaded": loaded}


def value(result, name):
    return result.outputs[name]["value"]


def test_readings_of_the_catalogue():
    # independent: forward nodal solution; the readings are rounded to 0.1 mV, hence the tolerance
    result = run(
        "pole_insulation", {"system": 122.7, "positive": 30.6750, "negative": 30.6750, "meter_resistance": "100k"}
    )
    assert value(result, "positive_resistance") == pytest.approx(200e3)
    assert value(result, "negative_resistance") == pytest.approx(200e3)
    three = {
        "system": 122.7, "positive": 4.6302, "negative": 115.7547, "meter_resistance": "1M",
        "test_resistance": "22k", "test_pole": "negative", "loaded": 62.3130,
    }  # fmt: skip
    result = run("pole_insulation", three)
    assert value(result, "positive_resistance") == pytest.approx(20e3, rel=1e-5)
    assert value(result, "negative_resistance") == pytest.approx(500e3, rel=1e-5)
    assert value(result, "ohms_per_volt") == pytest.approx(156.7, abs=0.05)
    assert value(result, "faulted_pole") == "positive"
    assert value(result, "symmetric") is False
    assert result.verdict == "accept"


def test_a_symmetric_fault_says_that_a_balance_relay_cannot_see_it():
    typed = {
        "system": 122.7, "positive": 61.3193, "negative": 61.3193, "meter_resistance": "10M",
        "test_resistance": "22k", "test_pole": "negative", "loaded": 49.9685,
    }  # fmt: skip
    result = run("pole_insulation", typed)
    # independent: forward nodal solution; 10 kΩ ‖ 10 kΩ over 122.7 V is 40.75 Ω/V
    assert value(result, "positive_resistance") == pytest.approx(10e3, rel=1e-4)
    assert value(result, "negative_resistance") == pytest.approx(10e3, rel=1e-3)
    assert value(result, "ohms_per_volt") == pytest.approx(40.7, abs=0.1)
    assert value(result, "symmetric") is True
    assert value(result, "faulted_pole") == "both"
    assert result.verdict == "reject"
    assert any("balance relay" in caution for caution in result.cautions)


resistance = st.floats(3, 7).map(lambda power: 10**power)


@given(st.floats(20, 400), resistance, resistance)
def test_two_readings_give_back_the_poles(system, positive, negative):
    result = run("pole_insulation", two_readings(system, positive, negative, 100e3))
    assert value(result, "positive_resistance") == pytest.approx(positive, rel=1e-6)
    assert value(result, "negative_resistance") == pytest.approx(negative, rel=1e-6)


@settings(max_examples=60)
@given(st.floats(20, 400), resistance, resistance, st.sampled_from(["positive", "negative"]))
def test_three_readings_give_back_the_poles(system, positive, negative, pole):
    result = run("pole_insulation", three_readings(system, positive, negative, 1e6, 22e3, pole))
    assert value(result, "positive_resistance") == pytest.approx(positive, rel=1e-5)
    assert value(result, "negative_resistance") == pytest.approx(negative, rel=1e-5)
    assert value(result, "parallel") == pytest.approx(positive * negative / (positive + negative), rel=1e-5)


def test_uncertainty_agrees_with_a_monte_carlo_run():
    # independent: JCGM 101 in numpy, 200 000 draws
    typed = three_readings(122.7, 20e3, 500e3, 1e6, 22e3, "negative")
    spreads = {"system": 0.05, "negative": 0.05, "loaded": 0.05}
    with_spread = {key: f"{one!r} +- {spreads[key]}" if key in spreads else one for key, one in typed.items()}
    result = run("pole_insulation", with_spread)
    draws = numpy.random.default_rng(7).normal
    system, negative, loaded = (draws(typed[key], spreads[key] / 2, 200_000) for key in spreads)
    sampled = 22e3 * system * (1 / loaded - 1 / negative)
    assert result.outputs["positive_resistance"]["expanded_uncertainty"] == pytest.approx(2 * sampled.std(), rel=0.02)
    assert any("independent" in caution for caution in result.cautions)


def test_a_difference_lost_in_the_uncertainty_is_refused():
    typed = two_readings(122.7, 10e3, 10e3, 10e6)
    typed |= {key: f"{typed[key]!r} +- 0.1" for key in ("system", "positive", "negative")}
    with pytest.raises(InputError, match="only the ratio is known"):
        run("pole_insulation", typed)


@pytest.mark.parametrize(
    ("change", "at_fault"),
    [
        ({"positive": 80, "negative": 80}, "positive"),
        ({"test_resistance": "22k"}, "loaded"),
        ({"meter_resistance": "-1"}, "meter_resistance"),
        ({"positive": -30}, "positive"),
        ({"test_resistance": "22k", "test_pole": "negative", "loaded": 50}, "loaded"),
    ],
)
def test_readings_that_cannot_be_are_refused(change, at_fault):
    typed = {"system": 122.7, "positive": 30.675, "negative": 30.675, "meter_resistance": 100e3}
    with pytest.raises(InputError) as refusal:
        run("pole_insulation", {**typed, **change})
    assert refusal.value.input == at_fault


def test_the_power_in_the_test_resistor_is_cautioned():
    result = run("pole_insulation", three_readings(122.7, 20e3, 500e3, 1e6, 22e3, "negative"))
    assert any("0.684331 W" in caution for caution in result.cautions)  # independent: 122.7²/22000
