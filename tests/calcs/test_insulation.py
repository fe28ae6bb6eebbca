"""Insulation resistance of a circuit, and polarisation index."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, run


def circuit(**typed):
    return run("insulation_resistance", {"circuit_voltage": 110, **typed})


@pytest.mark.parametrize(
    ("measured", "temperature", "base", "corrected"),
    [
        ("500 MΩ", 25, 40, 176.78e6),  # published: 177 MΩ
        ("75 MΩ", 30, 20, 150e6),  # published
        ("3 MΩ", 70, 40, 24.0e6),  # independent: 3·2³; the graph of one handbook gives 21
        ("3 MΩ", 40, 40, 3e6),
    ],
)
def test_correction_to_the_base_temperature(measured, temperature, base, corrected):
    result = circuit(measured=measured, temperature=temperature, base_temperature=base)
    assert result.outputs["corrected"]["value"] == pytest.approx(corrected, rel=1e-4)


@pytest.mark.parametrize(
    ("voltage", "minimum", "test_voltage"),
    # published: IEC 60364-6:2016 table 6.1
    [(24, 0.5e6, 250), (50, 0.5e6, 250), (50.1, 1e6, 500), (110, 1e6, 500), (500, 1e6, 500), (690, 1e6, 1000)],
)
def test_minimum_and_test_voltage_follow_the_circuit(voltage, minimum, test_voltage):
    result = circuit(measured="2 MΩ", circuit_voltage=voltage)
    assert result.outputs["minimum"]["value"] == minimum
    assert result.outputs["required_test_voltage"]["value"] == test_voltage


def test_without_temperature_nothing_is_corrected_and_the_result_says_so():
    result = circuit(measured="2 MΩ")
    assert result.outputs["corrected"]["value"] == 2e6
    assert any("Not corrected" in caution for caution in result.cautions)
    assert result.verdict == "accept"


def test_the_edge_is_accepted_and_below_it_is_not():
    assert circuit(measured="1 MΩ").verdict == "accept"
    assert circuit(measured="0,99 MΩ").verdict == "reject"


def test_a_warm_reading_below_the_minimum_is_not_corrected_into_acceptance():
    result = circuit(measured="0.5 MΩ", temperature=70)
    assert result.outputs["corrected"]["value"] == pytest.approx(4e6)
    assert result.verdict == "reject"


def test_too_low_a_test_voltage_decides_nothing():
    result = circuit(measured="200 MΩ", test_voltage=250)
    assert result.verdict == "cannot_say"
    assert any("250 V is below the 500 V" in caution for caution in result.cautions)
    assert circuit(measured="200 MΩ", test_voltage=500).verdict == "accept"


@given(st.floats(1e3, 1e10), st.floats(-20, 100), st.floats(0, 60))
def test_correcting_there_and_back_returns_the_reading(measured, temperature, base):
    there = circuit(measured=measured, temperature=min(max(temperature, 0), 60), base_temperature=base)
    back = circuit(
        measured=there.outputs["corrected"]["value"], temperature=base, base_temperature=min(max(temperature, 0), 60)
    )
    assert back.outputs["corrected"]["value"] == pytest.approx(measured, rel=1e-9)


def test_uncertainty_of_reading_and_temperature_both_count():
    result = circuit(measured="500 ± 25 MΩ", temperature="25 ± 1")
    # independent: relative parts 5 % and ln 2 / 10 per degree, in quadrature
    relative = (0.05**2 + (0.0693147) ** 2) ** 0.5
    assert result.outputs["corrected"]["expanded_uncertainty"] == pytest.approx(176.7767e6 * relative, rel=1e-4)


def test_an_insulation_resistance_in_volts_is_refused():
    with pytest.raises(InputError) as refusal:
        circuit(measured="500 V")
    assert refusal.value.input == "measured"


@pytest.mark.parametrize(
    ("ten", "verdict"), [("1.0 GΩ", "accept"), ("0.99 GΩ", "reject"), ("2 GΩ", "accept")]
)  # memory: IEEE 43, 2.0, typical value, verify
def test_polarisation_index_from_two_on(ten, verdict):
    assert run("polarisation_index", {"one_minute": "500 MΩ", "ten_minutes": ten}).verdict == verdict


def test_above_five_gigaohm_the_index_says_nothing():
    result = run("polarisation_index", {"one_minute": "6 GΩ", "ten_minutes": "15 GΩ"})
    assert result.outputs["index"]["value"] == pytest.approx(2.5)
    assert result.verdict == "cannot_say"
    assert any("says nothing" in caution for caution in result.cautions)
    assert run("polarisation_index", {"one_minute": "5 GΩ", "ten_minutes": "15 GΩ"}).verdict == "accept"


@given(st.floats(1e6, 4e9), st.floats(0.1, 20))
def test_the_index_does_not_depend_on_the_size(one_minute, ratio):
    result = run("polarisation_index", {"one_minute": one_minute, "ten_minutes": one_minute * ratio})
    assert result.outputs["index"]["value"] == pytest.approx(ratio)


def test_short_cables_are_mentioned():
    result = run("polarisation_index", {"one_minute": "500 MΩ", "ten_minutes": "1 GΩ"})
    assert any("short DC cables" in caution for caution in result.cautions)
