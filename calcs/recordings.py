"""A logged discharge: time to the end voltage, charge, capacity, weak and reversed cells, and why the test ended."""

from __future__ import annotations

from statistics import median

from calcs import discharge as steps
from calcs import discharge_cells as compare
from calcs.capacity import DISCHARGE_TEST, TABLE_IS_TYPICAL, to_fahrenheit
from calcs.definition import Caution, Check, Input, Lookup, Output, Scope, Step, choice, define, given, measured
from calcs.uncertainty import nominal, uncertain


def log_as_recorded(recording, current=None):
    """The log of a recording; its current may be stated where the recording has none."""
    return steps.with_current(recording, current)


def log_as_listed(time, voltage, current):
    """The log of three lists."""
    return steps.log_of_lists(time, voltage, current)


def part_under_load(log, discharge_sign, threshold):
    """The part of the log with a discharge current; see `discharge.under_load`."""
    return steps.under_load(log, discharge_sign, threshold)


def end_of_string(cells, end_voltage_per_cell):
    """End voltage of the string: U_e = N·u_e [V]. Example: 54 cells of 1.80 V: 97.2 V."""
    return cells * end_voltage_per_cell


def end_of_test(discharge, end_level, voltage_uncertainty, time_uncertainty):
    """Time to the end voltage.

        t_e = t_0 + (t_1 − t_0)·(U_0 − U_e)/(U_0 − U_1)

    t_e: time under load to the first fall through U_e that stays [min]; t_0, t_1: times of the readings about it; U_0,
    U_1: their voltages [V]; U_e: end voltage [V]. The dip at the start of a lead-acid discharge, which is left again,
    is not the end. Uncertainty: that of the voltage over its slope there. Reference: linear interpolation.
    """
    return steps.minutes_to_end(discharge, end_level, voltage_uncertainty, time_uncertainty)


def whole_time(discharge):
    """Time under load in the log [min]."""
    return float(discharge.seconds[-1]) / 60


def time_that_counts(time_under_load, time_to_end=None):
    """Time that counts: to the end voltage, or all of it where the end voltage was not reached [min]."""
    return time_under_load if time_to_end is None else time_to_end


def is_reached(time_under_load, time_to_end=None):
    """The end voltage was reached, and not left again."""
    return time_to_end is not None


def charge_removed(discharge, counted, current_uncertainty):
    """Charge removed.

        Q = Σ (t_i+1 − t_i)·(I_i + I_i+1)/2, to the end

    Q: charge [Ah]; t: time [s]; I: discharge current [A]. Nothing is counted over a gap. An uncertainty of the current
    is taken as one error common to all readings, so that it does not average out. Reference: trapezoidal rule.
    """
    return steps.charge_until(discharge, counted) * uncertain(1.0, current_uncertainty / 100)


def mean_current_of(discharge, counted):
    """Mean discharge current over the time that counts [A]."""
    return nominal(steps.charge_until(discharge, nominal(counted))) / max(nominal(counted), 1e-9) * 60


def variation_of_current(discharge, mean_current):
    """Largest deviation of the current from its mean, leaving out the outermost hundredth of the readings [%]."""
    import numpy

    low, high = numpy.quantile(discharge.current, [0.01, 0.99])
    return float(100 * max(high - mean_current, mean_current - low) / mean_current)


def coverage(discharge, counted):
    """Share of the time that readings cover [%]; what lies in gaps is not covered."""
    return steps.covered_share(discharge, counted)


def kind_of_cell(end_voltage_per_cell, boundary_voltage):
    """Kind of cell by its end voltage: lead-acid from 1.5 V on, else nickel-cadmium."""
    return "lead_acid" if end_voltage_per_cell >= boundary_voltage else "nicd"


def usual_correction(kind):
    """Correction for temperature where none is chosen: the factor table for lead-acid, none for nickel-cadmium."""
    return "time_factor" if kind == "lead_acid" else "none"


def chosen_correction(correction):
    """Correction for temperature as it was chosen."""
    return correction


def no_factor():
    """Factor when nothing is corrected [1]."""
    return 1.0


def capacity_by_log(counted, rated_hours, factor):
    """Capacity by time.

        C = 100·t_e/(60·t_r·K)

    C: capacity [% of rated]; t_e: time to the end voltage [min]; t_r: published time at this current [h]; K:
    temperature factor [1]. Valid for constant current. Example: 432 min of 8 h at 20 °C: 95.541 %.
    Reference: IEEE 450, time method.
    """
    return 100 * counted / (60 * rated_hours * factor)


def middle_voltage(discharge):
    """Median of the string voltage under load [V]."""
    return float(median(discharge.voltage.tolist()))


def is_a_discharge(middle, cells, charging_from):
    """The voltage under load lies below where a battery is being charged."""
    return middle < cells * charging_from


