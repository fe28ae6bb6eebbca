"""What is recorded on a line: readings, answers, proofs of dead, notices, witnessing; and taking an answer back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.dateformat import format as date_words
from django.views.decorators.http import require_POST

from commissioning.errors import InvalidInput, ServiceError
from commissioning.forms.reading import AnswerForm, NoticeForm, PointForm, ProofForm, TypedForm, WitnessForm
from commissioning.models import CheckLine, Outcome, Point, Role
from commissioning.selectors.asking import wanted_by
from commissioning.services.lines import (
    assign_party,
    give_notice,
    prove_dead,
    record_result,
    reopen_line,
    witness_line,
)
from commissioning.services.readings import record_reading, try_reading
from commissioning.views.asking import remember
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.run import Typed, get_line, line_page, reading_form
from commissioning.views.standing import may_work
from commissioning.views.workings import result_shown

#: A slip of the thumb is taken back without a reason by whoever made it, for this long.
SLIP = timedelta(minutes=10)


def to_line(request: ProjectRequest, line: CheckLine, *, kept: bool = False) -> HttpResponse:
    """Back to the line; `kept` shows what was just recorded, with a way to take it back."""
    address = reverse("run-line", args=[request.access.project.code, line.pk])
    return redirect(f"{address}?kept=1" if kept else address)


def _keep(
    request: ProjectRequest, line: CheckLine, name: str, form: forms.Form, act: Callable[[], Any], said: str = ""
) -> HttpResponse:
    """Record it and go back to the line; refused, the page comes again with what was typed."""
    if form.is_valid() and submit(form, act) is not None:
        if said:
            messages.success(request, said)
        return to_line(request, line, kept=not said)
    typed = Typed(**{name: form}, blockers=getattr(form, "blockers", ()))
    line.refresh_from_db()
    return line_page(request, line, typed, status=422)


@project_view
@require_POST
def reading(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Keep a reading."""
    line = get_line(request, id)
    form = reading_form(request, line, wanted_by(line), request.POST)
    if form.is_valid():
        remember(request, form.chosen())
    return _keep(
        request,
        line,
        "reading",
        form,
        lambda: record_reading(
            actor=request.access.user,
            line=line,
            typed=form.typed(),
            instruments=form.measured_with(),
            remark=form.cleaned_data["remark"],
            id=form.record_id,
        ),
    )


