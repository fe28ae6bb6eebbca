"""Every line that calculates agrees with the calculation catalogue, and can be accepted."""

from dataclasses import asdict

import pytest

import calcs
from calcs.units import parse
from commissioning.procedures.loader import NAMEPLATE_KEYS, InputSource, LineData, ProcedureData, bundled

LINES = [(procedure, line) for procedure in bundled() for line in procedure.lines]
CALCULATIONS = sorted({line.calculation for _, line in LINES if line.calculation})


@pytest.mark.parametrize("name", CALCULATIONS)
def test_lines_and_catalogue_agree_on_inputs_and_limits(name: str) -> None:
    definition = calcs.get(name)
    known = {one.name: one for one in definition.inputs}
    results = {one.name for one in (*definition.outputs, *definition.inputs)}
    needed = {one.name for one in definition.inputs if one.required}
    for procedure, line in LINES:
        if line.calculation != name:
            continue
        where = f"{procedure.key}@{procedure.version} {line.key}"
        given = {source.name for source in line.inputs if source.kind != "recording"}
        assert given <= known.keys(), f"{where}: {given - known.keys()} unknown to {name}"
        in_recording = {one.name for one in definition.inputs if one.kind in ("list", "table")}
        recorded = in_recording if any(source.kind == "recording" for source in line.inputs) else set()
        assert needed <= given | recorded, f"{where}: {needed - given - recorded} not given"
        assert {limit.output for limit in line.limits} <= results, where
        for source in line.inputs:
            if source.kind == "recording":
                continue
            assert source.many == (known[source.name].kind == "list"), f"{where} {source.name}"
            check_unit(source, known[source.name], where)


def check_unit(source: InputSource, wanted: object, where: str) -> None:
    """The unit on the line can be turned into the unit of the calculation, or is a word it knows."""
    kind, unit, choices = wanted.kind, wanted.unit, wanted.choices  # type: ignore[attr-defined]
    if kind == "choice":
        if source.kind == "value":
            assert source.value in choices, f"{where} {source.name}"
    elif not unit:
        return
    elif source.kind == "value":
        parse(f"{source.value} {source.unit}".strip() if source.unit else source.value, unit, name=source.name)
    else:
        parse(f"1 {written_unit(source)}", unit, name=source.name)


def written_unit(source: InputSource) -> str:
    return NAMEPLATE_KEYS[source.key].unit if source.kind == "nameplate" else source.unit


def test_a_plain_comparison_compares_like_with_like() -> None:
    """The catalogue's plain comparison takes bare numbers: the line sees to it that value and limits share a unit."""
    for procedure, line in LINES:
        if line.calculation == "guard_banded_decision":
            units = {written_unit(source) for source in line.inputs}
            assert len(units) == 1, f"{procedure.key}@{procedure.version} {line.key}: {units}"


