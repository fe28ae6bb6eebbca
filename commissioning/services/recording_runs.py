"""A test recording is read: from its raw file to a result, a drawing, and a reading on its line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.utils import timezone

from calcs import InputError
from calcs.log_analysis import analyse
from calcs.logger_files import Recording
from commissioning.errors import InvalidInput, ServiceError
from commissioning.models import Instrument, Job, Reading, RecordingKind, RecordingState, TestRecording
from commissioning.services import jobs, recording_files
from commissioning.services.reading_inputs import Gathered, gather_inputs
from commissioning.services.readings import calculate, record_reading
from commissioning.services.recording_results import finite, levels_of, note_of, plain_rows, result_rows
from commissioning.services.recordings import CALCULATION, note

#: A logger's clock is believed as the time of the test when it lies within this of the upload.
BELIEVED = timedelta(days=366)
#: Width of the plots that are kept, in points: what a page of the dossier draws.
PLOT_WIDTH = 240


@dataclass(frozen=True, slots=True)
class _Read:
    """A log that was read: what it says, and what is kept of it."""

    log: Recording
    summary: dict[str, Any]
    findings: list[dict[str, Any]]
    plot: dict[str, Any]


def run_read_recording(job: Job) -> dict[str, Any] | None:
    """The job: read the raw file, analyse it, keep the result, and put the reading on the line where there is one."""
    recording = TestRecording.objects.select_related(
        "project", "system__site__project", "system__project", "line__stage__system", "line__equipment"
    ).get(pk=UUID(job.arguments["recording"]))
    instruments = _instruments(job)
    jobs.heartbeat(job, "reading the log", 0, 3)
    try:
        found = _read(recording, job, instruments)
    except ServiceError as refusal:
        with jobs.writing(job):
            recording.state, recording.error = RecordingState.FAILED, _sentence(refusal.words)
            recording.save(update_fields=["state", "error"])
        raise ServiceError(recording.error) from refusal
    jobs.heartbeat(job, "keeping the result", 2, 3)
    recording_files.keep_columns(recording=recording, log=found.log)
    with jobs.writing(job):
        result = _keep(recording, found, job, instruments)
        jobs.finish(job, result)
    return result


def _instruments(job: Job) -> dict[str, Instrument]:
    asked = job.arguments.get("instruments", {})
    rows = Instrument.objects.filter(project=job.project, pk__in=asked.values())
    known = {str(one.pk): one for one in rows.select_related("project").prefetch_related("ranges", "calibrations")}
    return {name: known[pk] for name, pk in asked.items() if pk in known}


def _read(recording: TestRecording, job: Job, instruments: Mapping[str, Instrument]) -> _Read:
    log = recording_files.opened(recording)
    recording.started_at = _aware(log.started_at, recording)
    jobs.heartbeat(job, "working out the result", 1, 3)
    gathered, result = Gathered(), None
    if recording.kind == RecordingKind.DISCHARGE:
        gathered = gather_inputs(
            system=recording.system, line=recording.line, calculation=CALCULATION, typed=_typed(recording, job),
            instruments=instruments, taken_at=taken_at(recording),
        )  # fmt: skip
        result = calculate(
            system=recording.system, line=recording.line, calculation=CALCULATION, gathered=gathered
        ).as_json()
    try:
        summary = analyse(log, kind=recording.kind, inputs=gathered.numbers).summary
    except InputError as error:
        raise InvalidInput({"recording": str(error)}) from error
    findings = summary.pop("findings")
    guard = recording.system.project.guard_factor
    rows = result_rows(result, guard_factor=guard) if result else plain_rows(summary["outputs"])
    summary |= {"inputs": gathered.kept, "results": rows, "note": note_of(summary, findings)}
    if result:
        summary |= {"result": result, "outputs": result["outputs"], "verdict": result["verdict"]}
    weak = tuple(cell["place"] for cell in summary.get("cells", ()))
    levels = levels_of(result) if result else {}
    plot = recording_files.plots_of(log, weak=weak, width=PLOT_WIDTH, levels=levels)
    return _Read(log, finite(summary), finite(findings), finite(plot))


def _sentence(words: str) -> str:
    """The words of a refusal without the name of the input, which the page of the recording says already."""
    plain = words.removeprefix("Recording: ").removeprefix("recording: ").strip()
    return plain[:1].upper() + plain[1:] + ("" if plain.endswith(".") else ".")


def _typed(recording: TestRecording, job: Job) -> dict[str, str]:
    return {**job.arguments.get("inputs", {}), "recording": str(recording.pk)}


def _aware(moment: datetime | None, recording: TestRecording) -> datetime | None:
    """The log's own clock; where it names no zone, the site's is meant."""
    if moment is None or moment.tzinfo is not None:
        return moment
    return moment.replace(tzinfo=ZoneInfo(recording.system.site.time_zone or recording.project.time_zone))


def taken_at(recording: TestRecording) -> datetime:
    """When the test was done: by the log's clock where that can be believed, else when the log was uploaded."""
    start, uploaded = recording.started_at, recording.uploaded_at
    return start if start is not None and uploaded - BELIEVED < start <= uploaded else uploaded


def _keep(recording: TestRecording, found: _Read, job: Job, instruments: Mapping[str, Instrument]) -> dict[str, Any]:
    """Store what was read; a reading on the line, or why there is none. Inside the job's transaction."""
    recording.summary, recording.findings, recording.plot = found.summary, found.findings, found.plot
    recording.state, recording.error, reading = RecordingState.READ, "", None
    if recording.line is not None:
        try:
            reading = record_reading(
                actor=job.asked_by, line=recording.line, typed=_typed(recording, job), instruments=instruments,
                taken_at=taken_at(recording), id=uuid5(recording.pk, str(job.pk)),
            )  # fmt: skip
        except ServiceError as refusal:
            recording.error = f"It was read, and does not count on the line yet: {refusal.words}"
    if reading is not None:
        recording.reading = reading
        _supersede_others(recording)
    recording.save()
    verdict = reading.verdict if reading else found.summary.get("verdict", "")
    words = f"log {recording.raw_name} read, {len(recording.findings)} findings."
    note(recording, job.asked_by, "recording_read", words, verdict=verdict)
    return {"recording": str(recording.pk), "reading": str(reading.pk) if reading else None, "verdict": verdict}


def _supersede_others(recording: TestRecording) -> None:
    others = TestRecording.objects.filter(line=recording.line, superseded_at__isnull=True).exclude(pk=recording.pk)
    others.filter(uploaded_at__lte=recording.uploaded_at).update(superseded_at=timezone.now())


def reading_of(recording: TestRecording) -> Reading | None:
    """The reading that it gave, if that still stands."""
    reading = recording.reading
    return reading if reading is not None and reading.superseded_at is None else None


def window_of(recording: TestRecording, *, start: float | None, end: float | None) -> dict[str, Any]:
    """Plots of a window of a recording that was read (minutes from its start), as fine as their width allows."""
    log = recording_files.cleaned(recording)
    weak = tuple(cell["place"] for cell in recording.summary.get("cells", ()))
    levels = levels_of(recording.summary["result"]) if recording.summary.get("result") else {}
    found: dict[str, Any] = finite(
        recording_files.plots_of(log, weak=weak, width=PLOT_WIDTH, levels=levels, start=start, end=end)
    )
    return found
