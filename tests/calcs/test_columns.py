"""Columns of readings give what single readings give."""

import numpy
import pytest
from scipy.stats import norm
from uncertainties import ufloat

from calcs import InputError, bulk, run
from calcs.decision import WORST_FIRST
from calcs.maths import normal_distribution

ROWS = 40_000  # more than two blocks


def cases():
    draw = numpy.random.default_rng(11)
    volts = draw.normal(230, 12, ROWS)
    line = {name: draw.normal(400, 8, ROWS) for name in ("ab", "bc", "ca")}
    return {
        "ac_supply_tolerance": ({"measured": volts, "nominal": 230}, {"measured": 1.3}),
        "voltage_unbalance": (line, {"ab": 1.0, "bc": 1.0, "ca": draw.uniform(0, 2, ROWS)}),
        "float_voltage": (
            {
                "cells": 54, "volts_per_cell": 2.27, "temperature": draw.uniform(0, 60, ROWS),
                "reference_temperature": 20,
                "coefficient": -0.003, "clamp_low": 5, "clamp_high": 40, "measured": draw.normal(122.6, 1, ROWS),
            },
            {"measured": 0.13, "temperature": 1.0},
        ),
        "midpoint_deviation": (
            {"upper": draw.normal(61, 0.5, ROWS), "lower": draw.normal(61, 0.5, ROWS), "upper_cells": 27},
            {"upper": 0.05, "lower": 0.05},
        ),
        "pole_insulation": (
            {
                "system": draw.normal(122, 2, ROWS), "positive": draw.uniform(5, 60, ROWS),
                "negative": draw.uniform(5, 60, ROWS), "meter_resistance": "100k",
            },
            {"system": 0.1, "positive": 0.1, "negative": 0.1},
        ),
        "insulation_resistance": (
            {
                "measured": 10 ** draw.uniform(5, 9, ROWS), "temperature": draw.uniform(0, 60, ROWS),
                "circuit_voltage": draw.uniform(10, 900, ROWS), "test_voltage": 500,
            },
            {"temperature": 2.0},
        ),
        "polarisation_index": (
            {"one_minute": 10 ** draw.uniform(8, 10, ROWS), "ten_minutes": 10 ** draw.uniform(8, 10, ROWS)}, {},
        ),
        "conductor_resistance": ({"area": draw.choice([25.0, 35.0, 50.0], ROWS), "temperature": 70}, {}),
        "cable_voltage_drop": (
            {"length": draw.uniform(1, 90, ROWS), "current": draw.uniform(1, 90, ROWS), "area": 25, "nominal": 110},
            {"current": 1.0},
        ),
        "rectifier_redundancy": ({"load": draw.uniform(1, 200, ROWS), "module": 50, "installed": 4}, {"load": 1.0}),
        "guard_banded_decision": ({"value": volts, "lower": 207, "upper": 253, "expanded_uncertainty": 1.0}, {}),
        "instrument_uncertainty": ({"reading": volts, "percent": 0.5, "counts": 3, "resolution": 0.01}, {}),
    }  # fmt: skip


CASES = cases()


@pytest.mark.parametrize("name", sorted(CASES))
def test_rows_agree_with_single_readings(name):
    columns, spreads = CASES[name]
    got = bulk(name, columns, uncertainties=spreads)
    for row in range(0, ROWS, 1999):
        typed = {key: _at(one, row) for key, one in columns.items()}
        typed |= {key: ufloat(typed[key], _at(one, row) / 2) for key, one in spreads.items()}
        verdict = WORST_FIRST[got.verdicts[row]]
        try:
            single = run(name, typed)
        except InputError:
            assert verdict == "cannot_say"
            continue
        assert verdict == single.verdict
        if single.conformity_probability is not None:
            assert got.conformity_probabilities[row] == pytest.approx(single.conformity_probability, abs=1e-6)
        for output, values in got.outputs.items():
            assert values[row] == pytest.approx(float(single.outputs[output]["value"]), rel=1e-9, abs=1e-9)
            expected = single.outputs[output]["expanded_uncertainty"] or 0
            assert got.expanded_uncertainties[output][row] == pytest.approx(expected, rel=1e-5, abs=1e-9)


def _at(column, row):
    return float(column[row]) if hasattr(column, "shape") else column


def test_every_verdict_occurs_at_its_place():
    value = [100.0, 97.0, 96.5, 95.5, 94.0]
    got = bulk("guard_banded_decision", {"value": value, "lower": 96, "expanded_uncertainty": 1.0})
    assert got.verdict_words() == [
        "accept", "accept", "accept_within_guard_band", "reject_within_guard_band", "reject",
    ]  # fmt: skip


def test_edges_are_inside_in_simple_acceptance():
    got = bulk("ac_supply_tolerance", {"measured": numpy.array([207.0, 253.0, 206.9, 253.1]), "nominal": 230})
    assert got.verdict_words() == ["accept", "accept", "reject", "reject"]
    assert got.conformity_probabilities.tolist() == [1, 1, 0, 0]


def test_an_unsuitable_instrument_is_called_so():
    got = bulk("ac_supply_tolerance", {"measured": [230.0], "nominal": 230}, uncertainties={"measured": 24})
    assert got.verdict_words() == ["instrument_unsuitable"]


def test_impossible_rows_are_left_empty_and_the_others_are_not():
    sides = {"ab": [400.0, 400.0, numpy.nan], "bc": [400.0, 100.0, 400.0], "ca": [400.0, 231.0, 400.0]}
    got = bulk("voltage_unbalance", sides)
    assert got.verdict_words() == ["accept", "cannot_say", "cannot_say"]
    assert numpy.isnan(got.outputs["max_deviation"]).tolist() == [False, True, True]


def test_rows_outside_a_table_are_left_empty():
    got = bulk("conductor_resistance", {"area": [25.0, 26.0, 1000.0]}, limits={"per_km": {"upper": 1}})
    assert got.verdict_words() == ["accept", "cannot_say", "cannot_say"]


def test_project_limits_hold_for_columns():
    columns = {"measured": [215.0, 229.0], "nominal": 230}
    got = bulk("ac_supply_tolerance", columns, limits={"deviation": {"lower": -6, "upper": 6}})
    assert got.verdict_words() == ["reject", "accept"]


@pytest.mark.parametrize(
    ("name", "columns", "spreads"),
    [
        ("ac_supply_tolerance", {"measured": [1.0, 2.0], "nominal": [1.0]}, {}),
        ("ac_supply_tolerance", {"measured": 1.0, "nominal": 230}, {}),
        ("ac_supply_tolerance", {"measured": [1.0], "nominal": 230, "colour": [1.0]}, {}),
        ("ac_supply_tolerance", {"measured": [1.0], "nominal": 230}, {"measured": [-1.0]}),
        ("ac_supply_tolerance", {"measured": [1.0], "nominal": 230}, {"measured": [1.0, 2.0]}),
        ("load_share", {"currents": [1.0]}, {}),
        ("cell_count", {"measured": [122.7], "chemistry": "vrla", "mode": "float", "declared": 54}, {}),
    ],
)
def test_columns_that_do_not_fit_are_refused(name, columns, spreads):
    with pytest.raises(InputError):
        bulk(name, columns, uncertainties=spreads)


def test_the_normal_distribution_agrees_with_scipy():
    z = numpy.concatenate([numpy.linspace(-12, 12, 100_001), [-numpy.inf, numpy.inf]])
    assert numpy.abs(normal_distribution(z) - norm.cdf(z)).max() < 1e-11  # independent: scipy
    assert normal_distribution(1.0) == pytest.approx(norm.cdf(1.0), abs=1e-15)
