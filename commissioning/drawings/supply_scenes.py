"""What is measured where on supplies, insulation, cables, earthing, rectifiers and instruments."""

from __future__ import annotations

from commissioning.drawings.display import Role
from commissioning.drawings.schematic import FLOOR, HEAVY, TOP, Sheet


def _bus(sheet: Sheet, left: float, right: float) -> None:
    """A DC bus: plus above, minus below."""
    sheet.wire((left, TOP), (right, TOP))
    sheet.wire((left, FLOOR), (right, FLOOR))


def ac_voltage(sheet: Sheet) -> None:
    for place, name in enumerate(("L1", "L2", "L3")):
        y = TOP + place * 40
        sheet.wire((60, y), (290, y))
        sheet.label(50, y + 4, name, "end")
    sheet.across(170, TOP, TOP + 40, "V", reach=170)
    sheet.label(190, TOP + 24, "U, against nominal U_n")


def unbalance(sheet: Sheet) -> None:
    for place, name in enumerate(("L1", "L2", "L3")):
        y = TOP + place * 40
        sheet.wire((50, y), (310, y))
        sheet.label(40, y + 4, name, "end")
    for x, top, bottom, name in ((100, 0, 40, "U_ab"), (180, 40, 80, "U_bc"), (250, 0, 80, "U_ca")):
        sheet.across(x, TOP + top, TOP + bottom, "V", reach=x)
        sheet.label(x + 16, TOP + (top + bottom) / 2 - 8, name)


def poles(sheet: Sheet) -> None:
    _bus(sheet, 40, 250)
    sheet.cells(40, TOP, FLOOR)
    sheet.wire((90, 75), (310, 75))
    sheet.earth(310, 75)
    sheet.across(100, TOP, FLOOR, "V", reach=100)
    sheet.label(84, 64, "U", "end")
    for top, bottom, name in ((TOP, 75, "U_p"), (75, FLOOR, "U_n")):
        sheet.across(165, top, bottom, "V", reach=165)
        sheet.label(181, (top + bottom) / 2 + 4, name)
    sheet.resistor(235, 75, FLOOR)
    sheet.label(246, 94, "R_0, on for the")
    sheet.label(246, 106, "third reading")
    sheet.label(300, 66, "earth", "middle")


def insulation(sheet: Sheet) -> None:
    sheet.label(40, 42, "conductors joined, both ends isolated and proved dead")
    sheet.wire((40, 54), (290, 54))
    sheet.wire((40, 60), (290, 60))
    sheet.resistor(250, 60, 118)
    sheet.label(262, 92, "R")
    sheet.wire((120, 118), (250, 118))
    sheet.earth(250, 118)
    sheet.across(120, 60, 118, "MΩ", reach=120)
    sheet.label(100, 93, "U_t, test voltage", "end")


def index(sheet: Sheet) -> None:
    insulation(sheet)
    sheet.label(110, 138, "R_1 after 1 min, R_10 after 10 min", "middle")


def cable(sheet: Sheet) -> None:
    sheet.box(20, 42, 60, 66, "source")
    sheet.box(262, 42, 60, 66, "load")
    sheet.resistor_across(80, 262, 52)
    sheet.resistor_across(80, 262, 98)
    sheet.span(80, 262, 128, "L, one way")
    sheet.series(115, 52, "A")
    sheet.label(115, 34, "I", "middle")
    sheet.label(200, 36, "drop in both conductors", "middle")


def conductor(sheet: Sheet) -> None:
    sheet.line((50, 70), (290, 70), weight=9)
    sheet.span(50, 290, 108, "1 km")
    sheet.label(170, 52, "cross-section A, class, metal, temperature T", "middle")


def continuity(sheet: Sheet) -> None:
    sheet.label(90, 40, "line conductor, r_1")
    sheet.wire((80, 50), (290, 50), (290, 100), (80, 100))
    sheet.label(298, 79, "joined")
    sheet.label(90, 116, "protective conductor, r_2")
    sheet.across(50, 50, 100, "mΩ", reach=80)
    sheet.span(80, 290, 140, "L, one way")


def electrode(sheet: Sheet) -> None:
    sheet.line((20, 50), (320, 50), weight=1.6)
    sheet.rect(166, 30, 8, 90, Role.INK)
    sheet.line((130, 50), (130, 120), role=Role.QUIET, weight=0.9)
    sheet.label(122, 90, "L in the ground", "end")
    sheet.label(180, 132, "d", "start")
    sheet.label(200, 90, "ρ of the soil")
    sheet.label(30, 44, "ground", quiet=True)


def modules(sheet: Sheet) -> None:
    _bus(sheet, 40, 300)
    for place, x in enumerate((50, 115, 180)):
        sheet.box(x - 20, 62, 40, 36, f"M{place + 1}")
        sheet.wire((x, 62), (x, TOP))
        sheet.wire((x, 98), (x, FLOOR))
        sheet.series(x, 46, "A")
    sheet.box(250, 56, 60, 48, "load")
    sheet.wire((280, 56), (280, TOP))
    sheet.wire((280, 104), (280, FLOOR))
    sheet.series(235, TOP, "A")
    sheet.label(50, 142, "each module its share I, against its rating I_m")


def regulation(sheet: Sheet) -> None:
    sheet.box(30, 50, 74, 50, "charger,", "inverter")
    sheet.wire((67, 50), (67, TOP), (270, TOP), (270, 52))
    sheet.wire((67, 100), (67, FLOOR), (270, FLOOR), (270, 98))
    sheet.box(236, 52, 68, 46, "load: none,", "half, full")
    sheet.across(150, TOP, FLOOR, "V", reach=150)
    sheet.label(166, 80, "U at each load")
    sheet.series(210, TOP, "A")


def decision(sheet: Sheet) -> None:
    sheet.line((20, 75), (320, 75), role=Role.QUIET, weight=1)
    sheet.rect(80, 65, 180, 20, Role.GRID)
    sheet.rect(80, 65, 30, 20, Role.NEUTRAL)
    sheet.rect(230, 65, 30, 20, Role.NEUTRAL)
    for x, name in ((80, "T_L"), (260, "T_U")):
        sheet.line((x, 55), (x, 95), weight=1.8)
        sheet.label(x, 112, name, "middle")
    sheet.span(230, 260, 48, "w = r·U")
    sheet.line((150, 75), (210, 75), role=Role.ACTION, weight=HEAVY)
    sheet.disc(180, 75, 5, Role.ACTION)
    sheet.label(180, 58, "y ± U", "middle")


def display_scene(sheet: Sheet) -> None:
    sheet.rect(70, 40, 120, 46, Role.INK, filled=False, weight=1.6)
    sheet.text(176, 72, "122.70", size=24, anchor="end", strong=True)
    sheet.line((162, 92), (176, 92), role=Role.ACTION, weight=HEAVY)
    sheet.label(170, 106, "n_c counts of the last digit q", "middle")
    sheet.label(204, 60, "± p % of reading")
    sheet.label(204, 76, "± p_R % of range R")
