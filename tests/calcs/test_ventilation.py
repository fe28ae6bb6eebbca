"""Air flow against hydrogen."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, bulk, run

NICD = {"cells": 95, "capacity": 1450, "chemistry": "nicd"}
VRLA = {"cells": 54, "capacity": 200, "chemistry": "vrla"}


def outputs(**typed):
    return {name: one["value"] for name, one in run("hydrogen_ventilation", typed).outputs.items()}


@pytest.mark.parametrize(
    ("typed", "airflow"),
    [
        ({**NICD, "mode": "float", "constant": "exact"}, 34.71),  # published: calculation sheet, 34.71 and 347.13
        ({**NICD, "mode": "boost", "constant": "exact"}, 347.13),
        ({"cells": 95, "capacity": 1450, "gas_current": 200, "constant": "exact"}, 1388.52),  # published: same sheet
        ({**NICD, "mode": "float"}, 34.4375),  # independent: arithmetic
        ({**NICD, "mode": "boost"}, 344.375),
        ({**VRLA, "mode": "float"}, 0.54),
        ({**VRLA, "mode": "boost"}, 4.32),
        ({"cells": 54, "capacity": 200, "chemistry": "vented_lead_acid", "mode": "float"}, 2.7),
        ({"cells": 54, "capacity": 200, "chemistry": "vented_lead_acid", "mode": "boost"}, 10.8),
    ],
)
def test_air_flow(typed, airflow):
    assert outputs(**typed)["required_airflow"] == pytest.approx(airflow, abs=6e-3)


def test_opening_and_clearance():
    got = outputs(**VRLA, mode="float")
    assert got["opening"] == pytest.approx(15.12)  # independent: 28·Q
    assert got["clearance"] == pytest.approx(168.4, abs=0.05)  # memory: coefficient 28.8, typical value, verify
    got = outputs(**VRLA, mode="boost")
    assert got["opening"] == pytest.approx(120.96)
    assert got["clearance"] == pytest.approx(336.8, abs=0.05)


@pytest.mark.parametrize(
    ("airflow", "verdict"),
    [("4.32", "accept"), ("4.31", "reject"), ("4.4 ± 0.2", "accept_within_guard_band"), (None, "cannot_say")],
)
def test_the_measured_air_flow_is_held_against_the_need(airflow, verdict):
    assert run("hydrogen_ventilation", {**VRLA, "mode": "boost", "airflow": airflow}).verdict == verdict


def test_litres_per_second_are_taken():
    assert run("hydrogen_ventilation", {**VRLA, "mode": "boost", "airflow": "1.2 l/s"}).verdict == "accept"


@pytest.mark.parametrize("typed", [{}, {"chemistry": "vrla"}, {"mode": "float"}])
def test_the_gas_current_must_be_known(typed):
    with pytest.raises(InputError) as refusal:
        run("hydrogen_ventilation", {"cells": 54, "capacity": 200, **typed})
    assert refusal.value.input == "gas_current"


@pytest.mark.parametrize("wrong", [{"cells": 53.5}, {"cells": 0}, {"capacity": "200 A"}, {"chemistry": "lithium"}])
def test_impossible_inputs_are_refused(wrong):
    with pytest.raises(InputError) as refusal:
        run("hydrogen_ventilation", {**VRLA, "mode": "float", **wrong})
    assert refusal.value.input in wrong


def test_a_stated_gas_current_comes_before_the_table():
    assert outputs(**VRLA, mode="float", gas_current=3)["required_airflow"] == pytest.approx(3 * 0.54)


def test_cautions_stand_first_and_float_alone_is_pointed_out():
    result = run("hydrogen_ventilation", {**VRLA, "mode": "float"})
    assert result.cautions[0].startswith("Hydrogen explodes")
    assert "local codes" in result.cautions[0]
    assert any("Float charging only" in caution for caution in result.cautions)


@given(st.integers(1, 300), st.floats(1, 5000), st.floats(0.1, 500))
def test_air_flow_is_proportional_and_the_distance_goes_with_the_cube_root(cells, capacity, gas):
    one = outputs(cells=cells, capacity=capacity, gas_current=gas)
    eight = outputs(cells=cells, capacity=8 * capacity, gas_current=gas)
    assert eight["required_airflow"] == pytest.approx(8 * one["required_airflow"])
    assert eight["clearance"] == pytest.approx(2 * one["clearance"])
    # independent: 0.42 litres of hydrogen per Ah, diluted 24 times, safety factor 5
    exact = outputs(cells=cells, capacity=capacity, gas_current=gas, constant="exact")["required_airflow"]
    assert exact == pytest.approx(cells * gas / 1000 * capacity * 0.42e-3 * 24 * 5)


def test_a_column_agrees_with_each_alone():
    columns = bulk("hydrogen_ventilation", {**VRLA, "capacity": [100.0, 200.0], "mode": "boost", "airflow": 3})
    assert columns.outputs["required_airflow"] == pytest.approx([2.16, 4.32])
    assert columns.verdict_words() == ["accept", "reject"]