#: A healthy system of 54 cells and 110 V, with its boards: plausible numbers, so that every line can be calculated.
PLATE = {
    "nominal_voltage": 110, "ac_nominal_voltage": 400, "cells": 54, "upper_cells": 27, "lower_cells": 27,
    "float_volts_per_cell": 2.27, "reference_temperature": 20, "temperature_coefficient": -0.003,
    "capacity_ah": 200, "capacity_hours": 10, "end_volts_per_cell": 1.8, "charge_current_limit_a": 20,
    "closing_difference_max": 5, "test_minutes": 480, "ohmic_baseline": 0.5, "specific_gravity": 1.24,
    "module_current_a": 50, "current_limit_a": 105, "autonomy_minutes": 60, "lowest_voltage": 94,
    "highest_voltage": 130, "voltage_drop_max": 5, "earth_fault_setting": 20, "low_voltage_alarm": 108,
    "design_current_a": 20, "area_mm2": 25, "conductor_class": 2, "material": "cu", "line_per_km": 7.41,
    "protective_per_km": 12.1, "loop_impedance_max": 1.0, "rcd_time_max": 300, "trip_time_min": 0.8,
    "trip_time_max": 1.2, "earth_resistance_max": 25, "electrode_length": 3, "electrode_diameter": 25,
}  # fmt: skip
READ = {
    "ac_supply_tolerance": {"measured": 400}, "voltage_unbalance": {"ab": 400, "bc": 401, "ca": 399},
    "float_voltage": {"measured": 122.6, "temperature": 20}, "load_share": {"currents": "40, 40.5, 39.5"},
    "regulation": {"readings": "122.6, 122.5, 122.4", "setpoint": 122.6},
    "pole_insulation": {
        "system": 122.7, "positive": 61, "negative": 60, "meter_resistance": 10, "test_resistance": 22, "loaded": 14
    },
    "insulation_resistance": {"measured": 200, "temperature": 20, "circuit_voltage": 400, "test_voltage": 500},
    "protective_continuity": {"measured": 0.43, "length": 22}, "cable_voltage_drop": {"length": 30},
    "hydrogen_ventilation": {"airflow": 60}, "link_resistance": {"readings": "40, 41, 42"},
    "midpoint_deviation": {"upper": 61.3, "lower": 61.4}, "temperature_spread": {"readings": "21, 22, 21.5"},
    "ripple": {"dc": 122.7, "rms": 0.3, "ripple_current": 4}, "ohmic_deviation": {"measured": 0.53},
    "specific_gravity": {"measured": 1.243, "temperature": 20},
    "capacity_test": {"actual_time": 470, "temperature": 20}, "nicd_capacity": {"actual_time": 470},
    "recharge_time": {"removed": 180, "charger": 40, "load": 10}, "earth_electrode": {"resistivity": 55},
}  # fmt: skip
PLAIN = {"V": 4, "A": 15, "kΩ": 25, "Ω": 0.8, "min": 65, "ms": 30, "s": 1.0, "K": 3}
SPECIAL = {
    ("dc_board", "en-040"): {"value": 110},
    ("lv_board", "en-040"): {"nominal": "400 V"},
    ("lv_board", "pe-060"): {"circuit_voltage": "400 V"},
    ("lv_board", "pe-070"): {"circuit_voltage": "400 V"},
}
ALARM = {"readings": "108.2, 108.1"}


def healthy_inputs(procedure: ProcedureData, line: LineData) -> dict[str, object]:
    """What a person would type, and what the nameplates say, as the calculation takes it."""
    typed = READ.get(line.calculation, {})
    return {
        source.name: PLATE[source.key]
        if source.kind == "nameplate"
        else source.value
        if source.kind == "value"
        else typed.get(source.name, PLAIN.get(source.unit))
        for source in line.inputs
    }


def in_units(line: LineData, numbers: dict[str, object]) -> dict[str, object]:
    """The plain comparison takes bare numbers; every other calculation takes a single number with its unit."""
    units = {source.name: written_unit(source) for source in line.inputs if source.kind != "value"}
    plain = line.calculation == "guard_banded_decision"
    return {
        name: number if plain or not units.get(name) or "," in str(number) else f"{number} {units[name]}"
        for name, number in numbers.items()
    }


def calculable() -> list[object]:
    return [
        pytest.param(procedure, line, id=f"{procedure.key}@{procedure.version} {line.key}")
        for procedure, line in LINES
        if line.calculation and not any(source.kind == "recording" for source in line.inputs)
    ]


@pytest.mark.parametrize(("procedure", "line"), calculable())
def test_every_calculated_line_is_accepted_on_a_healthy_system(procedure: ProcedureData, line: LineData) -> None:
    """A line that could only answer 'cannot say' would hold its gate for ever."""
    inputs = in_units(line, healthy_inputs(procedure, line)) | SPECIAL.get((procedure.key, line.key), {})
    if line.title.startswith("Prove the low-voltage alarm"):
        inputs |= ALARM
    limits = {limit.output: asdict(limit) for limit in line.limits}
    assert calcs.run(line.calculation, inputs, limits=limits).as_json()["verdict"] == "accept"
