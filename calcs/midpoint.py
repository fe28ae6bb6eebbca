"""The mid-point voltage of a battery string: do both halves carry the same voltage per cell?"""

from __future__ import annotations

from calcs.definition import Caution, Check, Output, Step, define, given, measured
from calcs.float_charge import BATTERY_IS_LIVE
from calcs.maths import maximum, minimum


def stated_upper(upper_cells=None):
    """Cells by which the upper half is divided: as given, else 1 (equal halves are compared as they are)."""
    return 1 if upper_cells is None else upper_cells


def stated_lower(count_above, lower_cells=None):
    """Cells by which the lower half is divided: as given, else as many as in the upper half."""
    return count_above if lower_cells is None else lower_cells


def both_or_upper(upper_cells=None, lower_cells=None):
    """The cells of the lower half are not given without those of the upper."""
    return lower_cells is None or upper_cells is not None


def cells_are_known(upper_cells=None):
    """The halves are described by their cells."""
    return upper_cells is not None


def upper_per_cell(upper, count_above):
    """Mean cell voltage of the upper half: a = U_a/N_a [V]. Example: 61.9 V on 27 cells: 2.2926 V."""
    return upper / count_above


def lower_per_cell(lower, count_below):
    """Mean cell voltage of the lower half: b = U_b/N_b [V]. Example: 60.8 V on 27 cells: 2.2519 V."""
    return lower / count_below


def midpoint_of_total(upper_mean, lower_mean):
    """Mid-point deviation as a share of the total voltage.

        d_t = 100·(a − b)/(a + b)

    d_t: deviation [% of total]; a, b: mean cell voltage of the upper and lower half [V] (for equal halves: as the half
    voltages).
    Example: 14.688 V over 14.112 V: 2.000 %. Reference: manual of a battery monitor that alarms on this definition.
    """
    return 100 * (upper_mean - lower_mean) / (upper_mean + lower_mean)


def midpoint_of_mean(of_total):
    """Mid-point deviation as a share of the mean half voltage: d_m = 2·d_t [% of mean].

    Example: 2.000 % of total: 4.000 %.
    """
    return 2 * of_total


def midpoint_offset(upper, lower, count_above, count_below):
    """Distance of the mid-point from where it belongs.

        ΔU = (U_a·N_b − U_b·N_a)/(N_a + N_b)

    ΔU: offset [V]; U_a, U_b: upper and lower half [V]; N_a, N_b: their cells. For equal halves (U_a − U_b)/2.
    Example: 61.9 V over 60.8 V: 0.55 V. Reference: own derivation (the mid-point's place is U·N_b/(N_a + N_b)).
    """
    return (upper * count_below - lower * count_above) / (count_above + count_below)


def one_dead_cell(count_above, count_below):
    """Deviation that one dead cell makes, the others sharing the voltage equally.

        d_1 = 100/(2·N − 1)

    d_1: deviation [% of total]; N: cells of the larger half [≥ 1], where it shows least.
    Example: 27 + 27 cells: 1.887 %, which a limit of 2 % misses. Reference: own derivation, (N − (N − 1))/(N + (N −
    1)).
    """
    return 100 / (2 * maximum(count_above, count_below) - 1)


def limit_scaled_by_cells(permitted, share, dead_cell):
    """Largest deviation permitted: a general limit, and never more than a share of what one dead cell makes.

        d_max = min(d_0; s·d_1/100)

    d_max, d_0: limits [% of total]; s: share [%]; d_1: deviation that one dead cell makes [% of total].
    Example: 2 %, 50 %, 27 + 27 cells: 0.943 %.
    """
    return minimum(permitted, share * dead_cell / 100)


def limit_without_cells(permitted):
    """Largest deviation permitted [% of total] when the numbers of cells are not known."""
    return permitted


def cells_are_unknown(upper_cells=None):
    """The numbers of cells are not given."""
    return upper_cells is None


define(
    "midpoint_deviation",
    module=__name__,
    title="Mid-point voltage of a battery string",
    inputs=(
        measured("upper", "U_a", "V", 0.1, 1500, "voltage from the mid-point to the positive end"),
        measured("lower", "U_b", "V", 0.1, 1500, "voltage from the negative end to the mid-point"),
        given("upper_cells", "N_a", "", 1, 500, "cells of the upper half", whole=True, required=False),
        given("lower_cells", "N_b", "", 1, 500, "cells of the lower half", whole=True, required=False),
        given("permitted", "d_0", "%", 0, 100, "largest deviation in general, per cent of total"),
        given("share", "s", "%", 1, 99, "largest deviation as a share of what one dead cell makes"),
    ),
    outputs=(
        Output("of_total", "d_t", "%", "deviation as a share of the total voltage; the limit uses this definition"),
        Output("of_mean", "d_m", "%", "deviation as a share of the mean half voltage (twice the other)"),
        Output("offset", "ΔU", "V", "distance of the mid-point from where it belongs"),
    ),
    between=(
        Output("count_above", "N_a", ""),
        Output("count_below", "N_b", ""),
        Output("upper_mean", "a", "V"),
        Output("lower_mean", "b", "V"),
        Output("dead_cell", "d_1", "%", "deviation that one dead cell makes"),
        Output("largest", "d_max", "%", "largest deviation permitted, of total"),
    ),
    steps=(
        Check(both_or_upper, "upper_cells is missing: give the cells of the upper half as well", input="upper_cells"),
        Step("count_above", stated_upper, silent=True),
        Step("count_below", stated_lower, silent=True),
        Step("upper_mean", upper_per_cell),
        Step("lower_mean", lower_per_cell),
        Step("of_total", midpoint_of_total),
        Step("of_mean", midpoint_of_mean),
        Step("offset", midpoint_offset),
        Step("dead_cell", one_dead_cell, when=cells_are_known),
        Step("largest", limit_scaled_by_cells),
        Step("largest", limit_without_cells, when=cells_are_unknown),
    ),
    cautions=(
        "Two definitions are in use: the limit here is per cent of the total; per cent of the mean half is twice that.",
        Caution("One dead cell makes {dead_cell} of total: a limit at or above that does not see it.", cells_are_known),
        Caution(
            "Give the numbers of cells: the limit then scales with them, so that one dead cell is seen.",
            cells_are_unknown,
        ),
    ),
    attention=(BATTERY_IS_LIVE,),
)
