"""Test recordings: a log is uploaded, its columns are confirmed, and it is read in the background.

The raw file never changes and is never deleted. Read again by other columns, or replaced by a better file, a recording
gives a new reading; the one before stays on record, superseded.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from typing import IO, Any
from uuid import UUID

from django.db import transaction

from commissioning.errors import Conflict, InvalidInput
from commissioning.models import (
    CheckLine,
    Equipment,
    Instrument,
    Job,
    JobState,
    RecordingKind,
    RecordingState,
    System,
    TestRecording,
    User,
)
from commissioning.rules.gate_parts import NOTHING
from commissioning.services import job_runs, jobs, recording_files
from commissioning.services.audit import record
from commissioning.services.locks import lock_system
from commissioning.services.permissions import WORKERS, require
from commissioning.services.reading_inputs import gather_inputs
from commissioning.services.recording_columns import checked_map, first_guess, keep_mapping
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change

JOB_KIND = "read_recording"
CALCULATION = "discharge_log"
#: A text file up to this size is read while the page waits; a larger one, and a workbook, in the background.
AT_ONCE_BYTES = 4 * 2**20


def upload_recording(
    *,
    actor: User,
    system: System,
    file: IO[bytes],
    name: str,
    kind: str = RecordingKind.DISCHARGE,
    line: CheckLine | None = None,
    equipment: Equipment | None = None,
    id: UUID | None = None,
) -> TestRecording:
    """Keep a log as it is and guess its columns; a person confirms them with `confirm_columns`.

    Raises InvalidInput when the file is no log. Sent twice with one `id`, it is one recording.
    """
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="upload a test recording")
    _check_place(system, kind, line, equipment)
    with recording_files.received(file) as found:
        if made := already_made(
            TestRecording, id, system_id=system.pk, uploaded_by_id=actor.pk, raw_sha256=found.sha256
        ):
            return made
        recording = TestRecording(
            project=system.project,
            system=system,
            line=line,
            equipment=equipment or (line.equipment if line else None),
            kind=kind,
            raw_name=_plain_name(name),
            raw_sha256=found.sha256,
            raw_bytes=found.bytes,
            column_map=first_guess(project=system.project, layout=found.layout),
            uploaded_by=actor,
        )
        if id is not None:
            recording.pk = id
        recording_files.keep(recording=recording, found=found)
    with transaction.atomic():
        recording.save(force_insert=True)
        note(recording, actor, "recording_uploaded", f"log {recording.raw_name} uploaded, SHA-256 {found.sha256}.")
    return recording


def _check_place(system: System, kind: str, line: CheckLine | None, equipment: Equipment | None) -> None:
    problems: dict[str, str] = {}
    if kind not in RecordingKind.values:
        problems["kind"] = f"A log is a {', a '.join(RecordingKind.values)}, not '{kind}'."
    if line is not None and (line.stage.system_id != system.pk or not takes_recording(line)):
        problems["line"] = "This line takes no test recording of this system. Choose the line of the discharge test."
    elif line is not None and kind != RecordingKind.DISCHARGE:
        problems["kind"] = "This line is answered by the log of a discharge."
    if equipment is not None and equipment.system_id != system.pk:
        problems["equipment"] = f"{equipment.tag} does not belong to {system.tag}."
    if problems:
        raise InvalidInput(problems)


def takes_recording(line: CheckLine) -> bool:
    """The line is answered by a test recording."""
    wanted = any(spec.get("kind") == "recording" for spec in line.inputs.values())
    return line.calculation == CALCULATION and wanted and line.retired_at is None


def _plain_name(name: str) -> str:
    """The file's own name as words: no folders, no characters that cannot be seen."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(one for one in last if unicodedata.category(one)[0] != "C").strip()[-200:] or "log"


