"""Where the numbers of a reading come from: typed with an instrument, from a nameplate, or fixed by the line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

import calcs
from calcs import instruments as instrument_calcs
from calcs.units import parse
from commissioning.errors import InvalidInput
from commissioning.models import CheckLine, Equipment, Instrument, InstrumentRange, System
from commissioning.procedures.nameplate import NAMEPLATE_KEYS
from commissioning.services.recording_inputs import recording_entry

#: Not an input of any calculation: the temperature at the instrument, which widens its uncertainty outside 18…28 °C.
AMBIENT = "ambient"
STATED_TEMPERATURES = (18.0, 28.0)


@dataclass(slots=True)
class Gathered:
    """Inputs ready for the calculation, and the record of where each came from."""

    numbers: dict[str, Any] = field(default_factory=dict)
    kept: list[dict[str, Any]] = field(default_factory=list)
    instruments: dict[Any, Instrument] = field(default_factory=dict)
    problems: dict[str, str] = field(default_factory=dict)
    check_calibration: bool = True
    degrees_outside: float = 0.0


def gather_inputs(
    *,
    system: System,
    line: CheckLine | None,
    calculation: str,
    typed: Mapping[str, str],
    instruments: Mapping[str, Instrument],
    taken_at: datetime,
    check_calibration: bool = True,
) -> Gathered:
    """Every input of the calculation with its value, uncertainty and origin; InvalidInput names each that is wrong.

    `instruments` maps an input name to what measured it; the key ``""`` stands for all measured inputs not named.
    `typed` may hold the temperature at the instrument under AMBIENT.
    """
    found = Gathered(check_calibration=check_calibration)
    _take_ambient(found, str(typed.get(AMBIENT, "")).strip())
    specs = line.inputs if line else {}
    for one in calcs.get(calculation).inputs:
        spec = specs.get(one.name) or _spec_of(one)
        try:
            _gather_one(found, system, line, one, spec, typed, instruments, taken_at)
        except calcs.InputError as error:
            found.problems[one.name] = _sentence(error)
    if found.problems:
        raise InvalidInput(found.problems)
    return found


def _take_ambient(found: Gathered, text: str) -> None:
    """Degrees by which the instrument was outside the temperatures for which its maker states the accuracy."""
    if not text:
        return
    try:
        value = parse(text, "°C", name=AMBIENT).value
    except calcs.InputError as error:
        found.problems[AMBIENT] = _sentence(error)
        return
    if not -40 <= value <= 70:
        found.problems[AMBIENT] = f"{text} is no temperature to measure in. Type it in °C."
        return
    low, high = STATED_TEMPERATURES
    found.degrees_outside = max(low - value, value - high, 0.0)
    found.kept.append(
        {"name": AMBIENT, "label": "temperature at the instrument", "typed": text, "value": value, "unit": "°C",
         "expanded_uncertainty": None, "source": AMBIENT}
    )  # fmt: skip


def _spec_of(one: Any) -> dict[str, Any]:
    """An input that no line describes: as the catalogue has it."""
    return {"kind": "measured" if one.measured else "typed", "unit": one.unit, "optional": not one.required}


def _gather_one(
    found: Gathered,
    system: System,
    line: CheckLine | None,
    one: Any,
    spec: Mapping[str, Any],
    typed: Mapping[str, str],
    instruments: Mapping[str, Instrument],
    taken_at: datetime,
) -> None:
    source, text, unit = spec["kind"], str(typed.get(one.name, "")).strip(), spec.get("unit") or one.unit
    if source == "recording" or one.kind == "table":
        _take_recording(found, system, one.name, spec, text)
        return
    if source == "value":
        text = str(spec["value"])
    elif source == "nameplate" and (known := nameplate_value(system=system, line=line, spec=spec)) is not None:
        text, unit = str(known), NAMEPLATE_KEYS[spec["key"]].unit if spec.get("key") in NAMEPLATE_KEYS else unit
    elif source == "nameplate":
        source = "typed"  # the register does not have it: the person reads it off the plate
    if not text:
        if not spec.get("optional"):
            label = spec.get("label") or one.help or one.name
            found.problems[one.name] = f"Type {label}" + (f", in {unit}." if unit else ".")
        return
    entry: dict[str, Any] = {"name": one.name, "label": spec.get("label") or one.help, "typed": text, "unit": unit}
    entry["source"] = source
    if source == "measured":
        _measure(found, one, entry, instruments.get(one.name) or instruments.get(""), taken_at)
    elif one.kind == "scalar":
        quantity = parse(text, unit, name=one.name)
        entry |= {"value": quantity.value, "expanded_uncertainty": quantity.expanded_uncertainty}
        found.numbers[one.name] = _for_calculation(quantity.value, quantity.expanded_uncertainty, unit, one.unit)
    else:
        found.numbers[one.name] = text
    found.kept.append(entry)


def _take_recording(found: Gathered, system: System, name: str, spec: Mapping[str, Any], text: str) -> None:
    taken = recording_entry(system=system, name=name, spec=spec, text=text, problems=found.problems)
    if taken is not None:
        found.numbers[name], entry = taken
        found.kept.append(entry)


def _measure(
    found: Gathered, one: Any, entry: dict[str, Any], instrument: Instrument | None, taken_at: datetime
) -> None:
    """A measured input: its uncertainty is the one typed, else that of the instrument's range."""
    text, unit, many = entry["typed"], entry["unit"], one.kind == "list"
    quantities = [parse(part, unit, name=one.name) for part in (_parts(text) if many else [text])]
    spreads = [quantity.expanded_uncertainty for quantity in quantities]
    chosen = None
    if instrument is not None:
        if found.check_calibration:
            refuse_unfit(instrument=instrument, taken_at=taken_at, field=one.name, found=found)
        found.instruments[instrument.pk] = instrument
        chosen = choose_range(instrument.ranges.all(), unit=unit, value=max(abs(q.value) for q in quantities))
        if chosen is None:
            found.problems.setdefault(
                one.name, f"{instrument} has no range that shows {text} {unit}. Choose another, or add its range."
            )
        else:
            spreads = [
                uncertainty_on(chosen, value=q.value, unit=unit, degrees_outside=found.degrees_outside)
                if u is None
                else u
                for q, u in zip(quantities, spreads, strict=True)
            ]
    values = [quantity.value for quantity in quantities]
    numbers = [_for_calculation(v, u, unit, one.unit) for v, u in zip(values, spreads, strict=True)]
    found.numbers[one.name] = numbers if many else numbers[0]
    entry |= {
        "value": values if many else values[0],
        "expanded_uncertainty": spreads if many else spreads[0],
        "instrument": str(instrument.pk) if instrument else None,
        "instrument_words": str(instrument) if instrument else "",
        "range": str(chosen.pk) if chosen else None,
    }


