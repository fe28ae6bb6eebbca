"""Random questions for Python and JavaScript alike: healthy inputs pushed about, and typed in every odd way."""

from __future__ import annotations

import random
from typing import Any

from calcs.definition import Definition, Input

#: Inputs that give a result, from the worked examples; a calculation without an entry is asked over its whole ranges.
HEALTHY: dict[str, dict[str, Any]] = {
    "ac_supply_tolerance": {"measured": 228, "nominal": 230},
    "arc_flash_estimate": {"voltage": 125, "bolted_current": 5000, "time": 1, "distance": 45.72, "gap": 12.7},
    "battery_sizing": {
        "duty": [(5, 15), (35, 10), (15, 75), (60, 10)], "k": [(1, 0.3), (10, 0.69), (60, 1.7), (130, 2.9)],
        "random": [(20, 5)], "temperature_factor": 1.19, "margin": 1.15, "ageing": 1.25, "chosen": 130,
    },
    "cable_voltage_drop": {"length": 30, "current": 50, "area": 25, "temperature": 70, "nominal": 110},
    "capacity_iec": {"measured": 93, "temperature": 18, "hours": 10, "rated": 100},
    "capacity_test": {
        "actual_time": 450, "rated_time": 480, "temperature": 20, "test_rate": 100, "published_rate": 110,
    },
    "cell_count": {"measured": 122.7, "declared": 54},
    "charger_rating": {"load": 143, "removed": 171, "hours": 8, "factor": 1.15, "installed": 170},
    "conductor_resistance": {"area": 25, "temperature": 20},
    "earth_electrode": {"resistivity": 55, "length": 3, "diameter": 25, "permitted": 20},
    "float_voltage": {
        "cells": 54, "volts_per_cell": 2.27, "temperature": 20, "reference_temperature": 20, "coefficient": -0.003,
        "clamp_low": 5, "clamp_high": 40, "measured": 122.7,
    },
    "guard_banded_decision": {
        "value": 122.7, "lower": 121.5, "upper": 123.9, "expanded_uncertainty": 0.13, "guard_factor": 1,
    },
    "hydrogen_ventilation": {"cells": 54, "capacity": 200, "gas_current": 1, "airflow": 0.6},
    "instrument_uncertainty": {"reading": 32, "percent": 2.5, "counts": 3, "resolution": 0.01, "calibration": 0.02},
    "insulation_resistance": {"measured": 5e8, "temperature": 25, "circuit_voltage": 110, "test_voltage": 500},
    "link_resistance": {"readings": [40, 42, 38, 60]},
    "load_share": {"currents": [10.1, 9.8, 10.3, 9.8], "rated": 15},
    "midpoint_deviation": {"upper": 61.9, "lower": 60.8, "upper_cells": 27, "lower_cells": 27},
    "nicd_capacity": {"actual_time": 280, "rated_time": 300},
    "ohmic_deviation": {"measured": 0.00063, "baseline": 0.0005},
    "polarisation_index": {"one_minute": 5e8, "ten_minutes": 1.2e9},
    "pole_insulation": {
        "system": 122.7, "positive": 30.675, "negative": 60.675, "meter_resistance": 1e5, "test_resistance": 22e3,
        "loaded": 22.3,
    },
    "protective_continuity": {"measured": 0.45, "length": 22, "line_per_km": 7.41, "protective_per_km": 12.1},
    "recharge_time": {"removed": 100, "charger": 40, "load": 20, "factor": 1.1, "permitted": 8},
    "rectifier_redundancy": {"load": 96.6, "recharge": 20, "module": 50, "installed": 4},
    "regulation": {"readings": [54.1, 53.9, 54.4], "setpoint": 54},
    "ripple": {"dc": 122.7, "rms": 0.6, "peak_to_peak": 1.9, "ripple_current": 8, "capacity": 200},
    "short_circuit": {"cells": 54, "volts_per_cell": 2.08, "cell_resistance": 5e-4, "external": 0.004},
    "specific_gravity": {"measured": 1.24, "temperature": 35, "target": 1.24},
    "temperature_spread": {"readings": [24.1, 22.5, 23.3]},
    "voltage_unbalance": {"ab": 462, "bc": 463, "ca": 455},
}  # fmt: skip
#: Inputs that belong together, each group given whole or not at all.
TOGETHER = {"pole_insulation": [("test_resistance", "test_pole", "loaded")]}

