"""Capacity that a duty of loads needs, against a worksheet written out by hand in a second way."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, run

WORKED = {
    "duty": "5:15, 35:10, 15:75, 60:10",
    "k": "110:2.6725, 95:2.4542, 85:2.2870, 10:0.6907",
    "temperature_factor": 1.19,
    "margin": 1.15,
    "ageing": 1.25,
}


def factor(minutes):
    return 0.5 + 0.9 * (minutes / 60) ** 0.8


def worksheet(duty, k_of, random=()):
    """Independent: each section as the sum over moments at which the load changes, written as a plain loop."""
    sections = []
    for section in range(1, len(duty) + 1):
        needed, before = 0.0, 0.0
        for period in range(section):
            load = duty[period][0]
            remaining = sum(minutes for _, minutes in duty[period:section])
            if load != before:
                needed += (load - before) * k_of(remaining)
            before = load
        sections.append(needed)
    return sections, sum(load * k_of(minutes) for load, minutes in random)


SIX = [(320, 1), (100, 29), (280, 30), (200, 60), (40, 59), (120, 1)]
SPANS = sorted({sum(m for _, m in SIX[a:b]) for a in range(6) for b in range(a + 1, 7)})
TABLE = {span: factor(span) for span in SPANS}


def test_open_worked_example():
    result = run("battery_sizing", WORKED)
    sections = result.outputs["section_i"]["value"]
    # published: open worked example of IEEE 1115; parts 15.90, 87.62, −54.43, 36.99 Ah, sum 86.07, required 123.73
    parts = [5 * 2.6725, 30 * 2.4542, -20 * 2.2870, 45 * 0.6907]
    assert [1.19 * part for part in parts] == pytest.approx([15.90, 87.62, -54.43, 36.99], abs=6e-3)
    assert sections[3] == pytest.approx(86.07, abs=5e-3)
    assert result.outputs["controlling_section"]["value"] == 4
    assert result.outputs["required"]["value"] == pytest.approx(123.73, abs=5e-3)


def test_six_sections_with_a_random_load():
    typed = {"duty": SIX, "k": TABLE, "random": "100:1"}
    result = run("battery_sizing", {**typed, "temperature_factor": 1, "margin": 1.15, "ageing": 1.25})
    # independent: worksheet by hand
    expected = [170.886, 104.734, 325.689, 411.071, 306.684, 349.407]
    assert result.outputs["section_i"]["value"] == pytest.approx(expected, abs=5e-4)
    assert worksheet(SIX, factor)[0] == pytest.approx(expected, abs=5e-4)
    assert result.outputs["controlling_section"]["value"] == 4
    assert result.outputs["random_part"]["value"] == pytest.approx(53.402, abs=5e-4)
    warm = run("battery_sizing", {**typed, "temperature_factor": 1.11, "margin": 1.15, "ageing": 1.25})
    assert warm.outputs["required"]["value"] == pytest.approx(741.125, abs=5e-4)


duties = st.lists(st.tuples(st.floats(0, 500), st.integers(1, 120)), min_size=1, max_size=6)


@given(duties)
def test_any_duty_agrees_with_the_worksheet(duty):
    times = numpy.arange(1, 1 + sum(minutes for _, minutes in duty))
    result = run("battery_sizing", {"duty": duty, "k": [(int(t), factor(t)) for t in times]})
    sections, _ = worksheet(duty, factor)
    assert result.outputs["section_i"]["value"] == pytest.approx(sections, rel=1e-9, abs=1e-9)
    assert result.outputs["required"]["value"] == pytest.approx(max(sections) * 1.1 * 1.25, rel=1e-9, abs=1e-9)


@given(duties, st.floats(0.1, 100))
def test_twice_the_load_needs_twice_the_battery_and_more_margin_more(duty, more):
    k = {1: factor(1), 60: factor(60), 800: factor(800)}
    once = run("battery_sizing", {"duty": duty, "k": k}).outputs["required"]["value"]
    doubled = [(2 * load, minutes) for load, minutes in duty]
    twice = run("battery_sizing", {"duty": doubled, "k": k}).outputs["required"]["value"]
    assert twice == pytest.approx(2 * once, rel=1e-9, abs=1e-9)
    wider = run("battery_sizing", {"duty": duty, "k": k, "margin": 1.15}).outputs["required"]["value"]
    assert wider == pytest.approx(once / 1.1 * 1.15, rel=1e-9, abs=1e-9)


def test_a_constant_load_needs_current_times_factor():
    result = run("battery_sizing", {"duty": "50:60, 50:60", "k": {60: 1.4, 120: 2.2}, "margin": 1.1})
    assert result.outputs["section_i"]["value"] == pytest.approx([70, 110])


@pytest.mark.parametrize(
    ("change", "words", "input"),
    [
        ({"k": "15:0.9, 110:2.67"}, "not in the table; it reaches from 15 to 110", "k"),
        ({"k": "10:0.69, 100:2.5"}, "it reaches from 10 to 100", "k"),
        ({"k": "10:0.69, 10:0.7, 110:2.6"}, "each time once", "k"),
        ({"k": "10:0, 110:2.6"}, "above zero", "k"),
        ({"duty": "5:0, 35:10"}, "without a length", "duty"),
        ({"duty": "5, 35"}, "is not a pair", "duty"),
        ({"duty": "5 V:15, 35:10"}, "measures a voltage", "duty"),
        ({"random": "100:0"}, "without a length", "random"),
        ({"duty": None}, "duty is missing", "duty"),
    ],
)
def test_what_cannot_be_sized_is_refused(change, words, input):
    with pytest.raises(InputError, match=words) as refusal:
        run("battery_sizing", {**WORKED, **change})
    assert refusal.value.input == input


def test_hours_in_the_duty_carry_their_unit():
    minutes = run("battery_sizing", {"duty": "50:60", "k": "60:1.4"}).outputs["required"]["value"]
    assert run("battery_sizing", {"duty": "50:1 h", "k": "1 h:1.4"}).outputs["required"]["value"] == minutes


@pytest.mark.parametrize(("chosen", "verdict"), [(125, "accept"), (123, "reject"), (None, "cannot_say")])
def test_the_battery_chosen_is_held_against_the_size(chosen, verdict):
    assert run("battery_sizing", {**WORKED, "chosen": chosen}).verdict == verdict


def test_uncertain_loads_carry_through():
    result = run("battery_sizing", {"duty": "50 ± 2:60", "k": "60:1.4", "margin": 1.1, "ageing": 1.25})
    assert result.outputs["required"]["expanded_uncertainty"] == pytest.approx(2 * 1.4 * 1.1 * 1.25)


def test_the_working_names_the_unit_of_both_halves_of_a_pair():
    (line, *_) = run("battery_sizing", WORKED).working
    assert "5 A : 15 min" in line.substituted
    assert "110 min : 2.6725 Ah/A" in line.substituted
