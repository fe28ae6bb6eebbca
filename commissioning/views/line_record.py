"""All that is on record about a line, superseded or not; and the concession that a manager signs on it."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from commissioning.forms.concession import ConcessionForm
from commissioning.forms.stage import WithdrawForm
from commissioning.models import Concession, LineState
from commissioning.selectors.procedure_run import LineRecord, record_of
from commissioning.services.concessions import sign_concession, withdraw_concession
from commissioning.services.signing import signature_holds
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.run import get_line, work_words
from commissioning.views.workings import reading_shown


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Every result and reading of the line with its working, the newest first."""
    access, line = request.access, get_line(request, id)
    record = record_of(line)
    context = {
        "line": line,
        "work_words": work_words(line),
        "record": record,
        "readings": [reading_shown(reading, access.project) for reading in record.readings],
        "may_withdraw": access.is_manager and line.stage.state != "accepted",
        "proved": _proved(record, request.GET.get("prove", "")),
        "line_url": reverse("run-line", args=[access.project.code, line.pk]),
        "stage_url": reverse("stage", args=[access.project.code, line.stage_id]),
    }
    return page(request, "commissioning/run/record.html", context, section="portfolio", system=line.stage.system)


def _proved(record: LineRecord, wanted: str) -> dict[str, Any]:
    """Whether what is stored of a concession is what was signed, for the one that was asked about."""
    asked = next((row for row in record.concessions if str(row.pk) == wanted), None)
    return {"id": asked.pk, "holds": signature_holds(asked)} if asked else {}


@project_view
def concession(request: ProjectRequest, id: UUID) -> HttpResponse:
    """What is accepted although it does not meet its limit, why, and the manager's signature."""
    access, line = request.access, get_line(request, id)
    form = ConcessionForm(request.POST or None)
    if form.is_valid():
        given = form.cleaned_data
        signed = submit(
            form,
            lambda: sign_concession(
                signed_by=access.user,
                line=line,
                reason=given["reason"],
                password=given["password"],
                id=form.record_id,
            ),
        )
        if signed:
            messages.success(request, "The concession is signed. The dossier prints it with its reason.")
            return redirect("run-line", code=access.project.code, id=line.pk)
    record = record_of(line)
    recorded_by = {line.done_by_id, record.reading.by_id if record.reading else None}
    context = {
        "line": line,
        "form": form,
        "shown": reading_shown(record.reading, access.project) if record.reading else None,
        "result": record.result,
        "why_not": why_not(line_state=line.state, own=access.user.pk in recorded_by, manager=access.is_manager),
        "back": reverse("run-line", args=[access.project.code, line.pk]),
    }
    system, status = line.stage.system, 422 if form.is_bound else 200
    return page(
        request, "commissioning/run/concession.html", context, section="portfolio", system=system, status=status
    )


def why_not(*, line_state: str, own: bool, manager: bool) -> str:
    """Why this person cannot sign a concession on the line now; the service decides again."""
    if not manager:
        return "Only a manager signs a concession."
    if line_state != LineState.FAILED:
        return "Only a failed line, or one whose reading is not accepted, takes a concession."
    return "You recorded this yourself. Another manager signs the concession." if own else ""


@project_view
def withdraw(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Take a concession back, with the reason."""
    access = request.access
    rows = Concession.objects.filter(
        access.limit("line__stage__system__site"), line__stage__system__project=access.project
    )
    found = rows.select_related("line").filter(pk=id).first()
    if found is None:
        raise Http404("There is no such concession here, or it is not yours to see.")
    line = get_line(request, found.line_id)
    form = WithdrawForm(request.POST or None)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        if submit(form, lambda: withdraw_concession(actor=access.user, concession=found, reason=reason)):
            messages.success(request, "The concession is withdrawn. The line holds the gate again.")
            return redirect("run-line", code=access.project.code, id=line.pk)
    context = {
        "line": line,
        "what": f"You withdraw the concession on this line: {line.title}.",
        "consequences": ["The line holds the gate again until it is answered anew or conceded anew."],
        "reason": request.POST.get("reason", ""),
        "error": next((message for errors in form.errors.values() for message in errors), ""),
        "back": reverse("line-record", args=[access.project.code, line.pk]),
    }
    system, status = line.stage.system, 422 if form.is_bound else 200
    return page(
        request,
        "commissioning/run/concession_withdraw.html",
        context,
        section="portfolio",
        system=system,
        status=status,
    )
