"""The decision rule, and the calculation that offers it alone."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from calcs import InputError, run
from calcs.decision import WORST_FIRST, conformity_probability, decide


@pytest.mark.parametrize(
    ("value", "lower", "upper", "expanded", "verdict", "probability"),
    [
        # memory: JCGM 106:2012, example with about 92 %; independent: scipy.stats.norm gives the digits
        (-5.47, None, -5.40, 0.10, "accept_within_guard_band", 0.919243),
        (3.20, -4.00, 4.00, 1.60, "accept_within_guard_band", 0.841345),  # independent: Φ(1)
        (122.70, 121.5, 123.9, 0.13, "accept", 1.0),
        (123.77, 121.5, 123.9, 0.13, "accept", 0.977250),  # the edge of the guard band; independent: Φ(2)
        (123.80, 121.5, 123.9, 0.13, "accept_within_guard_band", 0.938032),
        (124.00, 121.5, 123.9, 0.13, "reject_within_guard_band", 0.061968),
        (124.10, 121.5, 123.9, 0.13, "reject", 0.001046),
    ],
)
def test_verdict_and_probability(value, lower, upper, expanded, verdict, probability):
    decision = decide(value, lower, upper, expanded)
    assert decision.verdict == verdict
    assert decision.probability == pytest.approx(probability, abs=1e-6)
    typed = {"value": value, "lower": lower, "upper": upper, "expanded_uncertainty": expanded}
    result = run("guard_banded_decision", typed)
    assert result.verdict == verdict
    assert result.conformity_probability == pytest.approx(probability, abs=1e-6)
    assert result.outputs["conformity_probability"]["value"] == pytest.approx(probability, abs=1e-6)


@given(st.floats(-5, 5), st.floats(0.01, 5), st.floats(-5, 0), st.floats(0, 5))
def test_probability_agrees_with_the_normal_distribution(value, expanded, lower, upper):
    # independent: scipy.stats.norm
    expected = norm.cdf(upper, value, expanded / 2) - norm.cdf(lower, value, expanded / 2)
    assert conformity_probability(value, expanded, lower, upper) == pytest.approx(expected, abs=1e-12)


@given(st.floats(-1e6, 1e6), st.floats(0, 1e6), st.floats(0, 1e3), st.floats(0, 3))
def test_a_farther_value_is_never_judged_better(limit, step, expanded, factor):
    nearer = decide(limit - 1, None, limit, expanded, factor).verdict
    farther = decide(limit - 1 + step, None, limit, expanded, factor).verdict
    assert WORST_FIRST.index(farther) <= WORST_FIRST.index(nearer)


@given(st.floats(-1e6, 1e6), st.floats(-1e3, 1e3))
def test_the_rule_is_the_same_seen_in_a_mirror(limit, distance):
    expanded = 1.0
    above = decide(limit + distance, None, limit, expanded)
    below = decide(-limit - distance, -limit, None, expanded)
    assert above.verdict == below.verdict
    assert above.probability == pytest.approx(below.probability)


def test_without_uncertainty_the_edge_is_inside_in_spite_of_binary_fractions():
    assert 0.1 + 0.2 > 0.3
    assert decide(0.1 + 0.2, None, 0.3).verdict == "accept"
    assert decide(207.0, 230 * (1 - 0.1), 230 * (1 + 0.1)).verdict == "accept"
    assert decide(207.0 - 1e-4, 230 * (1 - 0.1), 230 * (1 + 0.1)).verdict == "reject"


def test_an_instrument_whose_guard_bands_meet_is_unsuitable():
    assert decide(122.7, 122.6, 122.8, 0.1).verdict == "accept"  # 2w equals the width of the limits
    assert decide(122.7, 122.6, 122.8, 0.11).verdict == "instrument_unsuitable"
    typed = {"value": 122.7, "lower": 122.6, "upper": 122.8, "expanded_uncertainty": 0.11}
    result = run("guard_banded_decision", typed)
    assert result.verdict == "instrument_unsuitable"
    assert any("instrument unsuitable" in caution for caution in result.cautions)


def test_no_limit_means_cannot_say():
    decision = decide(1.0, None, None, 0.1)
    assert (decision.verdict, decision.probability) == ("cannot_say", None)


def test_a_guard_factor_of_zero_is_simple_acceptance():
    typed = {"value": 123.89, "lower": 121.5, "upper": 123.9, "expanded_uncertainty": 0.13, "guard_factor": 0}
    assert run("guard_banded_decision", typed).verdict == "accept"


def test_the_uncertainty_may_stand_beside_the_value():
    result = run("guard_banded_decision", {"value": "123.80+-0.13", "lower": 121.5, "upper": 123.9})
    assert result.verdict == "accept_within_guard_band"
    assert result.conformity_probability == pytest.approx(0.938032, abs=1e-6)


@pytest.mark.parametrize(
    ("typed", "at_fault"),
    [({"value": 1}, "upper"), ({"value": 1, "lower": 3, "upper": 2}, "lower"), ({"upper": 2}, "value")],
)
def test_what_cannot_be_decided_is_refused(typed, at_fault):
    with pytest.raises(InputError) as refusal:
        run("guard_banded_decision", typed)
    assert refusal.value.input == at_fault
