"""AC supply: tolerance and unbalance."""

import cmath
import math

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from calcs import InputError, run


def value(result, name):
    return result.outputs[name]["value"]


@pytest.mark.parametrize(("nominal", "lower", "upper"), [(230, 207.0, 253.0), (400, 360.0, 440.0)])
def test_the_tolerance_in_volts(nominal, lower, upper):
    # independent: arithmetic; tolerance memory: IEC 60038, typical value, verify
    result = run("ac_supply_tolerance", {"measured": nominal, "nominal": nominal})
    assert (value(result, "lower"), value(result, "upper")) == (pytest.approx(lower), pytest.approx(upper))
    assert "typical value, verify" in result.limits[0]["source"]


@pytest.mark.parametrize(
    ("measured", "verdict"),
    [(206.9, "reject"), (207.0, "accept"), ("207 V", "accept"), (253, "accept"), ("0.2531 kV", "reject")],
)
def test_a_supply_at_the_edge_of_its_tolerance_is_accepted(measured, verdict):
    assert run("ac_supply_tolerance", {"measured": measured, "nominal": 230}).verdict == verdict


def test_deviation_of_a_low_supply():
    # independent: 100·(206.9 − 230)/230
    result = run("ac_supply_tolerance", {"measured": 206.9, "nominal": 230})
    assert value(result, "deviation") == pytest.approx(-10.0435, abs=5e-5)


def test_uncertainty_moves_the_edge_into_the_guard_band():
    result = run("ac_supply_tolerance", {"measured": "207.5+-1.0", "nominal": 230})
    assert result.verdict == "accept_within_guard_band"
    # independent: U of the deviation is 100·U/U_n
    assert result.outputs["deviation"]["expanded_uncertainty"] == pytest.approx(100 * 1.0 / 230)


@given(st.floats(1, 1000), st.floats(0, 50), st.floats(0, 2))
def test_scaling_measured_and_nominal_together_changes_nothing(nominal, tolerance, ratio):
    one = run("ac_supply_tolerance", {"measured": nominal * ratio, "nominal": nominal, "tolerance": tolerance})
    two = run("ac_supply_tolerance", {"measured": nominal * ratio * 7, "nominal": nominal * 7, "tolerance": tolerance})
    assert value(one, "deviation") == pytest.approx(value(two, "deviation"), abs=1e-9)
    assert one.verdict == two.verdict


def test_a_supply_measured_in_ampere_is_refused():
    with pytest.raises(InputError, match="measures a current"):
        run("ac_supply_tolerance", {"measured": "230 A", "nominal": 230})


def negative_sequence_by_phasors(ab, bc, ca):
    """Independent: the triangle's angles by the law of cosines, then Fortescue's symmetrical components."""
    angle = math.acos((ab**2 + ca**2 - bc**2) / (2 * ab * ca))
    first = complex(ab, 0)
    third = -ca * cmath.exp(1j * angle)
    second = -first - third
    turn = cmath.exp(2j * math.pi / 3)
    one = abs(first + turn * second + turn**2 * third)
    two = abs(first + turn**2 * second + turn * third)
    return 100 * min(one, two) / max(one, two)


@pytest.mark.parametrize(
    ("sides", "deviation", "negative"),
    [
        ((462, 463, 455), 1.0870, 1.0914),  # published inputs; the negative sequence independent: phasors
        ((203, 210, 212), 2.5600, 2.6064),  # published inputs; the negative sequence independent: phasors
        ((400, 400, 380), 3.3898, 3.3630),
        ((393, 403, 396), 1.4262, 1.4950),
        ((400, 400, 400), 0, 0),
    ],
)
def test_unbalance_of_three_voltages(sides, deviation, negative):
    result = run("voltage_unbalance", dict(zip(("ab", "bc", "ca"), sides, strict=True)))
    assert value(result, "max_deviation") == pytest.approx(deviation, abs=5e-5)
    assert value(result, "negative_sequence") == pytest.approx(negative, abs=5e-5)
    assert value(result, "negative_sequence") == pytest.approx(negative_sequence_by_phasors(*sides), abs=1e-5)


side = st.floats(100, 500)


@given(side, side, side)
def test_negative_sequence_agrees_with_symmetrical_components(ab, bc, ca):
    assume(2 * max(ab, bc, ca) < 0.999 * (ab + bc + ca))
    result = run("voltage_unbalance", {"ab": ab, "bc": bc, "ca": ca})
    assert value(result, "negative_sequence") == pytest.approx(negative_sequence_by_phasors(ab, bc, ca), abs=2e-5)


@given(side, side, side)
def test_unbalance_does_not_depend_on_the_order_of_phases(ab, bc, ca):
    assume(2 * max(ab, bc, ca) < 0.999 * (ab + bc + ca))
    one = run("voltage_unbalance", {"ab": ab, "bc": bc, "ca": ca})
    two = run("voltage_unbalance", {"ab": ca, "bc": ab, "ca": bc})
    for name in ("max_deviation", "negative_sequence"):
        assert value(one, name) == pytest.approx(value(two, name), abs=1e-6)


def test_unbalance_verdicts_and_advice():
    good = run("voltage_unbalance", {"ab": 462, "bc": 463, "ca": 455})
    assert good.verdict == "accept"
    assert any("advised at most 1 %" in caution for caution in good.cautions)
    assert run("voltage_unbalance", {"ab": 203, "bc": 210, "ca": 212}).verdict == "reject"


def test_balanced_phases_read_with_an_instrument_are_accepted_with_a_finite_uncertainty():
    result = run("voltage_unbalance", {"ab": "400+-1", "bc": "400+-1", "ca": "400+-1"})
    assert result.verdict == "accept"
    # independent: the slope of the phasors' answer away from balance, three readings that do not depend on each other
    slope = negative_sequence_by_phasors(400.01, 400, 400) / 0.01
    spread = result.outputs["negative_sequence"]["expanded_uncertainty"]
    assert spread == pytest.approx(slope * math.sqrt(3), rel=1e-3)


def test_sides_that_make_no_triangle_are_refused():
    with pytest.raises(InputError, match="no triangle") as refusal:
        run("voltage_unbalance", {"ab": 400, "bc": 231, "ca": 100})
    assert refusal.value.input == "ab"


def test_a_flat_triangle_is_all_unbalance():
    result = run("voltage_unbalance", {"ab": 400, "bc": 200, "ca": 200})
    assert value(result, "beta") == pytest.approx(0.5)
    assert value(result, "negative_sequence") == pytest.approx(100)
