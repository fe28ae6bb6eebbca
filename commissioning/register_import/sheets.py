"""The sheets of a register workbook, each declared once; template, reader, checks and export are drawn from here."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from commissioning.models import Direction, EquipmentKind, StageKind, SupplyKind, SystemKind

from .columns import Column, Kind
from .sheet import Sheet, nameplate_columns


def _choices(kind: Any) -> tuple[tuple[str, str], ...]:
    return tuple((value, str(label)) for value, label in kind.choices)


def _unknown_zone(name: str) -> str | None:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return f"there is no time zone '{name}'"
    return None


def _tag(heading: str = "tag", **more: Any) -> Column:
    return Column(more.pop("name", heading.replace(" ", "_")), heading, max_length=60, **more)


SITES = Sheet(
    "sites",
    "Sites",
    "site",
    "Places with their own gate, time zone and people.",
    (
        Column("code", "code", required=True, max_length=20, help="Short code of the site.", example="QPS"),
        Column("name", "name", required=True, help="Name of the site.", example="Quillmarsh Pumping Station"),
        Column(
            "time_zone",
            "time zone",
            max_length=64,
            check=_unknown_zone,
            help="A name of the IANA list, such as Europe/London. Empty: the project's.",
            example="Europe/London",
        ),
        Column("notes", "notes", Kind.LONG_TEXT, "Access, local rules, emergency contact on site.", max_length=8000),
    ),
    (("code",),),
)

SYSTEMS = Sheet(
    "systems",
    "Systems",
    "system",
    "What is commissioned and handed over as one. Its stages follow from its kind.",
    (
        _tag(required=True, help="The system's tag, unique in the project.", example="QPS-DC1"),
        Column(
            "site", "site", required=True, refers_to="sites", max_length=20, help="Code of its site.", example="QPS"
        ),
        Column("name", "name", required=True, help="What it is called.", example="125 V switchgear supply"),
        Column(
            "kind",
            "kind",
            Kind.CHOICE,
            "Kind of system. It decides stages and procedure, and stays once the system is recorded.",
            required=True,
            choices=_choices(SystemKind),
            example=str(SystemKind.DC_POWER_NICD.label),
        ),
        *nameplate_columns(),
    ),
    (("tag",),),
)

EQUIPMENT = Sheet(
    "equipment",
    "Equipment",
    "piece of equipment",
    "Tagged things: their place, parent, serial number and nameplate.",
    (
        _tag(required=True, help="The tag, unique in the project.", example="QPS-DC1-BAT1"),
        _tag("system", required=True, refers_to="systems", help="Tag of its system.", example="QPS-DC1"),
        _tag("parent", refers_to="equipment", help="Tag of what it is part of, if anything.", also=("parent tag",)),
        Column("description", "description", help="What it is, in words.", example="battery, 92 cells"),
        Column(
            "kind",
            "kind",
            Kind.CHOICE,
            "Kind of equipment. Check lines are laid out by it. Empty: other.",
            choices=_choices(EquipmentKind),
            example=str(EquipmentKind.BATTERY.label),
        ),
        Column(
            "serial_number",
            "serial number",
            max_length=80,
            help="As on the nameplate. Format the cell as text.",
            example="NC-40117",
            also=("serial", "serial no", "s n"),
        ),
        Column("maker", "maker", max_length=120, help="Who made it.", also=("manufacturer", "make")),
        Column("model", "model", max_length=120, help="The maker's type.", also=("type",)),
        Column(
            "former_tags",
            "former tags",
            Kind.TAGS,
            "Tags it had before, parted by ';'. A new tag with the recorded one here renames the equipment.",
            max_length=1000,
            also=("former tag", "old tag"),
        ),
        *nameplate_columns(),
    ),
    (("tag",),),
    former="former_tags",
)


def _stage(name: str, heading: str, **more: Any) -> Column:
    return Column(name, heading, Kind.CHOICE, choices=_choices(StageKind), **more)


DEPENDENCIES = Sheet(
    "stage_dependencies",
    "Stage dependencies",
    "stage dependency",
    "A stage that waits for a stage of another system. Rows that are missing here stay recorded.",
    (
        _tag("system", required=True, refers_to="systems", help="Tag of the system that waits.", example="QPS-DC1"),
        _stage("stage", "stage", required=True, help="Its stage that waits.", example="battery-connected"),
        _tag(
            "requires system",
            required=True,
            refers_to="systems",
            help="Tag of the system it waits for.",
            example="QPS-LV1",
        ),
        _stage(
            "requires_stage",
            "requires stage",
            required=True,
            help="The stage there that must be accepted first.",
            example="energisation",
        ),
    ),
    (("system", "stage", "requires_system", "requires_stage"),),
)

PLAN_DATES = Sheet(
    "plan_dates",
    "Plan dates",
    "planned gate",
    "Dates for which gates are planned. A stage that has no row here keeps the date that is recorded.",
    (
        _tag("system", required=True, refers_to="systems", help="Tag of the system.", example="QPS-DC1"),
        _stage("stage", "stage", required=True, help="Its stage.", example="energisation"),
        Column(
            "planned_for",
            "planned for",
            Kind.DATE,
            "Date for which its gate is planned. (none) takes a recorded date away.",
            example="2026-09-14",
            also=("planned", "plan date", "date"),
        ),
    ),
    (("system", "stage"),),
)

SUPPLY_POINTS = Sheet(
    "supply_points",
    "Supply points",
    "supply point",
    "Every way energy gets in. Isolation is recorded at the point with its lock number, never by a workbook: "
    "a new supply point is not recorded, so treat it as LIVE.",
    (
        _tag("system", required=True, refers_to="systems", help="Tag of its system.", example="QPS-DC1"),
        _tag(required=True, help="Tag of the supply point, unique in its system.", example="QPS-DC1-Q1"),
        Column(
            "kind",
            "kind",
            Kind.CHOICE,
            "How energy gets in. A battery's terminals stay live with its links open.",
            required=True,
            choices=_choices(SupplyKind),
            example=str(SupplyKind.INCOMER.label),
        ),
        Column("description", "description", help="What it is and where.", example="AC incomer, board LV1 way 6"),
    ),
    (("system", "tag"),),
)

SIGNAL_POINTS = Sheet(
    "signal_points",
    "Signal points",
    "signal point",
    "Relay outputs and digital inputs to the plant control system, to be proved end to end.",
    (
        _tag("system", required=True, refers_to="systems", help="Tag of its system.", example="QPS-DC1"),
        _tag(required=True, help="Tag of the point, unique in its system.", example="QPS-DC1-K3"),
        Column("description", "description", required=True, help="What it says.", example="earth fault"),
        Column(
            "direction",
            "direction",
            Kind.CHOICE,
            "Empty: relay output.",
            choices=_choices(Direction),
            example=str(Direction.OUTPUT.label),
        ),
        _stage("stage_kind", "stage", help="Stage in which it is proved. Empty: energisation."),
        _tag("equipment", refers_to="equipment", help="Tag of the equipment it belongs to, if any."),
        Column("far_end", "far end", max_length=120, help="Where it is seen: card, channel, display."),
        Column("order", "order", Kind.WHOLE, "Its place in the list.", lower=0, upper=2_000_000),
    ),
    (("system", "tag"),),
)


def _serial(**more: Any) -> Column:
    return Column(
        more.pop("name", "serial_number"),
        "serial number",
        required=True,
        max_length=80,
        help="Serial number of the instrument. Format the cell as text.",
        example="MM-2207",
        also=("serial", "serial no", "instrument"),
        **more,
    )


INSTRUMENTS = Sheet(
    "instruments",
    "Instruments",
    "instrument",
    "What measures. Ranges and calibrations stand on sheets of their own.",
    (
        _serial(),
        Column("description", "description", required=True, help="What it is.", example="multimeter"),
        Column("maker", "maker", max_length=120, help="Who made it.", also=("manufacturer", "make")),
        Column("model", "model", max_length=120, help="The maker's type.", also=("type",)),
    ),
    (("serial_number",),),
)


def _accuracy(name: str, heading: str, help: str, unit: str = "") -> Column:
    return Column(name, heading, Kind.NUMBER, help, unit=unit, lower=0)


RANGES = Sheet(
    "instrument_ranges",
    "Instrument ranges",
    "instrument range",
    "Each range with its accuracy as the maker states it: ±(% of reading + % of range + counts × resolution).",
    (
        _serial(name="instrument", refers_to="instruments"),
        Column("unit", "unit", required=True, max_length=20, help="V, A, Ω, °C …", example="V"),
        Column("lower", "lower", Kind.NUMBER, "Lower end of the range, in the unit. Empty: 0.", default=0),
        Column(
            "upper",
            "upper",
            Kind.NUMBER,
            "Largest magnitude that it shows, in the unit.",
            required=True,
            example="400",
        ),
        _accuracy("percent_of_reading", "of reading", "Accuracy, part of the reading.", "%"),
        _accuracy("percent_of_range", "of range", "Accuracy, part of the range.", "%"),
        _accuracy("counts", "counts", "Accuracy, counts of the last digit."),
        _accuracy("resolution", "resolution", "Value of one count, in the unit."),
        _accuracy("temperature_coefficient", "temperature coefficient", "Added % of reading per °C outside 18…28 °C."),
        _accuracy("calibration_uncertainty", "calibration uncertainty", "Expanded (k = 2), in the unit."),
    ),
    (("instrument", "unit", "lower", "upper"),),
)

CALIBRATIONS = Sheet(
    "calibrations",
    "Calibrations",
    "calibration",
    "When each instrument was calibrated and until when that holds. Certificates are added on the instrument's page.",
    (
        _serial(name="instrument", refers_to="instruments"),
        Column(
            "calibrated_on",
            "calibrated on",
            Kind.DATE,
            "Date of calibration: 2026-03-01.",
            required=True,
            example="2026-03-01",
        ),
        Column("due_on", "due on", Kind.DATE, "Date it is due again.", required=True, example="2027-03-01"),
        Column("certificate_number", "certificate number", max_length=80, help="Number of the certificate."),
    ),
    (("instrument", "calibrated_on"),),
)

#: In the order in which they are written: a sheet refers only to sheets before it and to itself.
REGISTER = (
    SITES,
    SYSTEMS,
    EQUIPMENT,
    DEPENDENCIES,
    PLAN_DATES,
    SUPPLY_POINTS,
    SIGNAL_POINTS,
    INSTRUMENTS,
    RANGES,
    CALIBRATIONS,
)