def why_it_ended(discharge, end_level, reached, time_under_load, reversed=None):
    """Why the test ended, in words."""
    last = float(discharge.voltage[-1])
    if reached:
        return f"end voltage of {end_level:.4g} V reached"
    cell = f"; cell {reversed[0]} had reversed" if reversed else ""
    if discharge.load_taken_off:
        return f"load taken off at {last:.4g} V, above the end voltage, after {time_under_load:.4g} min{cell}"
    return f"the log ends under load at {last:.4g} V, above the end voltage, after {time_under_load:.4g} min{cell}"


def log_is_given(recording=None, time=None, voltage=None, current=None):
    """There is a recording, or its three lists."""
    return recording is not None or (time is not None and voltage is not None and current is not None)


def recording_absent(recording=None):
    """The log is given as lists."""
    return recording is None


def correction_chosen(correction=None):
    """A correction was chosen."""
    return correction is not None


def correction_open(correction=None):
    """No correction was chosen."""
    return correction is None


def by_factor(method, temperature):
    """The temperature factor is used."""
    return method == "time_factor"


def without_factor(method, temperature=None):
    """No temperature factor is used."""
    return method != "time_factor" or temperature is None


def enough_was_shown(reached, capacity, accepted):
    """The end voltage was reached, or the test showed enough before it was stopped."""
    return reached or nominal(capacity) >= accepted * (1 - 1e-9)


def well_covered(covered, least_covered):
    """Readings cover enough of the time."""
    return covered >= least_covered * (1 - 1e-9)


def stopped_early(reached, capacity):
    """The end voltage was not reached."""
    return not reached


def not_corrected(factor, temperature=None):
    """The temperature is not known."""
    return temperature is None


def test_was_paused(discharge):
    """The load was off in between."""
    return discharge.paused > 1


