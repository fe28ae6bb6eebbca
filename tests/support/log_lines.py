"""A check line that is answered by a discharge log, and such logs as files. The logs say 'synthetic'."""

from __future__ import annotations

from collections.abc import Mapping
from io import BytesIO
from typing import Any

import openpyxl
import polars

from commissioning.models import CheckLine, TestRecording
from commissioning.services import recordings
from commissioning.services.stages import start_stage
from tests.support.logs import SyntheticTest, discharge_test
from tests.support.world import World

#: What the log cannot know: 24 lead-acid cells, 4 h rated to 1.80 V, at 25 °C (77 °F), where nothing is corrected.
INPUTS = {"cells": "24", "end_voltage_per_cell": "1.8", "rated_hours": "4", "temperature": "25"}


def discharge_line(world: World) -> CheckLine:
    """A line of the first stage, in hand, that wants a recording; what else it needs is typed."""
    stage = world.stage("mechanical_completion")
    line = CheckLine.objects.create(
        stage=stage,
        key="log-1",
        order=1,
        title="Log the discharge test to the end voltage",
        action="measure",
        work="either",
        calculation="discharge_log",
        inputs={
            "recording": {"kind": "recording", "label": "Discharge test"},
            "temperature": {"kind": "measured", "label": "Cell temperature", "unit": "°C"},
        },
    )
    if stage.state != "started":
        start_stage(actor=world.engineer, stage=stage)
    return line


def sound_test(**changes: Any) -> SyntheticTest:
    return discharge_test(**{"cells": 24, "hours": 4.0, "interval": 60.0, "noise": 0.0, **changes})


def as_csv(frame: polars.DataFrame, *, delimiter: str = ",", comma: bool = False, before: str = "") -> bytes:
    """The frame as a logger writes it."""
    text = frame.write_csv(separator=delimiter)
    if comma:
        head, _, rows = text.partition("\n")
        text = f"{head}\n{rows.replace('.', ',')}"
    return f"synthetic log, made for a test\n{before}{text}".encode()


def as_xlsx(frame: polars.DataFrame) -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["synthetic log, made for a test"])
    sheet.append(frame.columns)
    for row in frame.rows():
        sheet.append(row)
    packed = BytesIO()
    book.save(packed)
    return packed.getvalue()


def upload(world: World, content: bytes, *, name: str = "log.csv", **fields: Any) -> TestRecording:
    given = {"actor": world.engineer, "system": world.system, "file": BytesIO(content), "name": name, **fields}
    return recordings.upload_recording(**given)


def confirm(
    world: World, recording: TestRecording, *, inputs: Mapping[str, str] | None = None, **changes: Any
) -> TestRecording:
    """Confirm the guess, with some of it changed, and read the log in this process."""
    recording = recordings.confirm_columns(
        actor=changes.pop("actor", world.engineer),
        recording=recording,
        column_map={**recording.column_map, **changes},
        inputs=INPUTS if inputs is None else inputs,
    )
    recordings.read_now_if_small(recording)
    recording.refresh_from_db()
    return recording
