"""One run of every calculation of the catalogue, as a person types it: for the shell, the API and the benchmark.

Numbers are those of the catalogue's own checks; whether the results are right is shown in tests/calcs.
"""

from __future__ import annotations

EXAMPLES: dict[str, dict[str, str]] = {
    "ac_supply_tolerance": {"measured": "206.9", "nominal": "230"},
    "arc_flash_estimate": {"voltage": "125", "bolted_current": "5 kA", "time": "2", "distance": "45.72"},
    "battery_sizing": {
        "duty": "5:15, 35:10, 15:75, 60:10",
        "k": "10:0.6907, 85:2.2870, 95:2.4542, 110:2.6725",
        "temperature_factor": "1.19",
        "margin": "1.15",
        "ageing": "1.25",
    },
    "cable_voltage_drop": {"length": "30", "current": "50", "area": "25", "temperature": "70", "nominal": "110"},
    "capacity_iec": {"measured": "93", "temperature": "15", "hours": "10"},
    "capacity_test": {"method": "time", "actual_time": "450", "rated_time": "480", "temperature": "25"},
    "cell_count": {"measured": "122.7", "chemistry": "vrla", "mode": "float"},
    "charger_rating": {"load": "143", "removed": "171", "hours": "8", "factor": "1.15"},
    "conductor_resistance": {"area": "25", "temperature": "70"},
    "discharge_log": {
        "time": "0, 3600, 7200, 10800",
        "voltage": "52, 50, 48, 42",
        "current": "20, 20, 20, 20",
        "cells": "24",
        "end_voltage_per_cell": "1.8",
        "rated_hours": "3",
        "temperature": "25",
    },
    "earth_electrode": {"resistivity": "55", "length": "3", "diameter": "25"},
    "float_voltage": {
        "cells": "54",
        "volts_per_cell": "2.27",
        "temperature": "20",
        "reference_temperature": "20",
        "coefficient": "-0.003",
        "measured": "122.7+-0.13",
    },
    "guard_banded_decision": {"value": "123.77", "lower": "121.5", "upper": "123.9", "expanded_uncertainty": "0.13"},
    "hydrogen_ventilation": {"cells": "54", "capacity": "200", "chemistry": "vrla", "mode": "float"},
    "instrument_uncertainty": {"reading": "122.70", "percent": "0.05", "counts": "5", "resolution": "0.01"},
    "insulation_resistance": {
        "measured": "0,52 MΩ",
        "circuit_voltage": "400",
        "temperature": "20",
        "test_voltage": "500",
    },
    "link_resistance": {"readings": "42, 43, 41, 44"},
    "load_share": {"currents": "10.1, 9.8, 10.3, 9.8", "rated": "15"},
    "midpoint_deviation": {"upper": "61.9", "lower": "60.8"},
    "nicd_capacity": {"actual_time": "280", "rated_time": "300"},
    "ohmic_deviation": {"measured": "0.63 mohm", "baseline": "0.50 mohm"},
    "polarisation_index": {"one_minute": "200 Mohm", "ten_minutes": "500 Mohm"},
    "pole_insulation": {"system": "122.7", "positive": "30.675", "negative": "30.675", "meter_resistance": "100k"},
    "protective_continuity": {"measured": "0.43", "length": "22", "line_per_km": "7.41", "protective_per_km": "12.1"},
    "recharge_time": {"removed": "100", "charger": "40", "load": "20", "factor": "1.1"},
    "rectifier_redundancy": {"load": "96.6", "module": "50", "installed": "3"},
    "regulation": {"readings": "122.6, 122.5, 122.4", "setpoint": "122.6"},
    "ripple": {"dc": "122.7", "rms": "0.6"},
    "short_circuit": {"cells": "54", "volts_per_cell": "2.08", "cell_resistance": "0.5 mohm"},
    "specific_gravity": {"measured": "1.243", "temperature": "20"},
    "temperature_spread": {"readings": "20.1, 20.6, 20.9"},
    "voltage_unbalance": {"ab": "462", "bc": "463", "ca": "455"},
}
