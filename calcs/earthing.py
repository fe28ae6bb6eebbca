"""Protective conductors and earth electrodes: the resistance that is expected, to be held against what is measured."""

from __future__ import annotations

import math

from calcs.definition import Caution, Check, Output, Step, define, given, measured
from calcs.maths import log

DEAD_CONTINUITY = (
    "Dead test: isolate, lock off and prove dead at the point of work before the leads are connected; take the joining "
    "lead off afterwards."
)
EARTH_CAUTION = (
    "Never open an earth connection of a live installation to measure it: a fault would make it live. Local rules and "
    "a qualified person decide."
)


TWO_PI = 2 * math.pi


def expected_loop(length, line_per_km, protective_per_km, hot_factor):
    """Resistance of line and protective conductor in series.

        R = L·(r_1 + r_2)·f/1000

    R: resistance [Ω]; L: length of the run, one way [m]; r_1, r_2: resistance of line and protective conductor [Ω/km];
    f: factor for conductors warmer than those of the table [1]. Example: 22 m of 7.41 and 12.1 Ω/km: 0.4292 Ω.
    Reference: IEC 60364-6:2016, 6.4.3.2 (continuity), Ohm's law.
    """
    return length * (line_per_km + protective_per_km) * hot_factor / 1000


def measured_over_expected(measured, expected):
    """Measured over expected resistance: q = R_m/R [1]. Example: 0.45 Ω for 0.4292 Ω: 1.0484."""
    return measured / expected


def expected_positive(expected):
    """The resistance expected is above zero."""
    return expected > 0


def reads_low(ratio, lowest_ratio):
    """The reading is well below what the run can have."""
    return ratio < lowest_ratio * (1 - 1e-9)


define(
    "protective_continuity",
    module=__name__,
    title="Continuity of a protective conductor",
    inputs=(
        measured("measured", "R_m", "Ω", 0, 1e6, "line and protective conductor in series, leads nulled"),
        measured("length", "L", "m", 0.01, 100_000, "length of the run, one way"),
        given("line_per_km", "r_1", "Ω/km", 0, 1000, "resistance of the line conductor"),
        given("protective_per_km", "r_2", "Ω/km", 0, 1000, "resistance of the protective conductor"),
        given("hot_factor", "f", "", 0.5, 2, "factor for the temperature of the conductors"),
        given("lowest_ratio", "q_0", "", 0, 1, "ratio below which a parallel path or a wrong length is suspected"),
    ),
    outputs=(
        Output("expected", "R", "Ω", "resistance that length and sizes give"),
        Output("ratio", "q", "", "measured over expected"),
    ),
    steps=(
        Step("expected", expected_loop),
        Check(
            expected_positive,
            "line_per_km, protective_per_km: both are zero; take them from the cable table",
            input="line_per_km",
        ),
        Step("ratio", measured_over_expected),
    ),
    cautions=(
        Caution(
            "The reading is only {ratio} of what is expected: look for a parallel path, or a shorter run.", reads_low
        ),
        "An unsteady reading is a bad joint, whatever its mean.",
    ),
    attention=(DEAD_CONTINUITY,),
)


def rod_resistance(resistivity, length, diameter):
    """Resistance to earth of one vertical rod in uniform soil.

        R = ρ/(2π·L)·(ln(8·L/d) − 1)

    R: resistance [Ω]; ρ: soil resistivity [Ω·m]; L: length in the soil [m]; d: diameter [m]. Valid for L much larger
    than d and soil that is alike over the depth. Example: 55 Ω·m, 3 m, 25 mm: 17.119 Ω.
    Reference: H. B. Dwight, Calculation of resistances to ground, 1936; BS 7430.
    """
    return resistivity / (TWO_PI * length) * (log(8 * length / (diameter / 1000)) - 1)


def long_and_thin(length, diameter):
    """The rod is long for its diameter."""
    return length * 1000 >= 20 * diameter


define(
    "earth_electrode",
    module=__name__,
    title="Resistance of an earth rod",
    inputs=(
        measured("resistivity", "ρ", "Ω·m", 0.1, 1_000_000, "resistivity of the soil"),
        given("length", "L", "m", 0.1, 300, "length of the rod in the soil"),
        given("diameter", "d", "mm", 1, 1000, "diameter of the rod"),
        given("permitted", "R_max", "Ω", 0.001, 1e6, "resistance that the design allows", required=False),
    ),
    outputs=(Output("resistance", "R", "Ω", "resistance to earth"),),
    steps=(
        Check(
            long_and_thin,
            "length: {length} is short for a diameter of {diameter}; the formula is for slender rods",
            input="length",
        ),
        Step("resistance", rod_resistance, text="ρ/(2π·L)·(ln(8·L/d) − 1)"),
    ),
    cautions=(
        "An estimate for planning: soil varies with depth and season; measure the electrode when it stands.",
        "Rods closer than their length share soil: several in parallel come out higher than one divided by their "
        "number.",
    ),
    attention=(EARTH_CAUTION,),
)
