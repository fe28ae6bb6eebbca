"""Float and boost voltage: the target at this temperature, the number of cells behind a voltage, and the mid-point."""

from __future__ import annotations

from calcs.definition import Caution, Check, Lookup, Output, Step, choice, define, given, measured
from calcs.maths import maximum, minimum

BATTERY_IS_LIVE = (
    "A battery is never dead: with links and fuses open its terminals stay live. Insulated tools, no rings."
)
MAKER_DECIDES = "The cell maker's voltages, coefficient and limits override these typical values."


def clamped(temperature, clamp_low, clamp_high):
    """Temperature [°C] that the charger follows: held between the clamps [°C].

    Example: 3 °C with clamps 5…40 is 5 °C.
    """
    return minimum(maximum(temperature, clamp_low), clamp_high)


def clamped_below(temperature, clamp_low):
    """Temperature [°C] that the charger follows with a lower clamp [°C] only."""
    return maximum(temperature, clamp_low)


def clamped_above(temperature, clamp_high):
    """Temperature [°C] that the charger follows with an upper clamp [°C] only."""
    return minimum(temperature, clamp_high)


def not_clamped(temperature):
    """Temperature [°C] that the charger follows when it has no clamps."""
    return temperature


def target_voltage(cells, volts_per_cell, coefficient, followed, reference_temperature):
    """Charging voltage of a string, compensated for temperature.

        U_t = N·(U_ref + k·(T_f − T_ref))

    U_t: target [V]; N: cells in series; U_ref: voltage per cell at T_ref [V]; k: coefficient [V/°C per cell, ≤ 0];
    T_f: temperature that the charger follows [°C]; T_ref: reference temperature of the maker [°C].
    Valid between the charger's clamps. Example: 6 cells of 2.25 V at 25 °C, −3 mV/°C, at 10 °C: 13.77 V.
    Reference: manual of a 12 V VRLA block (compensation table), agreeing with IEC 60896-21 practice.
    """
    return cells * (volts_per_cell + coefficient * (followed - reference_temperature))


def deviation_from_target(measured, target):
    """Deviation of the measured from the target voltage: δ = 100·(U − U_t)/U_t [%].

    Example: 13.9 V for 13.77 V: 0.944 %.
    """
    return 100 * (measured - target) / target


def both_clamps(clamp_low=None, clamp_high=None):
    """Both clamps are set."""
    return clamp_low is not None and clamp_high is not None


def only_low_clamp(clamp_low=None, clamp_high=None):
    """Only the lower clamp is set."""
    return clamp_low is not None and clamp_high is None


def only_high_clamp(clamp_low=None, clamp_high=None):
    """Only the upper clamp is set."""
    return clamp_low is None and clamp_high is not None


def no_clamp(clamp_low=None, clamp_high=None):
    """No clamp is set."""
    return clamp_low is None and clamp_high is None


def clamps_in_order(clamp_low, clamp_high):
    """The lower clamp lies below the upper."""
    return clamp_low < clamp_high


def positive_target(target):
    """A target voltage is positive."""
    return target > 0


def not_compensated(coefficient):
    """No compensation for temperature."""
    return coefficient == 0


define(
    "float_voltage",
    module=__name__,
    title="Float or boost voltage at this temperature",
    inputs=(
        given("cells", "N", "", 1, 1000, "cells in series", whole=True),
        given("volts_per_cell", "U_ref", "V", 1, 3, "the maker's voltage per cell at the reference temperature"),
        measured("temperature", "T", "°C", -40, 80, "temperature of the cells (not of the room)"),
        given(
            "reference_temperature",
            "T_ref",
            "°C",
            0,
            40,
            "temperature for which the maker states the voltage (20 or 25)",
        ),
        given("coefficient", "k", "V/°C", -0.02, 0, "change per cell and degree; zero or negative"),
        given("clamp_low", "T_low", "°C", -40, 80, "below this the charger compensates no further", required=False),
        given("clamp_high", "T_high", "°C", -40, 80, "above this the charger compensates no further", required=False),
        measured("measured", "U", "V", 0, 3000, "voltage at the battery terminals", required=False),
        given("regulation", "p", "%", 0, 20, "permitted deviation either way"),
    ),
    outputs=(
        Output("target", "U_t", "V", "voltage to set at this temperature"),
        Output("deviation", "δ", "%", "deviation of the measured voltage from the target"),
    ),
    between=(Output("followed", "T_f", "°C", "temperature that the charger follows"),),
    steps=(
        Check(clamps_in_order, "clamp_low: {clamp_low} is not below clamp_high {clamp_high}", input="clamp_low"),
        Step("followed", clamped, when=both_clamps),
        Step("followed", clamped_below, when=only_low_clamp),
        Step("followed", clamped_above, when=only_high_clamp),
        Step("followed", not_clamped, when=no_clamp, silent=True),
        Step("target", target_voltage),
        Check(
            positive_target,
            "coefficient: the target comes out as {target}; check coefficient and temperatures",
            input="coefficient",
        ),
        Step("deviation", deviation_from_target),
    ),
    cautions=(
        "U_ref and T_ref belong together: a voltage stated for 20 °C is never used with 25 °C, or the other way round.",
        Caution(
            "Not compensated for temperature: give the maker's coefficient if the charger follows temperature.",
            not_compensated,
        ),
        MAKER_DECIDES,
    ),
    attention=(BATTERY_IS_LIVE,),
)


