"""What a battery can deliver into a fault: the prospective short-circuit current, and the energy of an arc."""

from __future__ import annotations

from calcs.definition import Caution, Check, Lookup, Output, Step, choice, define, given, measured
from calcs.maths import sqrt, where
from calcs.uncertainty import nominal

SHORT_CIRCUIT = (
    "A battery cannot be switched off: a short circuit burns and blinds. Links and fuses open before work, insulated "
    "tools, no rings, face and hand protection. The current is an estimate for planning; the maker's published "
    "short-circuit current and a qualified engineer decide."
)
ARC_FLASH = (
    "Estimate, for planning only; a qualified engineer decides. It selects no protective equipment and permits no live "
    "work: local codes, the maker's manual and a safe system of work come first."
)
PER_CALORIE = 4.184  # joules in one calorie, by definition
ROUNDS = 200  # of the damped iteration; it settles in far fewer


def prospective_current(cells, volts_per_cell, cell_resistance, strings, external):
    """Short-circuit current of a battery.

        I = N·E/(N·R/P + R_x)

    I: current [A]; N: cells in series [1]; E: voltage of a cell behind its resistance [V]; R: resistance of a cell with
    its links [Ω]; P: strings in parallel [1]; R_x: resistance of cables and fuses outside [Ω]. Valid for the steady
    current some milliseconds after the fault. Example: 54 cells of 2.08 V and 0.5 mΩ: 4160 A; with 4 mΩ: 3623.2 A.
    Reference: Ohm's law; IEC 60896-21 states cell values this way.
    """
    return cells * volts_per_cell / (cells * cell_resistance / strings + external)


define(
    "short_circuit",
    module=__name__,
    title="Prospective short-circuit current of a battery",
    inputs=(
        given("cells", "N", "", 1, 1000, "cells in series", whole=True),
        given("volts_per_cell", "E", "V", 1, 3, "voltage of a cell behind its resistance"),
        measured("cell_resistance", "R", "Ω", 1e-7, 10, "resistance of a cell with its links"),
        given("strings", "P", "", 1, 100, "strings in parallel", whole=True, default=1),
        given("external", "R_x", "Ω", 0, 100, "cables, fuses and shunts outside the battery", default=0),
        given("breaking_capacity", "I_b", "A", 1, 10_000_000, "what the fuse can break at DC", required=False),
    ),
    outputs=(Output("current", "I", "A", "prospective short-circuit current"),),
    steps=(Step("current", prospective_current),),
    cautions=(
        "Ohmic meters read differently from a discharge step: use the maker's resistance, or give the reading its "
        "uncertainty.",
    ),
    attention=(SHORT_CIRCUIT,),
)


def current_of_greatest_power(bolted_current):
    """Arc current at which a source delivers most power into an arc: half the bolted current.

        I_a = I_bf/2

    I_a, I_bf: arc and bolted current [A]. Example: 5000 A: 2500 A. Reference: D. R. Doan, Arc flash calculations for
    exposures to DC systems, 2010 (theorem of maximum power transfer).
    """
    return bolted_current / 2


def energy_of_greatest_power(power_factor, voltage, arc_current, time, box_factor, distance):
    """Incident energy by the maximum power method.

        E = 0.01·V·I_a·t·b/D²

    E: incident energy [cal/cm²]; V: system voltage [V]; I_a: arc current [A]; t: duration [s]; b: factor for an
    enclosure [1]; D: distance [cm]. The constant 0.01 rounds up 0.00951 = 1/(2·4.184·4π). Example: 125 V, 5 kA bolted,
    2 s, 45.72 cm: 2.9900 cal/cm². Reference: D. R. Doan 2010; NFPA 70E annex D (recalled: typical value, verify).
    """
    return power_factor * voltage * arc_current * time * box_factor / distance**2


def boundary_of_greatest_power(power_factor, voltage, arc_current, time, box_factor, threshold):
    """Distance at which the maximum power method gives the threshold of a second-degree burn [cm].

        D_B = √(0.01·V·I_a·t·b/E_0)

    E_0: threshold [cal/cm²]. Example: 125 V, 5 kA bolted, 2 s, 1.2 cal/cm²: 72.17 cm. Reference: as the energy.
    """
    return sqrt(power_factor * voltage * arc_current * time * box_factor / threshold)


def arc_voltage_constant(gap):
    """Constant of the arc's voltage: c = 20 + 0.534·g; U_arc = c·I^0.12 [V]; g: gap [mm], I [A].

    Example: 12.7 mm: 26.7818. Reference: R. Ammerman et al., DC-arc models and incident-energy calculations, 2010
    (after Stokes and Oppenlander, 1991).
    """
    return 20 + 0.534 * gap


def least_arc_current(gap):
    """Current below which the arc model does not hold and an arc does not stay: I_t = 10 + 0.2·g [A]; g: gap [mm].

    Example: 12.7 mm: 12.54 A. Reference: Stokes and Oppenlander, 1991 (recalled: typical value, verify).
    """
    return 10 + 0.2 * gap


def settled_arc_current(voltage, bolted_current, arc_constant):
    """Arc current at which source and arc agree.

        I = V/(V/I_bf + c/I^0.88)

    I: arc current [A]; V: system voltage [V]; I_bf: bolted current [A]; c: constant of the arc's voltage. Solved by
    damped iteration, then one Newton step, which also carries the uncertainties. Example: 125 V, 5 kA, 12.7 mm:
    2289.39 A. Reference: R. Ammerman et al., 2010.
    """
    v, bolted, c = nominal(voltage), nominal(bolted_current), nominal(arc_constant)
    current = bolted / 2
    for _ in range(ROUNDS):
        current = (current + v / (v / bolted + c / current**0.88)) / 2
    slope = -v / bolted - 0.12 * c * current**-0.88
    return current - (voltage * (1 - current / bolted_current) - arc_constant * current**0.12) / slope


