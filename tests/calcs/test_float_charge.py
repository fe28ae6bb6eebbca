"""Float voltage and the number of cells behind it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calcs import InputError, run

BLOCK = {
    "cells": 6, "volts_per_cell": 2.25, "coefficient": "-3 mV/K", "reference_temperature": 25,
    "clamp_low": 5, "clamp_high": 40,
}  # fmt: skip


@pytest.mark.parametrize(
    ("temperature", "target"),
    # published: compensation table in the manual of a 12 V VRLA block
    [(10, 13.77), (35, 13.32), (5, 13.86), (-10, 13.86), (40, 13.23), (60, 13.23), (25, 13.5)],
)
def test_a_block_follows_its_makers_table(temperature, target):
    result = run("float_voltage", {**BLOCK, "temperature": temperature})
    assert result.outputs["target"]["value"] == pytest.approx(target, abs=1e-9)
    assert result.verdict == "cannot_say"  # nothing was measured


@pytest.mark.parametrize(
    ("cells", "volts", "temperature", "coefficient", "target"),
    [(54, 2.27, 20, 0, 122.58), (55, 2.23, 20, 0, 122.65), (92, 1.42, 30, -0.003, 127.88)],  # independent: arithmetic
)
def test_target_of_a_string(cells, volts, temperature, coefficient, target):
    typed = {
        "cells": cells, "volts_per_cell": volts, "temperature": temperature, "reference_temperature": 20,
        "coefficient": coefficient,
    }  # fmt: skip
    assert run("float_voltage", typed).outputs["target"]["value"] == pytest.approx(target, abs=1e-9)


def test_one_clamp_alone_holds_its_side():
    low = {key: one for key, one in BLOCK.items() if key != "clamp_high"}
    high = {key: one for key, one in BLOCK.items() if key != "clamp_low"}
    assert run("float_voltage", {**low, "temperature": 0}).outputs["target"]["value"] == pytest.approx(13.86)
    assert run("float_voltage", {**low, "temperature": 50}).outputs["target"]["value"] == pytest.approx(13.05)
    assert run("float_voltage", {**high, "temperature": 50}).outputs["target"]["value"] == pytest.approx(13.23)
    assert run("float_voltage", {**high, "temperature": 0}).outputs["target"]["value"] == pytest.approx(13.95)


def test_a_measured_voltage_is_held_against_the_target():
    near = run("float_voltage", {**BLOCK, "temperature": 10, "measured": "13.80"})
    assert near.verdict == "accept"
    far = run("float_voltage", {**BLOCK, "temperature": 10, "measured": "14.00"})
    assert far.verdict == "reject"
    edge = run("float_voltage", {**BLOCK, "temperature": 10, "measured": 13.77 * 1.01})
    assert edge.verdict == "accept"


def test_uncertainty_of_the_temperature_reaches_the_target():
    result = run("float_voltage", {**BLOCK, "temperature": "10+-2"})
    assert result.outputs["target"]["expanded_uncertainty"] == pytest.approx(6 * 0.003 * 2)  # independent: N·k·U(T)


def test_the_reference_temperature_has_to_be_stated():
    typed = {key: one for key, one in BLOCK.items() if key != "reference_temperature"}
    with pytest.raises(InputError) as refusal:
        run("float_voltage", {**typed, "temperature": 20})
    assert refusal.value.input == "reference_temperature"


@pytest.mark.parametrize(
    ("change", "at_fault"),
    [
        ({"coefficient": 0.003}, "coefficient"),
        ({"clamp_low": 40, "clamp_high": 5}, "clamp_low"),
        ({"cells": 5.5}, "cells"),
        ({"cells": 0}, "cells"),
        ({"temperature": "20 V"}, "temperature"),
    ],
)
def test_impossible_inputs_are_refused(change, at_fault):
    with pytest.raises(InputError) as refusal:
        run("float_voltage", {**BLOCK, "temperature": 20, **change})
    assert refusal.value.input == at_fault


@given(st.floats(-40, 79), st.floats(0, 1))
def test_a_warmer_battery_never_gets_more_voltage(temperature, warmer):
    cold = run("float_voltage", {**BLOCK, "temperature": temperature}).outputs["target"]["value"]
    warm = run("float_voltage", {**BLOCK, "temperature": temperature + warmer}).outputs["target"]["value"]
    assert warm <= cold + 1e-12


def counts(**typed):
    return [one["cells"] for one in run("cell_count", typed).outputs["candidates"]["value"]]


@pytest.mark.parametrize(
    ("chemistry", "block", "expected"),
    # independent: enumeration; ranges memory: typical value, verify
    [("vrla", 1, [54, 55]), ("vented_lead_acid", 1, [55, 56]), ("nicd", 1, [85, 86, 87, 88]), ("vrla", 6, [54])],
)
def test_cells_behind_122_7_volts_on_float(chemistry, block, expected):
    assert counts(measured=122.7, chemistry=chemistry, mode="float", block_cells=block) == expected


def test_candidates_carry_their_voltage_per_cell():
    result = run("cell_count", {"measured": 122.7, "chemistry": "vrla", "mode": "float", "block_cells": 6})
    assert result.outputs["candidates"]["value"] == [{"cells": 54, "volts_per_cell": pytest.approx(122.7 / 54)}]


@pytest.mark.parametrize(("declared", "fits", "verdict"), [(54, True, "accept"), (55, False, "reject")])
def test_a_declared_number_is_confirmed_or_not(declared, fits, verdict):
    typed = {"measured": 122.7, "chemistry": "vrla", "mode": "float", "block_cells": 6, "declared": declared}
    result = run("cell_count", typed)
    assert result.outputs["consistent"]["value"] is fits
    assert result.verdict == verdict


def test_a_voltage_that_no_number_of_blocks_fits_is_rejected():
    result = run("cell_count", {"measured": 30, "chemistry": "vrla", "mode": "float", "block_cells": 6})
    assert result.outputs["candidates"]["value"] == []
    assert result.verdict == "reject"


def test_the_ranges_are_named_as_typical():
    result = run("cell_count", {"measured": 122.7, "chemistry": "nicd", "mode": "boost"})
    assert any("typical value, verify" in line.result for line in result.working)


@given(st.integers(1, 200), st.floats(2.231, 2.299))
def test_the_true_number_of_cells_is_always_among_the_candidates(cells, volts):
    assert cells in counts(measured=cells * volts, chemistry="vrla", mode="float")


def test_an_unknown_chemistry_is_refused():
    with pytest.raises(InputError, match="vrla, vented_lead_acid, nicd") as refusal:
        run("cell_count", {"measured": 122.7, "chemistry": "salt", "mode": "float"})
    assert refusal.value.input == "chemistry"