def enumerate_cells(measured, lowest, highest, block_cells):
    """Numbers of cells for which a string voltage is a normal charging voltage.

        N with U_min ≤ U/N ≤ U_max, in whole blocks

    U: string voltage [V]; U_min, U_max: usual range per cell for chemistry and mode [V]; N: a multiple of the cells in
    a block.
    Example: 122.7 V on float, VRLA (2.23…2.30 V): 54 or 55 cells; in 12 V blocks only 54. Reference: enumeration.
    """
    voltage = float(getattr(measured, "nominal_value", measured))
    first, last = voltage / highest * (1 - 1e-9), voltage / lowest * (1 + 1e-9)
    counts = range(block_cells, int(last) + 1, block_cells)
    return [{"cells": count, "volts_per_cell": voltage / count} for count in counts if count >= first]


def has_candidates(candidates):
    """Whether any number of cells fits."""
    return len(candidates) > 0


def declared_is_candidate(candidates, declared):
    """Whether the declared number of cells is among the candidates."""
    return any(one["cells"] == declared for one in candidates)


def declared_volts_per_cell(measured, declared):
    """Voltage per declared cell: U/N [V]. Example: 122.7 V on 54 cells: 2.2722 V."""
    return measured / declared


def is_declared(declared=None):
    """A number of cells was declared."""
    return declared is not None


def is_not_declared(declared=None):
    """No number of cells was declared."""
    return declared is None


def several_fit(candidates):
    """More than one number of cells fits."""
    return len(candidates) > 1


define(
    "cell_count",
    module=__name__,
    title="Number of cells behind a charging voltage",
    inputs=(
        measured("measured", "U", "V", 1, 3000, "charging voltage of the string"),
        choice("chemistry", ("vrla", "vented_lead_acid", "nicd"), "kind of cell"),
        choice("mode", ("float", "boost"), "how the charger is charging now"),
        choice(
            "block_cells",
            (1, 3, 6),
            "cells in one block (1, or 3 for 6 V, 6 for 12 V lead-acid)",
            symbol="n_b",
            default=1,
        ),
        given("declared", "N", "", 1, 1000, "number of cells on the nameplate", whole=True, required=False),
    ),
    outputs=(
        Output("candidates", "N_c", "", "every number of cells that fits, with the voltage per cell", kind="list"),
        Output("consistent", "fits", "", "the declared number fits (or, undeclared, some number does)", kind="truth"),
        Output("volts_per_cell", "U_c", "V", "voltage per declared cell"),
    ),
    between=(Output("lowest", "U_min", "V"), Output("highest", "U_max", "V")),
    steps=(
        Lookup("lowest", "charging_voltage", ("chemistry", "mode"), column="lower"),
        Lookup("highest", "charging_voltage", ("chemistry", "mode"), column="upper"),
        Step("candidates", enumerate_cells, text="every whole number of blocks with U_min ≤ U/N ≤ U_max"),
        Step("consistent", declared_is_candidate, when=is_declared, text="N is among N_c"),
        Step("consistent", has_candidates, when=is_not_declared, text="N_c is not empty"),
        Step("volts_per_cell", declared_volts_per_cell),
    ),
    cautions=(
        Caution("More than one number of cells fits: count the cells, the voltage alone does not tell.", several_fit),
        MAKER_DECIDES,
    ),
    attention=(BATTERY_IS_LIVE,),
)
