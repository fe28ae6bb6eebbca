"""The catalogue as a whole: every entry runs, from the shell as from Python, and its JSON keeps its shape."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

import calcs
from tests.support.examples import EXAMPLES

SHAPE = {
    "calculation", "edition", "inputs", "outputs", "limits", "verdict", "conformity_probability", "working", "cautions",
    "sources",
}  # fmt: skip
VERDICTS = {"accept", "accept_within_guard_band", "reject_within_guard_band", "reject", "cannot_say"}
#: The names that shell, API, procedures and dossiers use; they never change.
FIXED_NAMES = [
    "ac_supply_tolerance", "voltage_unbalance", "float_voltage", "cell_count", "midpoint_deviation",
    "pole_insulation", "insulation_resistance", "polarisation_index", "capacity_test", "capacity_iec",
    "nicd_capacity", "battery_sizing", "charger_rating", "recharge_time", "hydrogen_ventilation",
    "cable_voltage_drop", "conductor_resistance", "rectifier_redundancy", "load_share", "ripple",
    "short_circuit", "arc_flash_estimate", "protective_continuity", "earth_electrode", "guard_banded_decision",
    "instrument_uncertainty", "discharge_log", "ohmic_deviation", "link_resistance", "specific_gravity",
    "temperature_spread", "regulation",
]  # fmt: skip


def test_the_catalogue_holds_the_fixed_names_and_each_has_an_example() -> None:
    """A calculation that is added needs no entry here: its own test file shows that it runs."""
    assert set(FIXED_NAMES) <= set(calcs.names())
    assert sorted(FIXED_NAMES) == sorted(EXAMPLES)


@pytest.mark.parametrize("name", FIXED_NAMES)
def test_every_entry_runs_and_shows_its_working_and_sources(name: str) -> None:
    answer = calcs.run(name, EXAMPLES[name]).as_json()
    assert set(answer) == SHAPE
    assert answer["verdict"] in VERDICTS
    assert answer["working"]
    assert answer["sources"]
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer
    assert all(limit["source"] for limit in answer["limits"])


def test_the_shell_gives_the_same_numbers_as_python() -> None:
    for name in ("pole_insulation", "arc_flash_estimate", "battery_sizing", "discharge_log"):
        words = [f"{key}={value}" for key, value in EXAMPLES[name].items()]
        done = subprocess.run(
            [sys.executable, "-m", "calcs", "run", name, *words, "--json"], capture_output=True, text=True, check=True
        )
        assert json.loads(done.stdout) == json.loads(json.dumps(calcs.run(name, EXAMPLES[name]).as_json()))
