"""Rectifier modules: redundancy and load sharing."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, run


@pytest.mark.parametrize(
    ("typed", "needed", "spare", "survives", "verdict"),
    [
        ({"load": 96.6, "module": 50, "installed": 3}, 2, 1, True, "accept"),  # published
        ({"load": 420, "module": 50, "installed": 9}, 9, 0, False, "reject"),  # published: 9 modules
        ({"load": 80, "recharge": 20, "module": 50, "installed": 2}, 2, 0, False, "reject"),  # independent
        ({"load": 101, "module": 50, "installed": 2}, 3, -1, False, "reject"),
    ],
)
def test_modules_needed_and_to_spare(typed, needed, spare, survives, verdict):
    result = run("rectifier_redundancy", typed)
    got = {name: one["value"] for name, one in result.outputs.items()}
    assert got == {"needed": needed, "spare": spare, "survives_one_loss": survives}
    assert result.verdict == verdict


def test_without_the_number_installed_only_the_need_is_told():
    result = run("rectifier_redundancy", {"load": 96.6, "module": 50})
    assert result.outputs["needed"]["value"] == 2
    assert result.outputs["spare"]["value"] is None
    assert result.verdict == "cannot_say"


@given(st.integers(1, 50), st.floats(1, 200))
def test_a_load_of_whole_modules_needs_just_those(count, module):
    assert run("rectifier_redundancy", {"load": count * module, "module": module}).outputs["needed"]["value"] == count


@given(st.floats(0, 1e4), st.floats(1, 200))
def test_the_modules_needed_carry_the_load_and_one_less_does_not(load, module):
    needed = run("rectifier_redundancy", {"load": load, "module": module}).outputs["needed"]["value"]
    assert needed * module >= load * (1 - 1e-6) - 1e-6
    assert (needed - 1) * module < load or math.isclose(load, 0)


def test_load_sharing_of_four_modules():
    # independent: arithmetic on the mean of 10 A
    result = run("load_share", {"currents": "10.1,9.8,10.3,9.8", "rated": 15})
    assert result.outputs["deviations"]["value"] == pytest.approx([1, -2, 3, -2])
    assert result.outputs["worst"]["value"] == pytest.approx(3)
    assert result.outputs["spread"]["value"] == pytest.approx(5.0)
    assert result.verdict == "accept"


@pytest.mark.parametrize(("currents", "verdict"), [([10.5, 9.5], "accept"), ([10.51, 9.49], "reject")])
def test_five_per_cent_is_the_edge(currents, verdict):
    assert run("load_share", {"currents": currents, "rated": 15}).verdict == verdict


def test_below_half_load_sharing_is_not_judged():
    result = run("load_share", {"currents": "5,7", "rated": 15})
    assert result.verdict == "cannot_say"
    assert any("sharing is judged from 50 %" in caution for caution in result.cautions)


def test_currents_may_carry_units_uncertainties_and_decimal_commas():
    result = run("load_share", {"currents": "10,1 A; 9800 mA; 10,3+-0,1; 9.8", "rated": 15})
    assert result.outputs["deviations"]["value"] == pytest.approx([1, -2, 3, -2])
    # independent: one current of four with U = 0.1 A, own share 1/4 of the mean
    assert result.outputs["deviations"]["expanded_uncertainty"][0] == pytest.approx(
        100 * 0.1 * 10.1 / 4 / 10**2, rel=1e-3
    )


@given(st.lists(st.floats(1, 100), min_size=2, max_size=12), st.floats(0.1, 10))
def test_sharing_does_not_depend_on_the_size_of_the_load(currents, factor):
    one = run("load_share", {"currents": currents}).outputs
    two = run("load_share", {"currents": [factor * current for current in currents]}).outputs
    assert one["worst"]["value"] == pytest.approx(two["worst"]["value"], abs=1e-9)
    assert one["worst"]["value"] <= one["spread"]["value"] + 1e-9
    assert sum(one["deviations"]["value"]) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("currents", ["10", "0,0", "10,,10", "10,x", []])
def test_lists_that_say_nothing_are_refused(currents):
    with pytest.raises(InputError) as refusal:
        run("load_share", {"currents": currents})
    assert refusal.value.input == "currents"