ODD = [
    "", "   ", "x", "-", "1 2", "1,234", "12.5 xyz!", "5 A", "5 V", "1e400", "nan", "1+-2+-3", "3 +- -1", "(4+-1) V",
    "1.234.567,8", "1,234,567.8", "٣,٥", "−5", "1 234", "12'345.6", ".5", ",5", "5.", "0", "-0", "0+-0", "7 %",
    "2 ± 10 %", "1e-7", "3 furlong", "1 k", "2M", "5 °C", "5 K", "41 °F", "10 m2", "3 mV/K", "12 MOhm", "1 Ω/km",
    "5 ppm",
]  # fmt: skip
#: A unit of the catalogue, other ways to type it, and how many of them make one of it.
SPELT = {
    "V": [("V", 1), (" volts", 1), (" mV", 1e3), ("kV", 1e-3), (" v", 1)],
    "A": [(" A", 1), (" mA", 1e3), ("amps", 1), (" kA", 1e-3)],
    "Ω": [("Ω", 1), (" ohm", 1), (" kΩ", 1e-3), ("MΩ", 1e-6), (" mohm", 1e3), (" k", 1e-3), ("\u2126", 1),
          (" GΩ", 1e-9)],
    "µΩ": [(" µΩ", 1), (" uohm", 1), (" mΩ", 1e-3), (" Ω", 1e-6)],
    "°C": [("°C", 1), (" degC", 1), ("\u00a0°C", 1), (" C", 1)],
    "%": [(" %", 1), ("percent", 1), (" ppm", 1e4)],
    "h": [(" h", 1), (" min", 60), (" hours", 1)],
    "min": [(" min", 1), (" h", 1 / 60), (" s", 60)],
    "m": [(" m", 1), (" cm", 100), (" ft", 1 / 0.3048), ("\u2009m", 1)],
    "mm": [("mm", 1), (" m", 1e-3), (" in", 1 / 25.4)],
    "mm²": [(" mm²", 1), ("mm2", 1), (" mm^2", 1)],
    "Ah": [(" Ah", 1), (" mAh", 1e3)],
    "Ω/km": [(" Ω/km", 1), (" mΩ/m", 1)],
    "V/°C": [(" V/°C", 1), (" mV/K", 1e3), ("mV/°C", 1e3)],
    "m³/h": [(" m³/h", 1), (" m^3/h", 1)],
}  # fmt: skip


class Asker:
    """Makes questions from one seed."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)

    def number(self, one: Input, healthy: Any) -> float:
        low, high = one.lower if one.lower is not None else -1e3, one.upper if one.upper is not None else 1e3
        chance = self.random.random()
        if healthy is not None and chance < 0.8:
            moved = healthy * self.random.choice((1, 1, self.random.uniform(0.97, 1.03), self.random.uniform(0.4, 1.6)))
            return round(moved, self.random.choice((1, 2, 4, 9))) if moved > 1 else moved
        if chance < 0.86:
            return self.random.choice((low, high, low * 1.01 - 0.1, high * 1.01 + 0.1, 0.0, -1.0))
        return float(f"{self.random.uniform(low, min(high, 1e4)):.4g}")

    def typed(self, one: Input, value: float, unit: str) -> Any:
        """A number as a person, or a program, hands it over."""
        if self.random.random() < 0.03:
            return self.random.choice(ODD)
        name, factor = self.random.choice(SPELT.get(unit, [("", 1)]))
        if self.random.random() < 0.4:
            name, factor = "", 1
        number = value * factor
        text = repr(float(f"{number:.9g}"))
        if self.random.random() < 0.15 and "e" not in text:
            text = text.replace(".", ",")
        spread = self.random.choice(
            ("", "", "", f"+-{abs(number) * self.random.choice((1e-4, 3e-3, 0.02)):.3g}", "±1%")
        )
        if not name and not spread and self.random.random() < 0.3:
            return value
        return (
            f"({text}{spread}){name}"
            if spread.startswith("+") and self.random.random() < 0.3
            else f"{text}{name}{spread}"
        )

    def scalar(self, one: Input, healthy: Any) -> Any:
        value = self.number(one, healthy)
        if one.whole:
            return round(value) if self.random.random() < 0.95 else value
        return self.typed(one, value, one.unit)

    def of_list(self, one: Input, healthy: Any) -> Any:
        start = healthy or [one.lower or 1.0, one.upper or 2.0]
        values = [self.number(one, value) for value in start[: self.random.randint(1, len(start) + 1)]]
        if self.random.random() < 0.4:
            return self.random.choice((", ", "; ")).join(f"{value:g}" for value in values)
        return [self.typed(one, value, one.unit) for value in values]

    def pairs(self, one: Input, healthy: Any) -> Any:
        pairs = [
            (round(a * self.random.uniform(0.9, 1.1), 3), round(b * 1.0, 3)) for a, b in healthy or [(1, 1), (2, 2)]
        ]
        return ", ".join(f"{a}:{b}" for a, b in pairs) if self.random.random() < 0.7 else [list(one) for one in pairs]

    def value(self, one: Input, healthy: Any) -> Any:
        if one.kind == "choice":
            shown = str(self.random.choice(one.choices))
            return self.random.choice(
                (
                    shown,
                    shown.upper(),
                    shown.replace("_", " "),
                    f" {shown}",
                    "neither"[: 9 * (self.random.random() < 0.05)],
                )
            )
        return {"scalar": self.scalar, "list": self.of_list, "pairs": self.pairs}[one.kind](one, healthy)

    def inputs(self, definition: Definition) -> dict[str, Any]:
        """Inputs of one calculation: what is required, and some of what may be absent."""
        healthy = HEALTHY.get(definition.name, {})
        left_out = {name for group in TOGETHER.get(definition.name, ()) if self.random.random() < 0.5 for name in group}
        found = {}
        for one in definition.inputs:
            given = one.name in healthy or one.required or self.random.random() < 0.35
            if one.name in left_out or not given or self.random.random() < 0.06:
                continue
            found[one.name] = self.value(one, healthy.get(one.name))
        return found

    def limits(self, definition: Definition) -> dict[str, dict[str, Any]]:
        """Now and then a project's own limits."""
        if self.random.random() < 0.75:
            return {}
        output = self.random.choice([one for one in definition.outputs if one.kind in ("number", "count")] or [None])
        if output is None:
            return {}
        low, high = sorted(float(f"{self.random.uniform(-20, 200):.3g}") for _ in range(2))
        sides = self.random.choice(({"lower": low}, {"upper": high}, {"lower": low, "upper": high}))
        return {output.name: sides | self.random.choice(({}, {"source": "drawing 4711"}))}
