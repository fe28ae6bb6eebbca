"""Test recordings: which there are, bringing one in, saying what its columns are, and what it came to."""

from __future__ import annotations

import re
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from commissioning.forms.recording import ConfirmForm, RecordingFilter, UploadForm
from commissioning.models import JobState, RecordingKind, RecordingState, System, TestRecording
from commissioning.selectors.access import equipment_for, systems_for
from commissioning.selectors.recordings import lines_for, recording_or_404, recordings_wanted
from commissioning.services.recording_files import head_of
from commissioning.services.recordings import (
    confirm_columns,
    last_job,
    read_now_if_small,
    takes_recording,
    upload_recording,
)
from commissioning.views.asking import ambient_asked, meters_for, meters_of, remember, remembered
from commissioning.views.base import ProjectRequest, page, project_view, submit, use_site_zone
from commissioning.views.finding import system_named, tags_offered
from commissioning.views.jobs import progress_of
from commissioning.views.links import page_url
from commissioning.views.recording_asking import MORE, asked_for
from commissioning.views.recording_plots import figures_context
from commissioning.views.standing import may_work
from commissioning.views.workings import reading_shown, result_shown

PAGE_SIZE = 50
SECTION = "recordings"
#: What the verdict bar of a discharge says.
HEADLINE = ("capacity", "time_to_end", "removed", "mean_current", "spread", "end_reason")


@project_view
def index(request: ProjectRequest) -> HttpResponse:
    """The test recordings of the project, newest first."""
    access, form = request.access, RecordingFilter(request.GET)
    given = form.cleaned_data if form.is_valid() else {}
    system = system_named(access, given.get("system", ""))
    rows = recordings_wanted(
        access, text=given.get("q", ""), system=system, kind=given.get("kind", ""), state=given.get("state", "")
    )
    context = {
        "form": form,
        "page_obj": Paginator(rows, PAGE_SIZE).get_page(request.GET.get("page", 1)),
        "narrowed": any(given.values()),
        "tags": tags_offered(access),
        "may_work": may_work(access),
        "new_url": page_url("recording-new", access.project.code, **({"system": system.pk} if system else {})),
    }
    return page(request, "commissioning/recordings/list.html", context, section=SECTION)


