"""Charger current, and time to recharge."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, run


@pytest.mark.parametrize(
    ("load", "removed", "hours", "factor", "current"),
    [
        (143, 171, 8, 1.15, 167.581),  # published: 167.6 A
        (40, 200, 10, 1.1, 62.0),  # independent: arithmetic
        (0, 0, 8, 1.1, 0.0),
    ],
)
def test_charger_current(load, removed, hours, factor, current):
    result = run("charger_rating", {"load": load, "removed": removed, "hours": hours, "factor": factor})
    assert result.outputs["current"]["value"] == pytest.approx(current, abs=5e-4)


@pytest.mark.parametrize(("installed", "verdict"), [(62, "accept"), (61.9, "reject"), (None, "cannot_say")])
def test_the_charger_installed_is_held_against_the_need(installed, verdict):
    result = run("charger_rating", {"load": 40, "removed": 200, "hours": 10, "installed": installed})
    assert result.verdict == verdict


def test_the_factor_is_a_typical_value_that_a_project_changes():
    definition = run("recharge_time", {"removed": 100, "charger": 40, "load": 20, "factor": 1.4})
    assert definition.outputs["hours"]["value"] == pytest.approx(7.0)  # independent: arithmetic, NiCd factor (memory)


def test_recharge_time():
    result = run("recharge_time", {"removed": 100, "charger": 40, "load": 20})
    assert result.outputs["hours"]["value"] == pytest.approx(
        5.5
    )  # independent: arithmetic, factor 1.1 (memory, verify)
    assert any("80 to 90 % of charge" in caution for caution in result.cautions)


@pytest.mark.parametrize("load", [40, 41, "0.05 kA"])
def test_a_charger_that_only_carries_the_load_never_recharges(load):
    with pytest.raises(InputError, match="never recharges") as refusal:
        run("recharge_time", {"removed": 100, "charger": 40, "load": load})
    assert refusal.value.input == "charger"


@pytest.mark.parametrize(("permitted", "verdict"), [(5.5, "accept"), (5.4, "reject"), (None, "cannot_say")])
def test_the_time_of_the_specification_decides(permitted, verdict):
    result = run("recharge_time", {"removed": 100, "charger": 40, "load": 20, "permitted": permitted})
    assert result.verdict == verdict


@given(st.floats(0, 500), st.floats(1, 2000), st.floats(0.5, 50), st.floats(1, 2))
def test_rating_and_time_are_inverses(load, removed, hours, factor):
    typed = {"load": load, "removed": removed, "factor": factor}
    current = run("charger_rating", {**typed, "hours": hours}).outputs["current"]["value"]
    back = run("recharge_time", {**typed, "charger": current}).outputs["hours"]["value"]
    assert back == pytest.approx(hours, rel=1e-6)


@given(st.floats(1, 99), st.floats(0.1, 50))
def test_more_load_takes_longer(load, more):
    longer = min(load + more, 99.9)
    before, after = (
        run("recharge_time", {"removed": 100, "charger": 100, "load": one}).outputs["hours"]["value"]
        for one in (load, longer)
    )
    assert after >= before


def test_uncertainty_of_a_small_surplus_agrees_with_monte_carlo():
    result = run("recharge_time", {"removed": "100 ± 2", "charger": "40 ± 0.4", "load": "20 ± 0.4"})
    # independent: Monte Carlo after JCGM 101
    random = numpy.random.default_rng(11)
    draw = lambda mean, expanded: random.normal(mean, expanded / 2, 400_000)  # noqa: E731 - a short name for one line
    drawn = 1.1 * draw(100, 2) / (draw(40, 0.4) - draw(20, 0.4))
    assert result.outputs["hours"]["expanded_uncertainty"] == pytest.approx(2 * drawn.std(), rel=0.01)


@pytest.mark.parametrize("wrong", [{"removed": -1}, {"charger": 0}, {"removed": "100 A"}, {"charger": "inf"}])
def test_impossible_inputs_are_refused(wrong):
    with pytest.raises(InputError) as refusal:
        run("recharge_time", {"removed": 100, "charger": 40, "load": 20, **wrong})
    assert refusal.value.input in wrong


def test_the_caution_of_the_live_battery_comes_first():
    assert "never dead" in run("recharge_time", {"removed": 1, "charger": 40}).cautions[0]