def _parts(text: str) -> list[str]:
    """A list as people type it: `1,2; 1,3` with decimal commas, `1.2, 1.3` or `1.2 1.3` without."""
    if ";" in text:
        return [part for part in text.split(";") if part.strip()]
    if ", " in text or text.count(",") > 1 or ("," in text and "." in text):
        return [part for part in text.split(",") if part.strip()]
    return text.split() if all(_bare_number(part) for part in text.split()) else [text]


def _bare_number(text: str) -> bool:
    return text.replace(",", "", 1).replace(".", "", 1).lstrip("+-").isdigit()


def _for_calculation(value: float, spread: float | None, unit: str, wanted: str) -> str:
    """A number as the calculation reads it; where it wants a plain number, the line's unit stays with the line."""
    number = f"{value!r}+-{spread!r}" if spread else repr(value)
    if not unit or not wanted or unit == wanted:
        return number
    return f"({number}) {unit}" if spread else f"{number} {unit}"


def nameplate_value(*, system: System, line: CheckLine | None, spec: Mapping[str, Any]) -> Any:
    """A nameplate value: of the line's own equipment, else of the kind that the line names, else of the system."""
    key, kind = spec.get("key", ""), spec.get("of", "")
    own = line.equipment if line else None
    if own is not None and (not kind or own.kind == kind) and key in own.nameplate:
        return own.nameplate[key]
    if kind:
        for equipment in _of_kind(system, kind):
            if key in equipment.nameplate:
                return equipment.nameplate[key]
    return system.nameplate.get(key)


