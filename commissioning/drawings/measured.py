"""What is measured where: one schematic for each calculation of the catalogue.

Symbols beside the instruments are those of the formulas. A schematic shows the principle; how leads are connected
safely stands in the procedure, the maker's manual and the local rules.
"""

from __future__ import annotations

from collections.abc import Callable

from commissioning.drawings import battery_scenes, supply_scenes
from commissioning.drawings.schematic import Sheet

Scene = Callable[[Sheet], None]
WIDTH, HEIGHT = 340.0, 150.0


def measured_where(calculation: str) -> Sheet | None:
    """The schematic of a calculation; None where none is drawn."""
    found = SCENES.get(calculation)
    if found is None:
        return None
    draw, words = found
    sheet = Sheet(WIDTH, HEIGHT, "What is measured where", words)
    draw(sheet)
    return sheet


SCENES: dict[str, tuple[Scene, str]] = {
    "ac_supply_tolerance": (
        supply_scenes.ac_voltage,
        "A voltmeter between two line conductors of the AC supply reads U.",
    ),
    "voltage_unbalance": (
        supply_scenes.unbalance,
        "Three voltmeters, or one in turn, between each pair of line conductors.",
    ),
    "float_voltage": (
        battery_scenes.float_scene,
        "A voltmeter across the battery reads U; a thermometer at a cell reads T.",
    ),
    "cell_count": (battery_scenes.cell_count, "A voltmeter across the battery on charge reads U."),
    "midpoint_deviation": (
        battery_scenes.midpoint,
        "Voltmeters from the mid-point of the string to plus and to minus.",
    ),
    "pole_insulation": (
        supply_scenes.poles,
        "Voltmeters from pole to pole and from each pole to earth; then again with a known "
        "resistor between one pole and earth.",
    ),
    "insulation_resistance": (
        supply_scenes.insulation,
        "An insulation tester between the joined conductors and earth, both ends isolated and proved dead.",
    ),
    "polarisation_index": (
        supply_scenes.index,
        "An insulation tester between winding and earth, read after one and ten minutes.",
    ),
    "capacity_test": (
        battery_scenes.discharge,
        "The battery on a load bank: voltmeter across the string, ammeter in its lead, "
        "thermometer at a cell, and the time to the end voltage.",
    ),
    "capacity_iec": (
        battery_scenes.capacity_ah,
        "The battery on a load bank: current and time give the ampere-hours drawn; a thermometer at a cell.",
    ),
    "nicd_capacity": (battery_scenes.discharge, "The battery on a load bank: the time to 1.00 V per cell is read."),
    "battery_sizing": (battery_scenes.duty, "The duty: amperes over minutes, step by step."),
    "charger_rating": (
        battery_scenes.charger,
        "An ammeter in the lead to the load reads L; Q is what was drawn from the battery.",
    ),
    "recharge_time": (battery_scenes.charger, "Ammeters at the charger's output and in the lead to the load."),
    "hydrogen_ventilation": (
        battery_scenes.room,
        "A battery room: air comes in at the floor and leaves at the ceiling, where its flow is measured.",
    ),
    "cable_voltage_drop": (
        supply_scenes.cable,
        "A two-wire cable from source to load: its length one way, and its current.",
    ),
    "conductor_resistance": (
        supply_scenes.conductor,
        "One kilometre of a conductor of the given cross-section, class and metal.",
    ),
    "rectifier_redundancy": (supply_scenes.modules, "Rectifier modules in parallel on a DC bus; ammeters at the load."),
    "load_share": (supply_scenes.modules, "Rectifier modules in parallel on a DC bus, each module's current read."),
    "ripple": (
        battery_scenes.ripple,
        "A voltmeter for alternating voltage across the battery; a clamp in the battery lead.",
    ),
    "short_circuit": (
        battery_scenes.short,
        "Cells with their inner resistance, closed through the resistance outside.",
    ),
    "arc_flash_estimate": (
        battery_scenes.arc,
        "An arc between two conductors, and the distance to the person before it.",
    ),
    "protective_continuity": (
        supply_scenes.continuity,
        "Line and protective conductor joined at the far end; a low-resistance meter between them at the near end.",
    ),
    "earth_electrode": (
        supply_scenes.electrode,
        "A rod of a given length and diameter in soil of a given resistivity.",
    ),
    "ohmic_deviation": (battery_scenes.ohmic, "A battery meter from post to post of one cell or block."),
    "link_resistance": (battery_scenes.links, "A micro-ohmmeter from post to post over each link between cells."),
    "specific_gravity": (battery_scenes.acid, "A hydrometer and a thermometer in the acid of a cell."),
    "temperature_spread": (battery_scenes.temperatures, "A thermometer at several cells of the battery."),
    "regulation": (
        supply_scenes.regulation,
        "A voltmeter across the output, read at no load, half load and full load.",
    ),
    "guard_banded_decision": (
        supply_scenes.decision,
        "A measured value with its uncertainty between two limits; inside each limit lies a guard band.",
    ),
    "instrument_uncertainty": (
        supply_scenes.display_scene,
        "The display of an instrument: a part of the reading, a part of the range, and counts of the last digit.",
    ),
    "discharge_log": (
        battery_scenes.curve,
        "The voltage of string and cells over time, logged until the end voltage is crossed for good.",
    ),
}