def arc_stays(arc_current, least_current):
    """The arc current is large enough for an arc that stays."""
    return arc_current >= least_current * (1 - 1e-9)


def power_of_arc(arc_constant, arc_current):
    """Power of the arc: P = c·I^1.12 [W]. Example: 26.7818, 2289.39 A: 155,140 W."""
    return arc_constant * arc_current**1.12


def spread_area(box_depth, distance, box_share):
    """Area over which the energy of the arc is spread.

        S = 4π·d² in the open, S = (a² + d²)/k from a box

    S: area [cm²]; d: distance [cm]; a, k: depth [cm] and share [1] of the enclosure. Example: 45.72 cm in the open:
    26268 cm². Reference: R. Ammerman et al., 2010 (box after Wilkins).
    """
    return (box_depth**2 + distance**2) / box_share


def energy_of_gap(power, time, area):
    """Incident energy of an arc: E = P·t/(4.184·S) [cal/cm²]. Example: 155,140 W, 2 s, 26268 cm²: 2.8232 cal/cm²."""
    return power * time / (PER_CALORIE * area)


def boundary_of_gap(power, time, box_share, box_depth, threshold):
    """Distance at which the gap method gives the threshold of a second-degree burn [cm].

        D_B = √(k·P·t/(4.184·E_0) − a²), and 0 when the box itself is deeper

    E_0: threshold [cal/cm²]; k, a: as for the area. Reference: the energy formula, solved for the distance.
    """
    square = power * time * box_share / (PER_CALORIE * threshold) - box_depth**2
    return sqrt(where(nominal(square) > 0, square, 0.0))


def by_power(method):
    """The method of maximum power is used."""
    return method == "maximum_power"


def by_gap(method):
    """The arc is calculated from its gap."""
    return method == "gap"


def boxed_by_power(method, enclosure):
    """The maximum power method is used for an enclosure."""
    return method == "maximum_power" and enclosure != "open"


def gap_given(method, gap=None):
    """The gap method has a gap."""
    return method != "gap" or gap is not None


define(
    "arc_flash_estimate",
    module=__name__,
    title="Incident energy of a DC arc: estimate, for planning only",
    inputs=(
        given("voltage", "V", "V", 20, 1500, "system voltage, at its highest"),
        given("bolted_current", "I_bf", "A", 10, 1_000_000, "prospective short-circuit current"),
        given("time", "t", "s", 0.001, 2, "duration of the arc, 2 s at most"),
        given("distance", "D", "cm", 5, 1000, "distance from the arc to the face and chest"),
        choice("method", ("maximum_power", "gap"), "how the arc current is found", default="maximum_power"),
        given("gap", "g", "mm", 1, 500, "gap between the conductors", required=False),
        choice("enclosure", ("open", "panel", "switchgear"), "what stands around the arc", default="open"),
        given("power_factor", "f", "", 0.001, 1, "constant of the maximum power method"),
        given("threshold", "E_0", "cal/cm²", 0.1, 100, "energy at the boundary"),
    ),
    outputs=(
        Output("arc_current", "I_a", "A", "arc current"),
        Output("incident_energy", "E", "cal/cm²", "incident energy at the distance"),
        Output("boundary", "D_B", "cm", "distance at which the threshold is reached"),
    ),
    between=(
        Output("arc_constant", "c", "", "constant of the arc's voltage"),
        Output("least_current", "I_t", "A", "least current of an arc that stays"),
        Output("box_factor", "b", "", "factor for the enclosure"),
        Output("box_depth", "a", "cm", "depth of the enclosure"),
        Output("box_share", "k", "", "share that the enclosure throws forward"),
        Output("power", "P", "W", "power of the arc"),
        Output("area", "S", "cm²", "area over which the energy is spread"),
    ),
    steps=(
        Check(gap_given, "gap is missing: the gap method needs the gap between the conductors in mm", input="gap"),
        Lookup("box_factor", "box_factor", ("enclosure",), when=by_power),
        Step("arc_current", current_of_greatest_power, when=by_power),
        Step("incident_energy", energy_of_greatest_power, when=by_power),
        Step("boundary", boundary_of_greatest_power, when=by_power),
        Lookup("box_depth", "enclosure", ("enclosure",), column="depth", when=by_gap),
        Lookup("box_share", "enclosure", ("enclosure",), column="share", when=by_gap),
        Step("arc_constant", arc_voltage_constant, when=by_gap),
        Step("least_current", least_arc_current, when=by_gap),
        Step("arc_current", settled_arc_current, when=by_gap, text="V/(V/I_bf + c/I_a^0.88), solved by iteration"),
        Check(
            arc_stays,
            "voltage, gap: arc not sustained ({arc_current} is below the {least_current} that an arc over {gap} "
            "needs); this is no statement that there is no hazard: use method=maximum_power",
            input="gap",
        ),
        Step("power", power_of_arc, when=by_gap, text="c·I_a^1.12"),
        Step("area", spread_area, when=by_gap),
        Step("incident_energy", energy_of_gap, when=by_gap),
        Step("boundary", boundary_of_gap, when=by_gap, text="√(k·P·t/(4.184·E_0) − a²)"),
    ),
    cautions=(
        "Outcomes vary widely around any estimate: electrodes, enclosure and movement of the arc count.",
        Caution("In an enclosure the maximum power method counts {box_factor} times the open air.", boxed_by_power),
    ),
    attention=(ARC_FLASH,),
)
