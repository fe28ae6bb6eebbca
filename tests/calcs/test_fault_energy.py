"""Prospective short-circuit current of a battery, and the energy of an arc."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from calcs import InputError, bulk, run

CELLS = {"cells": 54, "volts_per_cell": 2.08, "cell_resistance": "0.5 mΩ"}
ARC = {"voltage": 125, "bolted_current": 5000, "time": 2, "distance": 45.72}
GAP = {**ARC, "method": "gap", "gap": 12.7}


def value(name, output, **typed):
    return run(name, typed).outputs[output]["value"]


@pytest.mark.parametrize(
    ("typed", "current"),
    [
        (CELLS, 4160),  # independent: arithmetic
        ({**CELLS, "external": "4 mΩ"}, 3623.2),
        ({**CELLS, "strings": 2}, 8320),
        ({"cells": 6, "volts_per_cell": 2, "cell_resistance": 5e-3 / 6}, 2400),  # published: 12 V over 5 mΩ
    ],
)
def test_short_circuit_current(typed, current):
    assert value("short_circuit", "current", **typed) == pytest.approx(current, abs=0.05)


@pytest.mark.parametrize(("breaking", "verdict"), [("4.16 kA", "accept"), (4159, "reject"), (None, "cannot_say")])
def test_the_fuse_must_break_the_current(breaking, verdict):
    assert run("short_circuit", {**CELLS, "breaking_capacity": breaking}).verdict == verdict


@given(st.integers(1, 200), st.floats(1e-5, 0.01), st.integers(1, 5), st.floats(0, 0.1))
def test_current_agrees_with_a_network_of_cells(cells, resistance, strings, external):
    """Independent: conductances of the parallel strings, then one loop."""
    source = 1 / sum(1 / (cells * resistance) for _ in range(strings))
    typed = {"cells": cells, "volts_per_cell": 2.0, "cell_resistance": resistance, "strings": strings}
    got = value("short_circuit", "current", **typed, external=external)
    assert got == pytest.approx(2.0 * cells / (source + external))
    assert got <= value("short_circuit", "current", **typed)


def test_uncertain_resistance_agrees_with_monte_carlo():
    result = run("short_circuit", {**CELLS, "cell_resistance": "0.50 ± 0.05 mΩ", "external": "4 mΩ"})
    # independent: Monte Carlo after JCGM 101
    drawn = 54 * 2.08 / (54 * numpy.random.default_rng(5).normal(0.5e-3, 0.025e-3, 400_000) + 4e-3)
    assert result.outputs["current"]["expanded_uncertainty"] == pytest.approx(2 * drawn.std(), rel=0.02)


@pytest.mark.parametrize(
    "wrong", [{"cells": 0}, {"cell_resistance": 0}, {"cell_resistance": "0.5 mV"}, {"strings": 1.5}, {"external": -1}]
)
def test_impossible_batteries_are_refused(wrong):
    with pytest.raises(InputError) as refusal:
        run("short_circuit", {**CELLS, **wrong})
    assert refusal.value.input in wrong


# arc_flash_estimate


def test_maximum_power():
    result = run("arc_flash_estimate", ARC)
    assert result.outputs["arc_current"]["value"] == 2500
    assert result.outputs["incident_energy"]["value"] == pytest.approx(2.9900, abs=5e-5)  # memory: NFPA 70E, Doan
    # independent: 1.2 cal/cm² at the boundary
    at_boundary = {**ARC, "distance": result.outputs["boundary"]["value"]}
    assert value("arc_flash_estimate", "incident_energy", **at_boundary) == pytest.approx(1.2)


def test_the_constant_of_maximum_power_rounds_up():
    # independent: half the power of the source over a sphere, in calories
    exact = 125 * 2500 / 2 * 2 / (4 * numpy.pi * 45.72**2) / 4.184
    assert exact / (125 * 2500 * 2 / 45.72**2) == pytest.approx(0.00951, abs=5e-6)
    assert value("arc_flash_estimate", "incident_energy", **ARC) > exact


@pytest.mark.parametrize(
    ("enclosure", "energy"),
    [("open", 2.8232), ("switchgear", 6.2698), ("panel", 4.2999)],  # memory: Ammerman 2010; solved again with scipy
)
def test_gap_method(enclosure, energy):
    result = run("arc_flash_estimate", {**GAP, "enclosure": enclosure})
    assert result.outputs["arc_current"]["value"] == pytest.approx(2289.39, abs=5e-3)
    assert result.outputs["incident_energy"]["value"] == pytest.approx(energy, abs=5e-5)
    at_boundary = {**GAP, "enclosure": enclosure, "distance": result.outputs["boundary"]["value"]}
    assert value("arc_flash_estimate", "incident_energy", **at_boundary) == pytest.approx(1.2)


def arc_by_root(voltage, bolted, gap):
    """Independent: the current at which source and arc agree, by bracketing (scipy)."""
    return brentq(lambda i: voltage * (1 - i / bolted) - (20 + 0.534 * gap) * i**0.12, 1e-6, bolted, xtol=1e-10)


@given(st.floats(60, 1000), st.floats(100, 100_000), st.floats(1, 100))
def test_any_arc_agrees_with_a_root_finder_or_is_not_sustained(voltage, bolted, gap):
    typed = {**GAP, "voltage": voltage, "bolted_current": bolted, "gap": gap}
    current = arc_by_root(voltage, bolted, gap)
    if current < (10 + 0.2 * gap) * (1 - 1e-9):
        with pytest.raises(InputError, match="arc not sustained"):
            run("arc_flash_estimate", typed)
        return
    result = run("arc_flash_estimate", typed)
    assert result.outputs["arc_current"]["value"] == pytest.approx(current, rel=1e-7)
    energy = current**1.12 * (20 + 0.534 * gap) * 2 / (4 * numpy.pi * 45.72**2) / 4.184
    assert result.outputs["incident_energy"]["value"] == pytest.approx(energy, rel=1e-6)


def test_an_arc_that_does_not_stay_is_refused_without_calling_it_safe():
    with pytest.raises(InputError, match="arc not sustained") as refusal:
        run("arc_flash_estimate", {**GAP, "voltage": 24})
    assert refusal.value.input == "gap"
    assert "no statement that there is no hazard" in str(refusal.value)


@given(st.floats(100, 50_000), st.floats(0.01, 1.9), st.floats(20, 200), st.sampled_from(["open", "panel"]))
def test_more_current_more_time_or_less_distance_is_more_energy(bolted, time, distance, enclosure):
    typed = {**ARC, "bolted_current": bolted, "time": time, "distance": distance, "enclosure": enclosure}
    base = value("arc_flash_estimate", "incident_energy", **typed)
    for more in ({"bolted_current": bolted * 1.1}, {"time": time * 1.05}, {"distance": distance * 0.9}):
        assert value("arc_flash_estimate", "incident_energy", **{**typed, **more}) > base


def test_an_enclosure_counts_more_in_both_methods():
    for method in (ARC, GAP):
        opened, boxed = (
            value("arc_flash_estimate", "incident_energy", **method, enclosure=one) for one in ("open", "switchgear")
        )
        assert boxed > opened
    result = run("arc_flash_estimate", {**ARC, "enclosure": "panel"})
    assert any("counts 3 times" in caution for caution in result.cautions)  # memory: typical value, verify


def test_uncertain_bolted_current_agrees_with_monte_carlo():
    result = run("arc_flash_estimate", {**GAP, "bolted_current": "5000 ± 200"})
    # independent: the root found again for each draw, after JCGM 101
    drawn = [arc_by_root(125, one, 12.7) for one in numpy.random.default_rng(8).normal(5000, 100, 4000)]
    assert result.outputs["arc_current"]["expanded_uncertainty"] == pytest.approx(2 * numpy.std(drawn), rel=0.04)


@pytest.mark.parametrize(
    ("wrong", "input"),
    [
        ({"time": 2.1}, "time"),
        ({"time": 0}, "time"),
        ({"distance": 0}, "distance"),
        ({"method": "gap"}, "gap"),
        ({"method": "lee"}, "method"),
        ({"bolted_current": "5 kV"}, "bolted_current"),
    ],
)
def test_wrong_inputs_are_named(wrong, input):
    with pytest.raises(InputError) as refusal:
        run("arc_flash_estimate", {**ARC, **wrong})
    assert refusal.value.input == input


def test_every_result_is_called_an_estimate_first_and_decides_nothing():
    for typed in (ARC, GAP, {**ARC, "distance": 500}):
        result = run("arc_flash_estimate", typed)
        assert result.cautions[0].startswith("Estimate, for planning only; a qualified engineer decides")
        assert result.verdict == "cannot_say"


def test_a_column_of_arcs_agrees_with_each_alone():
    currents = numpy.array([1000.0, 5000.0, 20_000.0])
    columns = bulk("arc_flash_estimate", {**GAP, "bolted_current": currents})
    alone = [value("arc_flash_estimate", "incident_energy", **{**GAP, "bolted_current": one}) for one in currents]
    assert columns.outputs["incident_energy"] == pytest.approx(alone)
