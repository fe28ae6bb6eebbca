"""What is measured where on a battery: charging, discharge, cells, links, ventilation, fault energy."""

from __future__ import annotations

from commissioning.drawings.display import Role
from commissioning.drawings.schematic import FLOOR, HEAVY, TOP, Sheet


def _charging(sheet: Sheet) -> None:
    sheet.box(30, 50, 60, 50, "charger")
    sheet.wire((60, 50), (60, TOP), (200, TOP))
    sheet.wire((60, 100), (60, FLOOR), (200, FLOOR))
    sheet.cells(200, TOP, FLOOR)
    sheet.label(218, 60, "N cells")


def float_scene(sheet: Sheet) -> None:
    _charging(sheet)
    sheet.across(140, TOP, FLOOR, "V", reach=140)
    sheet.label(156, 80, "U")
    sheet.lead((278, 90), (213, 90))
    sheet.meter(290, 90, "°C")
    sheet.label(290, 118, "T, at a cell", "middle")


def cell_count(sheet: Sheet) -> None:
    _charging(sheet)
    sheet.across(140, TOP, FLOOR, "V", reach=140)
    sheet.label(156, 80, "U")
    sheet.label(218, 92, "how many?", quiet=True)


def midpoint(sheet: Sheet) -> None:
    sheet.cells(120, TOP - 12, 75, shown=2, poles="+")
    sheet.cells(120, 75, FLOOR + 12, shown=2, poles="−")
    sheet.across(200, TOP - 12, 75, "V", reach=120)
    sheet.across(230, 75, FLOOR + 12, "V", reach=120)
    sheet.label(218, TOP + 20, "U_a: mid-point to plus")
    sheet.label(248, FLOOR - 10, "U_b: mid-point")
    sheet.label(248, FLOOR + 3, "to minus")
    sheet.label(104, 79, "mid-point", "end")


def discharge(sheet: Sheet, *, note: str = "T_a: time to the end voltage") -> None:
    sheet.cells(70, TOP, FLOOR)
    sheet.wire((70, TOP), (240, TOP), (240, 52))
    sheet.wire((70, FLOOR), (240, FLOOR), (240, 98))
    sheet.box(210, 52, 60, 46, "load bank")
    sheet.across(140, TOP, FLOOR, "V", reach=140)
    sheet.series(190, TOP, "A")
    sheet.lead((30, 90), (58, 90))
    sheet.meter(20, 90, "°C")
    sheet.label(334, 13, note, "end")


def capacity_ah(sheet: Sheet) -> None:
    discharge(sheet, note="C: ampere-hours drawn")


def duty(sheet: Sheet) -> None:
    sheet.arrow((40, FLOOR), (40, 15), Role.INK)
    sheet.arrow((40, FLOOR), (320, FLOOR), Role.INK)
    sheet.label(46, 18, "A, amperes")
    sheet.label(320, FLOOR + 14, "t, minutes", "end")
    steps = (
        (40, 50),
        (60, 50),
        (60, 95),
        (150, 95),
        (150, 60),
        (230, 60),
        (230, 105),
        (290, 105),
        (290, 40),
        (302, 40),
    )
    sheet.line(*steps, (302, FLOOR), role=Role.ACTION, weight=HEAVY)
    for x, name in ((105, "A_1"), (190, "A_2"), (260, "A_3")):
        sheet.label(x, FLOOR - 4, name, "middle", quiet=True)


def charger(sheet: Sheet) -> None:
    sheet.box(20, 50, 60, 50, "charger")
    sheet.wire((50, 50), (50, TOP), (260, TOP))
    sheet.wire((50, 100), (50, FLOOR), (260, FLOOR))
    sheet.cells(160, TOP, FLOOR)
    sheet.label(178, 72, "Q to")
    sheet.label(178, 84, "put back")
    sheet.box(230, 52, 60, 46, "load")
    sheet.wire((260, TOP), (260, 52))
    sheet.wire((260, 98), (260, FLOOR))
    sheet.series(105, TOP, "A")
    sheet.series(215, TOP, "A")
    sheet.label(215, 14, "L", "middle")


def room(sheet: Sheet) -> None:
    sheet.wire((60, 20), (60, 128), (280, 128))
    sheet.wire((60, 20), (280, 20), (280, 100))
    sheet.cells(130, 68, 122, shown=2)
    sheet.label(152, 100, "n cells, C Ah, I_gas")
    sheet.arrow((325, 114), (270, 114))
    sheet.arrow((90, 34), (22, 34))
    sheet.rect(57, 26, 6, 16, Role.GROUND)
    sheet.meter(100, 34, "m³/h")
    sheet.label(118, 38, "Q_m, out at the ceiling")
    sheet.label(262, 118, "in at the floor", "end")


