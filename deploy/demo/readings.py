"""What a sound system shows: a plausible reading for each measured input, worked out from the nameplates."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from commissioning.models import CheckLine
from commissioning.services.reading_inputs import nameplate_value

Plate = Callable[[str, str], Any]


def sound_inputs(line: CheckLine) -> dict[str, str]:
    """Texts to type for the measured inputs of a line, in the line's own units."""

    def plate(key: str, of: str) -> Any:
        return nameplate_value(system=line.stage.system, line=line, spec={"key": key, "of": of})

    circuit = line.inputs.get("circuit_voltage", {})
    volts = plate(circuit.get("key", ""), circuit.get("of", "")) or plate("ac_nominal_voltage", "system") or 400
    table = _by_line(plate).get(line.key) or {}
    table = {**_kept_on_record(plate), **_by_calculation(plate, volts).get(line.calculation, {}), **table}
    return {
        name: str(table.get(name) if table.get(name) is not None else _by_unit(plate, spec))
        for name, spec in line.inputs.items()
        if spec["kind"] == "measured"
    }


def _float_volts(plate: Plate) -> float:
    """Float voltage of the whole string at the reference temperature; 24 V where the register has no battery."""
    cells, per_cell = plate("cells", "battery"), plate("float_volts_per_cell", "battery")
    return round(cells * per_cell, 1) if cells and per_cell else 26.8


def _by_calculation(plate: Plate, volts: float) -> Mapping[str, Mapping[str, Any]]:
    bus = _float_volts(plate)
    half = round(bus / 2, 2)
    ac = plate("ac_nominal_voltage", "system") or plate("nominal_voltage", "system") or 400
    capacity = plate("capacity_ah", "battery") or 100
    module = plate("module_current_a", "rectifier_module") or 30
    minutes = plate("test_minutes", "battery") or 300
    return {
        "ac_supply_tolerance": {"measured": round(ac * 0.995, 1)},
        "voltage_unbalance": {"ab": ac, "bc": ac + 1, "ca": ac - 1},
        "float_voltage": {"measured": bus, "temperature": plate("reference_temperature", "battery") or 20},
        "load_share": {"currents": f"{module * 0.66:.1f}; {module * 0.65:.1f}; {module * 0.67:.1f}"},
        "regulation": {"readings": f"{bus}; {bus - 0.1:.1f}; {bus - 0.2:.1f}; {bus}", "setpoint": bus},
        "pole_insulation": {
            "system": bus, "positive": half, "negative": half, "meter_resistance": 10, "test_resistance": 22,
            "loaded": 0.6,
        },
        "insulation_resistance": {
            "measured": 240, "temperature": 18, "circuit_voltage": volts, "test_voltage": 250 if volts <= 50 else 500,
        },
        "protective_continuity": {"measured": 0.045, "length": 30},
        "cable_voltage_drop": {"length": 12},
        "hydrogen_ventilation": {"airflow": 60},
        "link_resistance": {"readings": "41; 42; 40; 43"},
        "midpoint_deviation": {"upper": half, "lower": round(half - 0.05, 2)},
        "temperature_spread": {"readings": "20.1; 20.6; 20.9; 20.4; 20.7"},
        "ripple": {"dc": bus, "rms": round(bus * 0.002, 2), "ripple_current": round(capacity * 0.01, 1)},
        "ohmic_deviation": {"measured": round((plate("ohmic_baseline", "battery") or 0.5) * 1.04, 3)},
        "specific_gravity": {"measured": 1.243, "temperature": 20},
        "capacity_test": {"actual_time": round(minutes * 1.02), "temperature": 22},
        "nicd_capacity": {"actual_time": round(minutes * 1.03)},
        "recharge_time": {
            "removed": round(capacity * 0.9, 1), "charger": round(capacity / 4, 1), "load": round(capacity / 20, 1),
        },
        "earth_electrode": {"resistivity": 55},
    }  # fmt: skip


def _by_line(plate: Plate) -> Mapping[str, Mapping[str, Any]]:
    """Lines where one plain comparison serves several quantities."""
    alarm = plate("low_voltage_alarm", "system") or 108
    limit = plate("current_limit_a", "rectifier")
    bus = _float_volts(plate)
    return {
        "bc-220": {"readings": f"{alarm}; {alarm}"},
        "bc-070": {"readings": f"{bus}; {bus}", "setpoint": bus},
        "en-100": {"value": round(limit * 0.99, 1)} if limit else {},
        "en-040": {"value": plate("nominal_voltage", "system")},
        "bc-250": {"value": (plate("autonomy_minutes", "ups") or 60) + 4},
    }


def _kept_on_record(plate: Plate) -> Mapping[str, Any]:
    """Values that a line keeps without judging them, by the name of the input."""
    bus = _float_volts(plate)
    cell = plate("float_volts_per_cell", "battery") or 2.23
    return {
        "bus_voltage": bus,
        "output_voltage": bus,
        "battery_voltage": round(bus * 0.97, 1),
        "load_voltage": round(bus * 0.96, 1),
        "cell_voltages": "; ".join(f"{cell + step:.3f}" for step in (-0.004, 0.002, 0.001, -0.001)),
        "plugs": plate("cells", "battery") or 12,
        "topped_up": 2,
        "gravity": "1.24; 1.24",
        "current": 9.5,
    }


def _by_unit(plate: Plate, spec: Mapping[str, Any]) -> str:
    """Values that a line only keeps on record, or compares with a nameplate, by their unit."""
    setting = plate("earth_fault_setting", "earth_fault_monitor") or 20
    plain = {
        "V": "0.8", "A": "9.5", "N·m": "25", "h": "12", "°C": "21", "Ω": "0.4", "ms": "28", "s": "1.0", "K": "2",
        "kΩ": f"{setting + 2}", "min": "64", "mΩ": "0.52",
    }  # fmt: skip
    value = plain.get(spec.get("unit", ""), "0.8")
    return f"{value}; {value}" if spec.get("many") else value