@project_view
def new(request: ProjectRequest) -> HttpResponse:
    """Bring a log in: for a check line, or for a system."""
    access, code = request.access, request.access.project.code
    line = lines_for(access).filter(pk=line_id).first() if (line_id := _uuid(request.GET.get("line", ""))) else None
    system = line.stage.system if line else system_named(access, request.GET.get("system", ""))
    form = _upload_form(request, system, on_line=line is not None)
    if form.is_valid() and (line is None or takes_recording(line)):
        given = form.cleaned_data
        act = lambda: upload_recording(  # noqa: E731
            actor=access.user,
            system=system or given["system"],
            file=given["file"],
            name=given["file"].name or "log",
            kind=given.get("kind") or RecordingKind.DISCHARGE,
            line=line,
            equipment=given.get("equipment"),
            id=form.record_id,
        )
        if made := submit(form, act):
            return redirect("recording", code=code, id=made.pk)
    context = {
        "form": form,
        "line": line,
        "fits": line is None or takes_recording(line),
        "may_work": may_work(access),
        "tags": tags_offered(access),
        "equipment": equipment_for(access).filter(system=system, kind="battery").order_by("tag") if system else (),
        "back": reverse("run-line", args=[code, line.pk]) if line else reverse("recordings", args=[code]),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/recordings/new.html", context, section=SECTION, system=system, status=status)


def _uuid(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None


def _upload_form(request: ProjectRequest, system: System | None, *, on_line: bool) -> UploadForm:
    rows = systems_for(request.access)
    equipment = equipment_for(request.access)
    posted = (request.POST, request.FILES) if request.method == "POST" else ()
    return UploadForm(
        *posted,
        systems=None if system else rows,
        equipment=None if on_line else equipment.filter(system=system) if system else equipment,
    )


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """One recording: its columns to confirm, how far it is, or its result."""
    recording = recording_or_404(access=request.access, id=id)
    return recording_page(request, recording, again="again" in request.GET)


def recording_page(
    request: ProjectRequest, recording: TestRecording, *, form: ConfirmForm | None = None, again: bool = False,
    status: int = 200,
) -> HttpResponse:  # fmt: skip
    """The page in each of its states; `form` holds what was typed and refused."""
    use_site_zone(recording.system.site)
    access, code = request.access, request.access.project.code
    job = last_job(recording)
    going = job is not None and job.state in (JobState.WAITING, JobState.RUNNING)
    stands = recording.superseded_at is None
    asks = stands and not going and (recording.state != RecordingState.READ or again or form is not None)
    context: dict[str, Any] = {
        "recording": recording,
        "head": head_of(recording) if asks else None,
        "asks": asks,
        "form": (form or confirm_form(request, recording)) if asks and may_work(access) else None,
        "progress": _progress(recording, code) if going else None,
        "failed": _failure(recording, job) if not going else "",
        "has_result": recording.state == RecordingState.READ and not going and not asks,
        "may_work": may_work(access),
        "line_url": page_url("run-line", code, recording.line_id) if recording.line_id else "",
        "better_url": page_url(
            "recording-new",
            code,
            **({"line": recording.line_id} if recording.line_id else {"system": recording.system_id}),
        ),
    }
    if context["has_result"]:
        context |= result_context(request, recording)
    return page(
        request, "commissioning/recordings/show.html", context, section=SECTION, system=recording.system, status=status
    )


def _progress(recording: TestRecording, code: str) -> dict[str, Any] | None:
    job = last_job(recording)
    if job is None:
        return None
    return progress_of(job, poll_url=reverse("recording-progress", args=[code, recording.pk]))


def _failure(recording: TestRecording, job: Any) -> str:
    """Why it was not read, or does not count yet; also where the work ended in a way that nobody foresaw."""
    if recording.error or recording.state != RecordingState.WAITING or job is None:
        return recording.error
    return job.error or "The work was cancelled. Confirm the columns again to have it read."


def result_context(request: ProjectRequest, recording: TestRecording) -> dict[str, Any]:
    """What it came to: a reading's verdict and working, plots, findings, weak cells."""
    project, summary = request.access.project, recording.summary
    shown = None
    if recording.reading is not None:
        shown = reading_shown(recording.reading, project)
    elif summary.get("result"):
        shown = result_shown(summary["result"], project=project)
    if shown:
        shown |= headline_of(shown)
    return {
        "shown": shown,
        "reading": recording.reading,
        "rows": () if shown else summary.get("results", ()),
        "cells": summary.get("cells", ()),
        "findings": [{**one, "minutes": one["at"] / 60} for one in recording.findings],
        **figures_context(recording, request.GET.dict(), project.code),
    }


def headline_of(shown: dict[str, Any]) -> dict[str, Any]:
    """The numbers that are asked for first; the others stand below. Only the capacity is drawn on a scale."""
    rows = {row["name"]: row for row in shown["outputs"] if row["text"] != "none"}
    return {
        "headline": [rows.pop(name) for name in HEADLINE if name in rows],
        "others": list(rows.values()),
        "pictures": shown["pictures"][:1] if "capacity" in {row["name"] for row in shown["outputs"]} else [],
    }


def confirm_form(request: ProjectRequest, recording: TestRecording, data: Any = None) -> ConfirmForm:
    """The columns as guessed or confirmed before, and what has to be typed for a discharge."""
    asked, units = asked_for(recording)
    known = meters_of(request.access.project) if units else []
    meters = {unit: meters_for(known, unit) for unit in units}
    return ConfirmForm(
        data,
        head=head_of(recording),
        guess=recording.column_map,
        asked=asked,
        rare=MORE,
        meters=meters,
        ambient=ambient_asked(meters),
        remembered=remembered(request),
        initial={one.name: one.previous for one in asked},
    )


@project_view
@require_POST
def confirm(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Take the columns and have the log read."""
    recording = recording_or_404(access=request.access, id=id)
    form = confirm_form(request, recording, request.POST)
    if form.is_valid():
        remember(request, form.chosen())
        act = lambda: confirm_columns(  # noqa: E731
            actor=request.access.user,
            recording=recording,
            column_map=form.column_map(),
            inputs=form.typed(),
            instruments=form.measured_with(),
        )
        if made := submit(form, act):
            read_now_if_small(made)
            messages.success(request, "The columns are confirmed, and kept for the next file with these headings.")
            return redirect("recording", code=request.access.project.code, id=recording.pk)
    return recording_page(request, recording, form=form, status=422)


@project_view
def progress(request: ProjectRequest, id: UUID) -> HttpResponse:
    """How far it is; the page is loaded again when it has ended."""
    recording = recording_or_404(access=request.access, id=id)
    job = last_job(recording)
    if job is None or job.state not in (JobState.WAITING, JobState.RUNNING):
        return HttpResponseClientRefresh()
    context = _progress(recording, request.access.project.code)
    return render(request, "components/progress.html", context)


@require_safe
@project_view  # type: ignore[arg-type]  # a file is streamed
def raw(request: ProjectRequest, id: UUID) -> FileResponse:
    """The log as it was uploaded: always saved, never shown inside a page of the product."""
    recording = recording_or_404(access=request.access, id=id)
    try:
        file = recording.raw.open("rb")
    except FileNotFoundError:
        raise Http404("The raw file of this recording is missing in the store.") from None
    name = re.sub(r"[^A-Za-z0-9._-]+", "-", recording.raw_name).strip(".-") or "log"
    response = FileResponse(file, as_attachment=True, filename=name, content_type="application/octet-stream")
    response["Cache-Control"] = "private, no-cache"
    return response