@project_view
@require_POST
def attempt(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The verdict that the values would have, while they are typed; nothing is kept."""
    line = get_line(request, id)
    form = reading_form(request, line, wanted_by(line), request.POST)
    context: dict[str, Any] = {"missing": [], "wrong": [], "shown": None}
    if not form.is_valid():
        context["wrong"] = [message for found in form.errors.values() for message in found]
    else:
        try:
            result = try_reading(
                system=line.stage.system, line=line, typed=form.typed(), instruments=form.measured_with()
            )
            context["shown"] = result_shown(result, project=request.access.project)
        except InvalidInput as error:
            context |= sorted_out(error, form)
        except ServiceError as error:
            context["wrong"] = [error.words]
    return render(request, "commissioning/run/live.html", context)


def sorted_out(error: InvalidInput, form: TypedForm) -> dict[str, list[str]]:
    """What is still to be typed, apart from what cannot be right."""
    typed = form.typed()
    empty = [name for name in error.fields if name in typed and not typed[name].strip()]
    return {
        "missing": [form.asked[name].label for name in empty if name in form.asked],
        "wrong": [words for name, words in error.fields.items() if name not in empty],
    }


@project_view
@require_POST
def result(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Keep an answer: passed, failed, not applicable."""
    line = get_line(request, id)
    form = AnswerForm(request.POST, asked=() if line.calculation else wanted_by(line).asked)
    return _keep(
        request,
        line,
        "answer",
        form,
        lambda: record_result(
            actor=request.access.user,
            line=line,
            outcome=form.cleaned_data["outcome"],
            remark=form.cleaned_data["remark"],
            values=form.typed(),
            id=form.record_id,
        ),
    )


@project_view
@require_POST
def proof(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Keep a proof of dead; then the test can be recorded."""
    line = get_line(request, id)
    form = ProofForm(request.POST, auto_id="proof_%s")
    said = "The proof of dead is on record. Dead is what it was proved to be there and then: prove again after a break."
    given = dict(form.cleaned_data) if form.is_valid() else {}
    given.pop("client_uuid", None)
    act = lambda: prove_dead(actor=request.access.user, line=line, id=form.record_id, **given)  # noqa: E731
    return _keep(request, line, "proof", form, act, said)


@project_view
@require_POST
def notice(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Invite the party that the point names."""
    line = get_line(request, id)
    form = NoticeForm(request.POST, auto_id="notice_%s")
    when = form.cleaned_data.get("planned_for") if form.is_valid() else None
    said = f"Notice is given for {date_words(timezone.localtime(when), 'Y-m-d H:i T')}." if when else ""
    act = lambda: give_notice(  # noqa: E731
        actor=request.access.user,
        line=line,
        planned_for=form.cleaned_data["planned_for"],
        words=form.cleaned_data["words"],
        id=form.record_id,
    )
    return _keep(request, line, "notice", form, act, said)


@project_view
@require_POST
def witness(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The named party was there, or has reviewed the papers."""
    line = get_line(request, id)
    form = WitnessForm(request.POST, auto_id="witness_%s")
    act = lambda: witness_line(  # noqa: E731
        actor=request.access.user, line=line, remark=form.cleaned_data["remark"], id=form.record_id
    )
    return _keep(request, line, "witness", form, act, "Witnessed, under your name.")


@project_view
def reopen(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Take an answer back: a slip at once, anything else with its reason."""
    line = get_line(request, id)
    reason, error = request.POST.get("reason", "").strip(), ""
    slip = "undo" in request.POST and is_own_slip(line, request)
    if request.method == "POST" and (reason or slip):
        reopen_line(actor=request.access.user, line=line, reason=reason)
        messages.success(request, "The line is open again. What was recorded stays on record, superseded.")
        return to_line(request, line)
    if request.method == "POST":
        error = "Say why it is taken back; the record shows the reason."
    context = {
        "line": line,
        "what": f"You open this line again: {line.title}.",
        "consequences": [
            "What was recorded on it stays on record, marked as superseded.",
            "The line holds the gate until it is answered anew. A concession on it no longer counts.",
        ],
        "reason": reason,
        "error": error,
        "back": reverse("run-line", args=[request.access.project.code, line.pk]),
        "may_work": may_work(request.access),
    }
    system, status = line.stage.system, 422 if error else 200
    return page(request, "commissioning/run/reopen.html", context, section="portfolio", system=system, status=status)


def is_own_slip(line: CheckLine, request: ProjectRequest) -> bool:
    """The person recorded it a moment ago, and nobody else has answered since."""
    if line.done_by_id != request.access.user.pk:
        return False
    recorded = [
        *line.results.filter(superseded_at__isnull=True).exclude(outcome=Outcome.REOPENED).values_list("recorded_at"),
        *line.readings.filter(superseded_at__isnull=True).values_list("recorded_at"),
    ]
    return bool(recorded) and timezone.now() - max(recorded)[0] < SLIP


@project_view
def point(request: ProjectRequest, id: UUID) -> HttpResponse:
    """A manager names the party that a line waits for, or none."""
    line = get_line(request, id)
    form = PointForm(request.POST or None, initial={"point": line.point, "party": line.party or Role.CLIENT})
    if form.is_valid():
        given = form.cleaned_data
        act = lambda: assign_party(  # noqa: E731
            actor=request.access.user, line=line, point=given["point"], party=given["party"]
        )
        if submit(form, act):
            messages.success(request, "The point is set.")
            return to_line(request, line)
    context = {
        "line": line,
        "form": form,
        "points": Point.choices,
        "parties": Role.choices,
        "chosen": (form["point"].value(), form["party"].value()),
        "back": reverse("run-line", args=[request.access.project.code, line.pk]),
    }
    status = 422 if form.is_bound else 200
    return page(
        request, "commissioning/run/point.html", context, section="portfolio", system=line.stage.system, status=status
    )
