"""The nameplate data a system or a piece of equipment may carry: one list, read by procedures and the register import.

A key says what the number is, in which unit it is written, and the range outside which it was surely mistyped.
Ranges are those of stationary low-voltage plant up to 1 kV AC / 1.5 kV DC: wide on purpose, they catch a slipped
decimal point and decide nothing about the equipment. Keys, in the order of the list below:

- supply and bus: nominal_voltage, ac_nominal_voltage, frequency, phases
- battery: cells, upper_cells, lower_cells, block_cells, strings, float_volts_per_cell, boost_volts_per_cell,
  end_volts_per_cell, reference_temperature, temperature_coefficient, capacity_ah, capacity_hours,
  charge_current_limit_a, closing_difference_max, test_current_a, test_minutes, ohmic_baseline, specific_gravity
- rectifier and UPS: rated_current_a, current_limit_a, module_current_a, modules, rated_power_kva, autonomy_minutes,
  stored_charge_minutes
- board: lowest_voltage, highest_voltage, voltage_drop_max
- alarms and settings: earth_fault_setting, low_voltage_alarm, low_voltage_disconnect, high_voltage_alarm
- cables: design_current_a, area_mm2, conductor_class, material, line_per_km, protective_per_km
- protection and earthing: trip_time_min, trip_time_max, loop_impedance_max, rcd_current_ma, rcd_time_max,
  earth_resistance_max, electrode_length, electrode_diameter
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True)
class NameplateKey:
    """One thing a nameplate can say: its unit, what it is in words, and the range of a plausible entry."""

    unit: str
    words: str
    lower: float | None = None
    upper: float | None = None
    choices: tuple[str, ...] = ()


NAMEPLATE_KEYS: Mapping[str, NameplateKey] = MappingProxyType(
    {
        "nominal_voltage": NameplateKey("V", "nominal voltage (DC bus, or line to line on an AC board)", 6, 1500),
        "ac_nominal_voltage": NameplateKey("V", "nominal voltage of the AC supply, as it is measured", 50, 1000),
        "frequency": NameplateKey("Hz", "nominal frequency of the AC supply", 16, 400),
        "phases": NameplateKey("", "number of phases of the AC supply", 1, 3),
        "cells": NameplateKey("", "number of cells in series in one string", 1, 750),
        "upper_cells": NameplateKey("", "cells between the mid-point tap and the positive pole", 1, 750),
        "lower_cells": NameplateKey("", "cells between the mid-point tap and the negative pole", 1, 750),
        "block_cells": NameplateKey("", "cells in one block", 1, 12),
        "strings": NameplateKey("", "battery strings in parallel", 1, 32),
        "float_volts_per_cell": NameplateKey("V", "float voltage of one cell at the reference temperature", 1.0, 2.5),
        "boost_volts_per_cell": NameplateKey("V", "boost (equalise) voltage of one cell", 1.0, 2.8),
        "end_volts_per_cell": NameplateKey("V", "end voltage of one cell on discharge", 0.6, 2.1),
        "reference_temperature": NameplateKey("°C", "temperature at which the float voltage is stated", 15, 30),
        "temperature_coefficient": NameplateKey(
            "V/°C", "change of float voltage per cell and degree (negative)", -0.01, 0
        ),
        "capacity_ah": NameplateKey("Ah", "rated capacity", 0.5, 20000),
        "capacity_hours": NameplateKey("h", "discharge time at which the rated capacity is stated", 0.1, 240),
        "charge_current_limit_a": NameplateKey("A", "highest charging current the battery's maker allows", 0.1, 5000),
        "closing_difference_max": NameplateKey(
            "V", "largest voltage across the open battery isolator at which it may be closed", 0.1, 100
        ),
        "test_current_a": NameplateKey("A", "the maker's published discharge current for the test time", 0.1, 10000),
        "test_minutes": NameplateKey(
            "min", "the maker's published time to the end voltage at the test current", 1, 14400
        ),
        "ohmic_baseline": NameplateKey("mΩ", "reference internal resistance of one cell or block", 0.01, 1000),
        "specific_gravity": NameplateKey("", "nominal specific gravity of the electrolyte, fully charged", 1.1, 1.35),
        "rated_current_a": NameplateKey("A", "rated output current", 0.1, 10000),
        "current_limit_a": NameplateKey("A", "highest current at which the output limits", 0.1, 12000),
        "module_current_a": NameplateKey("A", "rated output current of one rectifier module", 0.1, 1000),
        "modules": NameplateKey("", "rectifier modules installed", 1, 64),
        "rated_power_kva": NameplateKey("kVA", "rated apparent power", 0.1, 10000),
        "autonomy_minutes": NameplateKey("min", "time the battery must carry the specified load", 1, 14400),
        "stored_charge_minutes": NameplateKey("min", "the maker's waiting time after isolation", 0, 120),
        "lowest_voltage": NameplateKey("V", "lowest voltage that every load bears", 1, 1500),
        "highest_voltage": NameplateKey("V", "highest voltage that every load bears", 1, 1800),
        "voltage_drop_max": NameplateKey("V", "largest voltage drop the design allows", 0.01, 150),
        "earth_fault_setting": NameplateKey("kΩ", "insulation at which the earth-fault monitor alarms", 0.1, 10000),
        "low_voltage_alarm": NameplateKey("V", "setting of the low-voltage alarm", 1, 1500),
        "low_voltage_disconnect": NameplateKey("V", "setting at which the load is disconnected", 1, 1500),
        "high_voltage_alarm": NameplateKey("V", "setting of the high-voltage alarm", 1, 1800),
        "design_current_a": NameplateKey("A", "design current of the circuit", 0.01, 10000),
        "area_mm2": NameplateKey("mm²", "cross-section of one conductor", 0.5, 1000),
        "conductor_class": NameplateKey("", "conductor class of IEC 60228", 1, 5),
        "material": NameplateKey("", "conductor material", choices=("cu", "al")),
        "line_per_km": NameplateKey("Ω/km", "resistance of the line conductor per kilometre", 0.001, 50),
        "protective_per_km": NameplateKey("Ω/km", "resistance of the protective conductor per kilometre", 0.001, 50),
        "trip_time_min": NameplateKey("s", "shortest trip time of the curve at the test current", 0.001, 10000),
        "trip_time_max": NameplateKey("s", "longest trip time of the curve at the test current", 0.001, 10000),
        "loop_impedance_max": NameplateKey("Ω", "highest earth fault loop impedance the design allows", 0.001, 2000),
        "rcd_current_ma": NameplateKey("mA", "rated residual current of the RCD", 1, 30000),
        "rcd_time_max": NameplateKey("ms", "longest operating time of the RCD at its rated residual current", 1, 1000),
        "earth_resistance_max": NameplateKey("Ω", "highest resistance to earth the design allows", 0.01, 1000),
        "electrode_length": NameplateKey("m", "length of the earth electrode in the ground", 0.1, 60),
        "electrode_diameter": NameplateKey("mm", "diameter of the earth electrode", 5, 200),
    }
)
