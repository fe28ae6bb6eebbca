"""Ventilation of a battery room or cabinet against hydrogen."""

from __future__ import annotations

from calcs.definition import Caution, Check, Lookup, Output, Step, choice, define, given, measured
from calcs.maths import cbrt

HYDROGEN = (
    "Hydrogen explodes: prove the ventilation before the battery is charged, no flame, spark or hot work near the "
    "cells, and leave by the door if the ventilation fails on boost. The figures are an estimate for planning: local "
    "codes, the maker's manual and a qualified person decide."
)


def airflow_needed(constant_factor, cells, gas_in_use, capacity):
    """Air flow that keeps hydrogen below 4 % with the usual safety factor of 5.

        Q = c·n·I_gas·C·10⁻³

    Q: air flow [m³/h]; c: 0.05 (approximate) or 0.0504 (exact) [m³/Ah]; n: cells [1]; I_gas: current that makes gas
    [mA per Ah]; C: rated capacity [Ah]. Example: 54 VRLA cells of 200 Ah on float, 1 mA/Ah: 0.54 m³/h.
    Reference: IEC 62485-2:2010, 7.2.
    """
    return constant_factor * cells * gas_in_use * capacity / 1000


def opening_needed(opening_factor, required_airflow):
    """Free area of each opening, inlet and outlet, for natural ventilation.

        A = 28·Q

    A: free area [cm²]; Q: air flow [m³/h]. Valid for air moving at 0.1 m/s or more through openings on opposite walls.
    Example: 0.54 m³/h: 15.12 cm². Reference: IEC 62485-2:2010, 7.3.
    """
    return opening_factor * required_airflow


def clearance_needed(clearance_factor, gas_in_use, capacity):
    """Distance from the cells within which nothing may spark or glow.

        d = 28.8·∛I_gas·∛C

    d: distance [mm]; I_gas: current that makes gas [mA per Ah]; C: rated capacity [Ah]. Example: 1 mA/Ah, 200 Ah:
    168.4 mm. Reference: IEC 62485-2:2010, annex B (coefficient recalled: typical value, verify).
    """
    return clearance_factor * cbrt(gas_in_use) * cbrt(capacity)


def gas_as_given(gas_current):
    """Current that makes gas [mA/Ah], as the maker states it."""
    return gas_current


def gas_is_given(gas_current=None):
    """The current that makes gas is stated."""
    return gas_current is not None


def gas_not_given(gas_current=None):
    """The current that makes gas comes from the table."""
    return gas_current is None


def gas_known(gas_current=None, chemistry=None, mode=None):
    """The current that makes gas is stated, or chemistry and mode are."""
    return gas_current is not None or (chemistry is not None and mode is not None)


def on_float(mode):
    """The figure is for float charging."""
    return mode == "float"


define(
    "hydrogen_ventilation",
    module=__name__,
    title="Air flow against hydrogen in a battery room",
    inputs=(
        given("cells", "n", "", 1, 10_000, "cells, of all strings together", whole=True),
        given("capacity", "C", "Ah", 0.1, 100_000, "rated capacity of one string (ten hours, or as the maker states)"),
        given("gas_current", "I_gas", "mA/Ah", 0.01, 1000, "current that makes gas, if stated", required=False),
        choice("chemistry", ("vented_lead_acid", "vrla", "nicd"), "kind of cell", required=False),
        choice("mode", ("float", "boost"), "charging that governs", required=False),
        measured("airflow", "Q_m", "m³/h", 0, 1_000_000, "air flow measured", required=False),
        choice("constant", ("approximate", "exact"), "0.05 or 0.0504", default="approximate"),
        given("opening_factor", "f_A", "cm²/(m³/h)", 1, 1000, "free area for each m³/h"),
        given("clearance_factor", "f_d", "mm", 1, 1000, "coefficient of the distance from sparks"),
    ),
    outputs=(
        Output("required_airflow", "Q", "m³/h", "air flow that is needed"),
        Output("opening", "A", "cm²", "free area of each opening, for natural ventilation"),
        Output("clearance", "d", "mm", "distance from the cells to anything that sparks or glows"),
    ),
    between=(
        Output("gas_in_use", "I_gas", "mA/Ah", "current that makes gas"),
        Output("constant_factor", "c", "m³/Ah", "constant of the formula"),
    ),
    steps=(
        Check(
            gas_known, "gas_current is missing: give it in mA/Ah, or chemistry and mode together", input="gas_current"
        ),
        Lookup("gas_in_use", "gas_current", ("chemistry", "mode"), when=gas_not_given),
        Step("gas_in_use", gas_as_given, when=gas_is_given, silent=True),
        Lookup("constant_factor", "flow_constant", ("constant",)),
        Step("required_airflow", airflow_needed),
        Step("opening", opening_needed),
        Step("clearance", clearance_needed),
    ),
    cautions=(
        Caution(
            "Float charging only: a battery that can be boost charged needs the air flow for boost, many times as "
            "much.",
            on_float,
        ),
        "Air enters low and leaves high on the opposite side, to the open air; a sealed enclosure is never allowed.",
    ),
    attention=(HYDROGEN,),
)
