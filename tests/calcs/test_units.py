"""Quantities as people type them."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs.errors import InputError
from calcs.units import parse


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("122.7", "V", 122.7),
        ("122.7 V", "V", 122.7),
        ("480 mV", "V", 0.48),
        ("480mV", "V", 0.48),
        ("0,52 MΩ", "Ω", 520_000),  # U+03A9, decimal comma
        ("0.52 M\u2126", "Ω", 520_000),  # the ohm sign, U+2126
        ("0.52Mohm", "Ω", 520_000),
        ("4.5 mohm", "Ω", 0.0045),
        ("22R", "Ω", 22),
        ("1200 N·cm", "N·m", 12),  # torque of a terminal
        ("100k", "Ω", 100_000),
        ("1 200 V", "V", 1200),
        ("1\u2009200\u202fV", "V", 1200),  # thin spaces
        ("1\u00a0200", "V", 1200),
        ("1.200,5", "V", 1200.5),
        ("1,200.5", "V", 1200.5),
        ("0,520", "V", 0.52),
        (".5", "V", 0.5),
        ("-5", "V", -5),
        ("\u22125", "V", -5),  # a true minus sign
        ("12e3", "V", 12_000),
        ("1.5E-3 kV", "V", 1.5),
        ("25 degC", "°C", 25),
        ("25 °C", "°C", 25),
        ("25 ℃", "°C", 25),
        ("77 °F", "°C", 25),  # published: definition of the scale
        ("298.15 K", "°C", 25),
        ("-3 mV/K", "V/°C", -0.003),
        ("-3 mV/°C", "V/°C", -0.003),
        ("7.41 mΩ/m", "Ω/km", 7.41),
        ("25 mm2", "mm²", 25),
        ("1 cm²", "mm²", 100),
        ("10 %", "%", 10),
        ("2 h", "min", 120),
        ("1 yard", "m", 0.9144),  # international yard: published, 0.9144 m
        ("1 hectare", "mm²", 1e10),  # not in our table; published: 10 000 m²
        ("120 m3/h", "m³/h", 120),
        ("100 cfm", "m³/h", 169.901079552),  # independent: 100·0.3048³·60
        ("3 °C", "K", 3),  # a difference of temperatures
    ],
)
def test_a_value_is_read_in_the_unit_asked_for(typed, unit, value):
    quantity = parse(typed, unit)
    assert quantity.value == pytest.approx(value, rel=1e-12)
    assert quantity.expanded_uncertainty is None
    assert quantity.typed == typed


@pytest.mark.parametrize(
    ("typed", "unit", "value", "spread"),
    [
        ("122.7+-0.13", "V", 122.7, 0.13),
        ("122.7 +/- 0.13 V", "V", 122.7, 0.13),
        ("122.7±0.13", "V", 122.7, 0.13),
        ("122.7 V ± 130 mV", "V", 122.7, 0.13),
        ("(122.7 ± 0.13) V", "V", 122.7, 0.13),
        ("122,7 ± 0,13", "V", 122.7, 0.13),
        ("480 ± 2 mV", "V", 0.48, 0.002),
        ("200 V ± 0.5 %", "V", 200, 1.0),
        ("10 % ± 1", "%", 10, 1),
        ("10 °C ± 1.8 °F", "°C", 10, 1),
        ("20 ± 0.5", "°C", 20, 0.5),
    ],
)
def test_an_expanded_uncertainty_follows_the_plus_minus(typed, unit, value, spread):
    quantity = parse(typed, unit)
    assert quantity.value == pytest.approx(value)
    assert quantity.expanded_uncertainty == pytest.approx(spread)


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("", "empty"),
        ("  ", "empty"),
        ("nan", "not a number"),
        ("inf", "not a number"),
        ("1e999", "too large"),
        ("twelve", "not a number"),
        ("12 A", "measures a current"),
        ("12 %", "plain number or percentage"),
        ("12 zorks", "not known"),
        ("12 00", "space inside"),
        ("1,200", "two ways"),
        ("1.2.3", "not one number"),
        ("1+-2+-3", "more than one"),
        ("1+--2", "cannot be negative"),
        (float("nan"), "finite"),
        (math.inf, "finite"),
        (None, "give a number in V"),
        (True, "give a number in V"),
        ([1, 2], "not a number"),
    ],
)
def test_what_is_no_voltage_is_refused_in_one_sentence(typed, says):
    with pytest.raises(InputError) as refusal:
        parse(typed, "V", name="measured")
    assert refusal.value.input == "measured"
    assert says in str(refusal.value)
    assert "\n" not in str(refusal.value)


@given(st.floats(-1e9, 1e9, allow_subnormal=False), st.sampled_from(["V", "mV", "kV", "MV"]))
def test_any_number_typed_with_a_unit_reads_back(value, unit):
    size = {"V": 1, "mV": 1e-3, "kV": 1e3, "MV": 1e6}[unit]
    assert parse(f"{value!r} {unit}", "V").value == pytest.approx(value * size, rel=1e-12, abs=1e-300)


@given(st.integers(0, 10**12), st.sampled_from(" \u2009\u202f\u00a0"))
def test_groups_of_three_digits_may_be_set_apart(value, space):
    assert parse(f"{value:,}".replace(",", space), "V").value == value
