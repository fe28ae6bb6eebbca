"""The register of one 110 V supply as its engineer keeps it: a workbook, made with a library that is not ours."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from tests.support.books import Rows, xlsx

SYSTEM = "TTW-GUD10"
BATTERY = f"{SYSTEM}-G1"
SYSTEMS: Rows = [
    ["tag", "site", "name", "kind", "nominal voltage [V]", "ac nominal voltage [V]", "low voltage alarm [V]"],
    [SYSTEM, "TTW", "Switchgear supply 110 V", "DC power system, VRLA battery", 110, 400, 105],
]
HEADINGS = {
    "cells": 54,
    "upper cells": 27,
    "lower cells": 27,
    "float volts per cell [V]": 2.27,
    "end volts per cell [V]": 1.8,
    "reference temperature [°C]": 20,
    "temperature coefficient [V/°C]": -0.003,
    "capacity [Ah]": 200,
    "capacity hours [h]": 10,
    "charge current limit [A]": 40,
    "test minutes": 480,
    "ohmic baseline [mΩ]": 0.5,
    "closing difference max [V]": 2,
    "rated current [A]": None,
    "current limit [A]": None,
    "module current [A]": None,
    "earth fault setting [kΩ]": None,
    "design current [A]": None,
    "area [mm²]": None,
    "conductor class": None,
    "material": None,
    "line per km [Ω/km]": None,
    "protective per km [Ω/km]": None,
}
CABLE = {
    "design current [A]": 50,
    "area [mm²]": 25,
    "conductor class": 2,
    "material": "cu",
    "line per km [Ω/km]": 0.727,
    "protective per km [Ω/km]": 0.727,
}
MODULE = {"rated current [A]": 50, "module current [A]": 50}
#: Tag behind the system's, what it is, its kind, what its nameplate says.
EQUIPMENT: list[tuple[str, str, str, dict[str, Any]]] = [
    ("T1", "modular rectifier cabinet", "rectifier or charger", {"rated current [A]": 100, "current limit [A]": 105}),
    ("T1-M1", "rectifier module 1", "rectifier module", MODULE),
    ("T1-M2", "rectifier module 2", "rectifier module", MODULE),
    ("G1", "battery, 54 cells VRLA", "battery", {name: value for name, value in HEADINGS.items() if value is not None}),
    ("F1", "earth-fault monitor", "earth-fault monitor", {"earth fault setting [kΩ]": 15}),
    ("F2", "battery fuse detector", "fuse detector", {}),
    ("K1", "common alarm relay", "relay", {}),
    ("K2", "earth fault relay", "relay", {}),
    ("W1", "main DC cable", "cable", CABLE),
]


def _equipment() -> Rows:
    head = ["tag", "system", "description", "kind", "serial number", *HEADINGS]
    rows = [
        [f"{SYSTEM}-{tag}", SYSTEM, what, kind, f"SN-{tag}", *(plate.get(name) for name in HEADINGS)]
        for tag, what, kind, plate in EQUIPMENT
    ]
    return [head, *rows]


def _instruments() -> dict[str, Rows]:
    """A multimeter and an insulation tester, calibrated half a year ago."""
    calibrated = date.today() - timedelta(days=180)
    ranges = [
        ["MM-2207", unit, 0, upper, 0.05, 5, step]
        for unit, upper, step in (("V", 600, 0.01), ("Ω", 600, 0.001), ("A", 200, 0.01))
    ]
    return {
        "Instruments": [
            ["serial number", "description"],
            ["MM-2207", "multimeter"],
            ["IT-0915", "insulation tester"],
        ],
        "Instrument ranges": [
            ["instrument", "unit", "lower", "upper", "of reading [%]", "counts", "resolution"],
            *ranges,
            ["IT-0915", "MΩ", 0, 1000, 2, 2, 0.1],
        ],
        "Calibrations": [
            ["instrument", "calibrated on", "due on", "certificate number"],
            *(
                [number, calibrated, calibrated + timedelta(days=365), f"C-{number}"]
                for number in ("MM-2207", "IT-0915")
            ),
        ],
    }


def workbook(**sheets: Rows) -> bytes:
    """The register as XLSX; a sheet that is named replaces the sound one."""
    point = "station controller DI 3/"
    return xlsx(
        {
            "Sites": [["code", "name", "notes"], ["TTW", "Tarnholt Treatment Works", "Report to the duty desk."]],
            "Systems": SYSTEMS,
            "Equipment": _equipment(),
            "Supply points": [
                ["system", "tag", "kind", "description"],
                [SYSTEM, f"{SYSTEM}-Q1", "temporary supply", "AC supply to the rectifier"],
                [SYSTEM, f"{SYSTEM}-Q2", "battery", "battery isolator and string fuses"],
            ],
            "Signal points": [
                ["system", "tag", "description", "direction", "stage", "equipment", "far end", "order"],
                [
                    SYSTEM,
                    f"{SYSTEM}-K1",
                    "common alarm",
                    "relay output",
                    "energisation",
                    f"{SYSTEM}-K1",
                    f"{point}1",
                    1,
                ],
                [SYSTEM, f"{SYSTEM}-K2", "earth fault", "relay output", "energisation", f"{SYSTEM}-K2", f"{point}2", 2],
            ],
            **_instruments(),
            "Snags": [
                ["reference", "system", "stage", "tag", "category", "text", "owes"],
                ["SN-001", SYSTEM, None, f"{SYSTEM}-T1", "C", "Touch-up paint on the door", "Pellwick Electrical"],
            ],
            **sheets,
        }
    ).getvalue()