def links(sheet: Sheet, *, over_cell: bool = False) -> None:
    for place in range(3):
        x = 50 + place * 85
        sheet.rect(x, 70, 70, 55, Role.INK, filled=False, weight=1.2)
        for post, sign in ((x + 12, "+"), (x + 58, "−")):
            sheet.rect(post - 4, 62, 8, 8, Role.INK)
            sheet.label(post, 84, sign, "middle")
        if place < 2:
            sheet.line((x + 58, 64), (x + 97, 64), weight=4)
    if over_cell:
        sheet.lead((170, 30), (147, 30), (147, 61))
        sheet.lead((170, 30), (193, 30), (193, 61))
        sheet.meter(170, 30, "mΩ")
        sheet.label(190, 24, "R, post to post")
    else:
        sheet.lead((128, 30), (108, 30), (108, 61))
        sheet.lead((128, 30), (147, 30), (147, 61))
        sheet.meter(128, 30, "µΩ")
        sheet.label(165, 24, "R over each link,")
        sheet.label(165, 36, "post to post, not bolt to bolt")


def ohmic(sheet: Sheet) -> None:
    links(sheet, over_cell=True)


def acid(sheet: Sheet) -> None:
    _bank(sheet, ("s", "°C", ""))
    sheet.label(40, 20, "specific gravity and temperature of the acid")


def temperatures(sheet: Sheet) -> None:
    _bank(sheet, ("°C", "°C", "°C"))
    sheet.label(40, 20, "T at several cells, warmest and coolest among them")


def _bank(sheet: Sheet, letters: tuple[str, ...]) -> None:
    for place, letter in enumerate(letters):
        x = 50 + place * 85
        sheet.rect(x, 70, 70, 55, Role.INK, filled=False, weight=1.2)
        if letter:
            sheet.lead((x + 35, 56), (x + 35, 92))
            sheet.meter(x + 35, 44, letter)


def ripple(sheet: Sheet) -> None:
    _charging(sheet)
    sheet.across(140, TOP, FLOOR, "V~", reach=140)
    sheet.label(124, 80, "U_rms", "end")
    sheet.meter(200, 14, "A~")
    sheet.line((200, 26), (200, TOP), role=Role.ACTION, weight=HEAVY)
    sheet.label(218, 18, "clamp, battery lead")


def short(sheet: Sheet) -> None:
    sheet.cells(80, TOP, FLOOR)
    sheet.label(98, 78, "N cells of E")
    sheet.resistor_across(80, 200, TOP)
    sheet.label(140, 20, "N·R / P", "middle")
    sheet.resistor(200, TOP, FLOOR)
    sheet.label(212, 79, "R_x: cables, links")
    sheet.wire((80, FLOOR), (200, FLOOR))
    sheet.arrow((190, FLOOR), (120, FLOOR), Role.DANGER)
    sheet.label(155, FLOOR + 16, "I", "middle")


def arc(sheet: Sheet) -> None:
    sheet.rect(70, 40, 10, 70, Role.INK)
    sheet.rect(100, 40, 10, 70, Role.INK)
    sheet.line((80, 78), (86, 70), (91, 84), (96, 70), (100, 78), role=Role.DANGER, weight=2.4)
    sheet.label(90, 30, "gap g", "middle")
    sheet.disc(270, 46, 10, Role.INK, filled=False, weight=1.4)
    sheet.line((270, 56), (270, 96), (258, 122), weight=1.4)
    sheet.line((270, 96), (282, 122), weight=1.4)
    sheet.line((252, 74), (270, 66), (288, 74), weight=1.4)
    sheet.span(96, 256, 100, "D, to face and chest")


def curve(sheet: Sheet) -> None:
    sheet.arrow((40, FLOOR), (40, 15), Role.INK)
    sheet.arrow((40, FLOOR), (320, FLOOR), Role.INK)
    sheet.label(46, 18, "U of string and cells")
    sheet.label(320, FLOOR + 14, "time", "end")
    sheet.line(
        (40, 34), (50, 52), (70, 44), (160, 50), (230, 66), (262, 92), (280, 112), role=Role.ACTION, weight=HEAVY
    )
    sheet.line((40, 92), (310, 92), weight=0.9, dash=(4, 3))
    sheet.label(310, 86, "end voltage", "end")
    sheet.line((262, 92), (262, FLOOR), weight=0.9, dash=(2, 2))
    sheet.label(262, FLOOR + 14, "end", "middle")