def _of_kind(system: System, kind: str) -> Iterable[Equipment]:
    """Equipment of this kind by tag; of a system that was loaded with its equipment, without a query."""
    if "equipment" in getattr(system, "_prefetched_objects_cache", {}):
        return (one for one in system.equipment.all() if one.kind == kind)
    return Equipment.objects.filter(system=system, kind=kind).order_by("tag")


def refuse_unfit(*, instrument: Instrument, taken_at: datetime, field: str, found: Gathered) -> None:
    """A new reading is taken with an instrument that was in use then, and in calibration."""
    if instrument.retired_at and instrument.retired_at <= taken_at:
        day = instrument.retired_at.astimezone(ZoneInfo(instrument.project.time_zone)).date()
        why = f": {instrument.retired_reason.rstrip('.')}" if instrument.retired_reason else ""
        found.problems[field] = f"{instrument} is no longer in use since {day}{why}. Measure with another."
        return
    refuse_out_of_calibration(instrument=instrument, taken_at=taken_at, field=field, found=found)


def refuse_out_of_calibration(*, instrument: Instrument, taken_at: datetime, field: str, found: Gathered) -> None:
    """An instrument is in calibration on a day that one of its standing calibrations covers."""
    if not in_calibration(instrument=instrument, at=taken_at):
        latest = instrument.calibrations.filter(withdrawn_at__isnull=True).order_by("-due_on").first()
        why = f"its calibration was due on {latest.due_on}" if latest else "no calibration of it is on record"
        found.problems[field] = f"{instrument} was not in calibration then: {why}. Measure with another."


def in_calibration(*, instrument: Instrument, at: datetime) -> bool:
    day = at.astimezone(ZoneInfo(instrument.project.time_zone)).date()
    return any(
        calibration.withdrawn_at is None and calibration.calibrated_on <= day <= calibration.due_on
        for calibration in instrument.calibrations.all()
    )


def choose_range(ranges: Iterable[InstrumentRange], *, unit: str, value: float) -> InstrumentRange | None:
    """The lowest range whose unit fits and whose end is not below the value, as a person would set the meter."""
    fitting = [
        (end, row) for row in ranges if (end := _in_unit(row.upper, row.unit, unit)) is not None and end >= value
    ]
    return min(fitting, key=lambda pair: pair[0])[1] if fitting else None


def range_fits(row: InstrumentRange, *, unit: str) -> bool:
    """True when a value in this unit can be read on the range."""
    return _in_unit(1.0, row.unit, unit) is not None


def uncertainty_on(row: InstrumentRange, *, value: float, unit: str, degrees_outside: float = 0.0) -> float:
    """Expanded uncertainty (k = 2) of `value`, given in `unit`, measured on this range."""
    scale = _in_unit(1.0, row.unit, unit)
    if scale is None or scale == 0:
        raise ValueError(f"{row.unit} is not a unit of {unit}")
    expanded = instrument_calcs.expanded_uncertainty(
        reading=abs(value) / scale,
        percent_of_reading=row.percent_of_reading,
        percent_of_range=row.percent_of_range,
        full_scale=row.upper,
        counts=row.counts,
        resolution=row.resolution,
        percent_per_degree=row.temperature_coefficient,
        degrees_outside=degrees_outside,
        calibration=row.calibration_uncertainty,
    )
    return expanded * scale


def _in_unit(value: float, from_unit: str, to_unit: str) -> float | None:
    """`value` in another unit of the same dimension; None where the units do not fit. °C and K count as one."""
    if {from_unit, to_unit} <= {"°C", "K"}:
        return value
    try:
        return parse(f"{value!r} {from_unit}", to_unit).value
    except calcs.InputError:
        return None


def _sentence(error: Exception) -> str:
    words = str(error)
    return words[:1].upper() + words[1:] + ("" if words.endswith(".") else ".")