define(
    "discharge_log",
    module=__name__,
    title="Logged discharge test of a battery",
    inputs=(
        Input(
            "recording",
            "log",
            "",
            help="a log that was read from its file",
            kind="table",
            read=steps.as_log,
            required=False,
        ),
        measured("time", "t", "s", 0, 1e9, "time of each reading, from the start", kind="list", required=False),
        measured("voltage", "U", "V", -10, 3000, "string voltage at each time", kind="list", required=False),
        measured(
            "current",
            "I",
            "A",
            -1e5,
            1e5,
            "current at each time, or one that was constant",
            kind="list",
            required=False,
        ),
        measured("final_cells", "u", "V", -20, 20, "voltage of each cell at the end", kind="list", required=False),
        given("cells", "N", "", 1, 1000, "cells in series", whole=True),
        given("end_voltage_per_cell", "u_e", "V", 0.5, 2.5, "end voltage per cell"),
        given(
            "rated_hours", "t_r", "h", 0.01, 1000, "published time at this current to this end voltage", required=False
        ),
        measured("temperature", "T", "°C", -5, 55, "mean cell temperature at the start", required=False),
        choice("correction", ("time_factor", "none"), "correction for temperature", required=False),
        choice("discharge_sign", ("auto", "positive", "negative"), "sign of a discharging current", default="auto"),
        choice("block_cells", (1, 2, 3, 4, 6), "cells behind each logged cell voltage", symbol="n_b", default=1),
        given("voltage_uncertainty", "U_U", "V", 0, 100, "expanded uncertainty of the string voltage", default=0),
        given("current_uncertainty", "U_I", "%", 0, 50, "expanded uncertainty of the current", default=0),
        given("time_uncertainty", "U_t", "s", 0, 3600, "expanded uncertainty of the clock", default=0),
        given("threshold", "p", "%", 0.1, 50, "share of the usual current from which the load is on"),
        given("margin", "m", "V", 0, 1, "how far below the median a weak cell lies"),
        given("z_limit", "z_0", "", -100, -1, "robust deviation of a weak cell"),
        given("accepted", "C_0", "%", 1, 150, "capacity that is accepted"),
        given("least_covered", "v_0", "%", 0, 100, "share of the time that readings must cover"),
        given("boundary_voltage", "u_b", "V", 1, 2, "end voltage from which a cell is lead-acid"),
    ),
    outputs=(
        Output("time_to_end", "t_e", "min", "time under load to the end voltage"),
        Output("removed", "Q", "Ah", "charge removed until then"),
        Output("capacity", "C", "%", "capacity as a share of the rated capacity; at least this, if stopped early"),
        Output("reached", "reached", "", "the end voltage was reached", kind="truth"),
        Output("end_reason", "end", "", "why the test ended", kind="text"),
        Output("mean_current", "Ī", "A", "mean discharge current"),
        Output("current_variation", "ΔI", "%", "largest deviation of the current from its mean"),
        Output("covered", "v", "%", "share of the time that readings cover"),
        Output("spread", "s", "V", "highest less lowest cell voltage at the end"),
        Output("middle_cell", "ũ", "V", "median of the cell voltages at the end"),
        Output("lowest_z", "z", "", "robust deviation of the lowest cell"),
        Output("weak_cells", "weak", "", "places of weak cells, counted from 1", kind="list"),
        Output("reversed", "reversed", "", "places of cells that reversed, counted from 1", kind="list"),
        Output("weak_count", "n_w", "", "number of weak cells", kind="count"),
        Output("reversed_count", "n_r", "", "number of reversed cells", kind="count"),
    ),
    between=(
        Output("log", "log", ""),
        Output("discharge", "discharge", ""),
        Output("end_level", "U_e", "V", "end voltage of the string"),
        Output("time_under_load", "t_l", "min"),
        Output("counted", "t_e", "min", "time that counts"),
        Output("middle", "Ũ", "V", "median of the string voltage"),
        Output("charging_from", "u_c", "V", "voltage per cell above which a battery is being charged"),
        Output("kind", "kind", "", kind="text"),
        Output("method", "correction", "", kind="text"),
        Output("temperature_in_fahrenheit", "T_F", "°F"),
        Output("factor", "K", "", "temperature factor"),
        Output("at_end", "u", "V", "cell voltages at the end", kind="list"),
        Output("lowest", "u_low", "V", kind="list"),
        Output("robust_z", "z_i", "", kind="list"),
    ),
    steps=(
        Check(log_is_given, "recording is missing: give a recording, or time, voltage and current", input="recording"),
        Step("log", log_as_recorded, silent=True),
        Step("log", log_as_listed, when=recording_absent, silent=True),
        Step("discharge", part_under_load, text="readings with a discharge current above p of the usual one"),
        Step("end_level", end_of_string),
        Step("kind", kind_of_cell, silent=True),
        Lookup("charging_from", "charging_from", ("kind",)),
        Step("middle", middle_voltage, silent=True),
        Check(
            is_a_discharge,
            "recording: {middle} is the voltage of a battery on charge; check the sign of the current "
            "(discharge_sign), the number of cells, or the kind of log",
            input="recording",
        ),
        Step("time_under_load", whole_time, silent=True),
        Step("time_to_end", end_of_test, text="the first fall through U_e that stays, in a straight line"),
        Step("reached", is_reached, silent=True),
        Step("counted", time_that_counts, silent=True),
        Step("removed", charge_removed, text="Σ (t_(i+1) − t_i)·(I_i + I_(i+1))/2, nothing over a gap"),
        Step("mean_current", mean_current_of, silent=True),
        Step("current_variation", variation_of_current, silent=True),
        Step("covered", coverage, silent=True),
        Step("method", chosen_correction, when=correction_chosen, silent=True),
        Step("method", usual_correction, when=correction_open, silent=True),
        Step("temperature_in_fahrenheit", to_fahrenheit, when=by_factor),
        Lookup("factor", "time_factor", ("temperature_in_fahrenheit",), method="linear"),
        Step("factor", no_factor, when=without_factor, silent=True),
        Step("capacity", capacity_by_log),
        Step("at_end", compare.last_of_cells, when=compare.cells_not_listed, silent=True),
        Step("at_end", compare.cells_as_given, when=compare.cells_listed, silent=True),
        Check(compare.enough_cells, "final_cells: fewer than two cells have a voltage", input="final_cells"),
        Step("spread", compare.spread_of_cells, text="max(u) − min(u)"),
        Step("middle_cell", compare.middle_of_cells, text="median of u"),
        Step("robust_z", compare.robust_deviations, silent=True),
        Step("lowest_z", compare.lowest_z_of, text="min((u − ũ)/(1.4826·MAD))"),
        Step("weak_cells", compare.weak_by_rule, text="cells with u < ũ − m·√n_b, and z < z_0 or u < n_b·u_e"),
        Step("lowest", compare.lowest_in_log, when=compare.cells_not_listed, silent=True),
        Step("reversed", compare.reversed_cells, text="cells below 0 V under load"),
        Step("weak_count", compare.count_of_weak, silent=True),
        Step("reversed_count", compare.count_of_reversed, silent=True),
        Step("end_reason", why_it_ended, silent=True),
        Scope(
            well_covered,
            "Readings cover only {covered} of the time: the gaps are too long to decide anything.",
        ),
        Scope(
            enough_was_shown,
            "The test was stopped before the end voltage and before {accepted} was shown: it decides nothing.",
        ),
    ),
    cautions=(
        Caution("The end voltage was not reached: the capacity is at least {capacity}.", stopped_early),
        Caution("Not corrected for temperature: note the cell temperature at the start.", not_corrected),
        Caution("The load was off in between: time and charge count only while it was on.", test_was_paused),
        Caution("The log has another number of cells than the {cells} stated.", compare.cells_do_not_match),
        Caution("Voltages of blocks hide a single cell inside that is weak or reversed.", compare.has_blocks),
        TABLE_IS_TYPICAL,
    ),
    attention=(DISCHARGE_TEST,),
)
