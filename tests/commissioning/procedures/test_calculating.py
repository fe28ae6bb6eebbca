"""A line that can never be calculated is refused, field by field; every bundled line can be."""

from __future__ import annotations

from typing import Any

import pytest

from commissioning.procedures.calculating import line_problems
from commissioning.procedures.loader import bundled
from commissioning.services.procedure_lines import line_fields

SUPPLY: dict[str, dict[str, Any]] = {
    "measured": {"kind": "measured", "label": "Voltage L1 to N", "unit": "V"},
    "nominal": {"kind": "nameplate", "key": "ac_nominal_voltage", "of": "system"},
    "tolerance": {"kind": "value", "value": 10},
}
COMPARED: dict[str, dict[str, Any]] = {
    "value": {"kind": "measured", "label": "Voltage", "unit": "V"},
    "upper": {"kind": "nameplate", "key": "high_voltage_alarm", "of": "system"},
}


def changed(base: dict[str, dict[str, Any]], name: str, **parts: Any) -> dict[str, dict[str, Any]]:
    """The inputs with one input's parts changed; a part set to None is taken away."""
    spec = {**base.get(name, {}), **parts}
    return {**base, name: {part: value for part, value in spec.items() if value is not None}}


def test_every_bundled_line_can_be_calculated() -> None:
    wrong = {}
    for procedure in bundled():
        for line in procedure.lines:
            fields = line_fields(line)
            if found := line_problems(fields["calculation"], fields["inputs"], fields["limits"]):
                wrong[f"{procedure.key}@{procedure.version} {line.key}"] = found
    assert wrong == {}


@pytest.mark.parametrize(
    ("calculation", "inputs", "field"),
    [
        ("supply_of_tea", SUPPLY, "calculation"),
        ("ac_supply_tolerance", {**SUPPLY, "sugar": {"kind": "value", "value": 2}}, "inputs.sugar"),
        ("ac_supply_tolerance", {k: v for k, v in SUPPLY.items() if k != "measured"}, "inputs.measured.kind"),
        ("ac_supply_tolerance", {k: v for k, v in SUPPLY.items() if k != "nominal"}, "inputs.nominal.kind"),
        ("ac_supply_tolerance", changed(SUPPLY, "measured", unit="Ω"), "inputs.measured.unit"),
        ("ac_supply_tolerance", changed(SUPPLY, "measured", label=" "), "inputs.measured.label"),
        ("ac_supply_tolerance", changed(SUPPLY, "measured", optional=True), "inputs.measured.optional"),
        ("ac_supply_tolerance", changed(SUPPLY, "measured", many=True), "inputs.measured.many"),
        ("ac_supply_tolerance", changed(SUPPLY, "measured", key="cells"), "inputs.measured.key"),
        ("ac_supply_tolerance", changed(SUPPLY, "measured", kind="guessed"), "inputs.measured.kind"),
        ("ac_supply_tolerance", changed(SUPPLY, "measured", kind="recording"), "inputs.measured.kind"),
        ("ac_supply_tolerance", changed(SUPPLY, "nominal", key="capacity_ah"), "inputs.nominal.key"),
        ("ac_supply_tolerance", changed(SUPPLY, "nominal", key="material"), "inputs.nominal.key"),
        ("ac_supply_tolerance", changed(SUPPLY, "nominal", key="colour"), "inputs.nominal.key"),
        ("ac_supply_tolerance", changed(SUPPLY, "nominal", of=None), "inputs.nominal.of"),
        ("ac_supply_tolerance", changed(SUPPLY, "tolerance", value="ten"), "inputs.tolerance.value"),
        ("ac_supply_tolerance", changed(SUPPLY, "tolerance", value=None), "inputs.tolerance.value"),
        ("ac_supply_tolerance", changed(SUPPLY, "tolerance", unit="V"), "inputs.tolerance.unit"),
        ("guard_banded_decision", changed(COMPARED, "upper", key="earth_fault_setting"), "inputs.upper.unit"),
        ("", {"seen": {"kind": "value", "value": 3}}, "inputs.seen.kind"),
        ("", {"seen": {"kind": "measured"}}, "inputs.seen.label"),
        ("", {"Not a name": {"kind": "measured", "label": "Height"}}, "inputs.Not a name"),
    ],
)
def test_what_cannot_be_calculated_is_named(calculation: str, inputs: dict[str, dict[str, Any]], field: str) -> None:
    assert field in line_problems(calculation, inputs, [])


@pytest.mark.parametrize(
    ("calculation", "inputs"),
    [
        ("ac_supply_tolerance", SUPPLY),
        ("ac_supply_tolerance", changed(SUPPLY, "measured", unit="mV")),
        ("ac_supply_tolerance", changed(SUPPLY, "measured", unit=None)),
        ("guard_banded_decision", COMPARED),
        ("", {"torque": {"kind": "measured", "label": "Torque of the wrench", "unit": "N·m"}}),
        ("", {}),
    ],
)
def test_what_can_be_calculated_is_left_alone(calculation: str, inputs: dict[str, dict[str, Any]]) -> None:
    assert line_problems(calculation, inputs, []) == {}


@pytest.mark.parametrize(
    "limit",
    [
        {"output": "taste", "upper": 5, "source": "cook"},
        {"output": "deviation", "source": "contract"},
        {"output": "deviation", "lower": 5, "upper": -5, "source": "contract"},
        {"output": "deviation", "upper": "5", "source": "contract"},
        {"output": "deviation", "upper": 5, "source": " "},
    ],
)
def test_a_limit_that_cannot_hold_is_named(limit: dict[str, Any]) -> None:
    assert list(line_problems("ac_supply_tolerance", SUPPLY, [limit])) == [f"limits.{limit['output']}"]
    assert line_problems("", {}, [{"output": "deviation", "upper": 5, "source": "contract"}]).keys() == {"calculation"}