@state_change()
def confirm_columns(
    *,
    actor: User,
    recording: TestRecording,
    column_map: Mapping[str, Any],
    inputs: Mapping[str, str] | None = None,
    instruments: Mapping[str, Instrument] | None = None,
) -> TestRecording:
    """Say which column is what, and what the log cannot know (temperature, end voltage); then it is read.

    `inputs` are typed texts for `discharge_log`; other kinds need none. The map is kept for the next file with the same
    headings. May be said again, also after a failure, until a newer recording stands in its place.
    """
    system = lock_system(recording.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="confirm the columns of a log")
    recording = TestRecording.objects.select_related("line__stage", "line__equipment").get(pk=recording.pk)
    recording.system = system
    if recording.superseded_at:
        raise Conflict("A newer recording stands in the place of this one. What it gave stays on record.")
    if (going := last_job(recording)) and going.state in (JobState.WAITING, JobState.RUNNING):
        raise Conflict("It is being read just now. Wait for it, or cancel that work first.")
    head = recording_files.head_of(recording)
    columns = checked_map(column_map, head["headings"])
    typed = {name: str(text).strip() for name, text in (inputs or {}).items() if str(text).strip()}
    if recording.kind == RecordingKind.DISCHARGE:
        if columns.current is None and not typed.get("current"):
            raise InvalidInput({"current": "The log has no current: type the constant current of the test."})
        _refuse_wrong_inputs(recording, typed, instruments or {})
    keep_mapping(project=system.project, headings_sha256=head["headings_sha256"], columns=columns, actor=actor)
    recording.column_map, recording.state, recording.error = columns.as_json(), RecordingState.WAITING, ""
    recording.save(update_fields=["column_map", "state", "error"])
    note(recording, actor, "recording_confirmed", f"columns of {recording.raw_name} confirmed.")
    _ask(recording, actor, typed, instruments or {})
    return recording


def _refuse_wrong_inputs(
    recording: TestRecording, typed: Mapping[str, str], instruments: Mapping[str, Instrument]
) -> None:
    """What was typed is judged at once; the log itself when it is read."""
    try:
        gather_inputs(
            system=recording.system, line=recording.line, calculation=CALCULATION, typed={**typed, "recording": ""},
            instruments=instruments, taken_at=recording.uploaded_at,
        )  # fmt: skip
    except InvalidInput as error:
        if problems := {name: words for name, words in error.fields.items() if name != "recording"}:
            raise InvalidInput(problems) from error


def _ask(
    recording: TestRecording, actor: User, typed: Mapping[str, str], instruments: Mapping[str, Instrument]
) -> None:
    count = Job.objects.filter(key__startswith=f"{JOB_KIND}:{recording.pk}:").count()
    jobs.ask(
        project=recording.project,
        kind=JOB_KIND,
        key=f"{JOB_KIND}:{recording.pk}:{count + 1}",
        asked_by=actor,
        arguments={
            "recording": str(recording.pk),
            "inputs": dict(typed),
            "instruments": {name: str(one.pk) for name, one in instruments.items()},
        },
    )


def last_job(recording: TestRecording) -> Job | None:
    """The work that read this recording last, or is going to."""
    return Job.objects.filter(key__startswith=f"{JOB_KIND}:{recording.pk}:").order_by("-asked_at", "-id").first()


def read_now_if_small(recording: TestRecording) -> None:
    """Read a small log at once. Whoever takes the lease does the work, this process or a worker: never both."""
    job = last_job(recording)
    if job and job.state == JobState.WAITING and recording.raw_bytes <= AT_ONCE_BYTES:
        job_runs.run(job.pk)
        recording.refresh_from_db()


def note(recording: TestRecording, actor: User, action: str, words: str, **data: Any) -> None:
    record(
        project=recording.project_id,
        actor=actor,
        action=action,
        touches=NOTHING,
        on=recording,
        system=recording.system_id,
        words=f"{recording.system.tag}: {words}",
        data={"sha256": recording.raw_sha256, "line": recording.line_id, **data},
    )
