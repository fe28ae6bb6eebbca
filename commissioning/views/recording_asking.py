"""What a person types beside a log: the temperature and the battery's data, and what is rarely needed."""

from __future__ import annotations

from dataclasses import replace

import calcs
from commissioning.models import RecordingKind, TestRecording
from commissioning.selectors.asking import Asked, shown, wanted_by, wanted_by_calculation
from commissioning.services.reading_inputs import nameplate_value
from commissioning.services.recordings import CALCULATION, last_job

#: Where the register keeps what a discharge test needs to know of the battery.
PLATES = {"cells": "cells", "end_voltage_per_cell": "end_volts_per_cell", "rated_hours": "capacity_hours"}
MAIN = (*PLATES, "temperature")
#: Needed by some logs only: a log without a current, uncertainties of the logger, blocks, a sign that cannot be told.
MORE = (
    "current",
    "voltage_uncertainty",
    "current_uncertainty",
    "time_uncertainty",
    "block_cells",
    "discharge_sign",
    "correction",
)
MEASURED = "temperature"
HELP = {
    "current": "Where the log has no current: the constant current of the test.",
    "temperature": "Mean of the cells at the start. Without it the capacity is not corrected.",
}


def asked_for(recording: TestRecording) -> tuple[list[Asked], tuple[str, ...]]:
    """(values to type, units for which an instrument is chosen). Only a discharge asks for anything."""
    if recording.kind != RecordingKind.DISCHARGE:
        return [], ()
    by_name = {one.name: one for one in wanted_by_calculation(calcs.get(CALCULATION)).asked}
    main = [by_name[name] for name in MAIN]
    settled: set[str] = set()
    if recording.line is not None:
        wanted = {one.name: one for one in wanted_by(recording.line).asked}
        settled = {name for name in recording.line.inputs if name not in wanted}
        main = [wanted.get(name) or by_name[name] for name in (*MAIN, *wanted) if name not in settled]
        main = list({one.name: one for one in main}.values())
    before = typed_before(recording)
    asked = [*main, *(by_name[name] for name in MORE if name not in settled | {one.name for one in main})]
    found = [
        replace(
            one,
            measured=one.name == MEASURED,
            help=one.help or HELP.get(one.name, ""),
            previous=before.get(one.name) or _off_the_plate(recording, one.name),
        )
        for one in asked
    ]
    return found, tuple(one.unit for one in found if one.measured)


def typed_before(recording: TestRecording) -> dict[str, str]:
    """What was typed when the columns were confirmed last."""
    job = last_job(recording)
    return dict(job.arguments.get("inputs", {})) if job else {}


def _off_the_plate(recording: TestRecording, name: str) -> str:
    if name not in PLATES:
        return ""
    spec = {"key": PLATES[name], "of": "battery"}
    own = recording.equipment.nameplate.get(PLATES[name]) if recording.equipment else None
    value = own if own is not None else nameplate_value(system=recording.system, line=None, spec=spec)
    return "" if value is None else shown(value)
