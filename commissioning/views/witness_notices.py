"""A notice to a witness: who comes? Moved, cancelled, answered; and the same page by the link in a mail."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from commissioning.errors import ServiceError
from commissioning.forms.witness import AnswerForm, CancelForm, MoveForm
from commissioning.models import Membership, User, WitnessAnswer, WitnessNotice
from commissioning.services.permissions import WORKERS
from commissioning.services.witness_calendar import CANCEL, REQUEST, calendar_of
from commissioning.services.witness_mail import named_by
from commissioning.services.witness_notices import answer_notice, cancel_notice, may_answer, move_notice
from commissioning.views.base import ProjectRequest, page, project_view, submit, use_site_zone, zone_named

GONE = "This link does not hold any more. Sign in to see what you are invited to."


@require_safe
@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """When and where, who answered what; and what this person can do about it."""
    return _page(request, _notice(request, id))


@require_POST
@project_view
def answer(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The invited party says whether they come."""
    notice = _notice(request, id)
    form = AnswerForm(request.POST, auto_id="answer_%s")
    return _keep(request, notice, "answer", form, lambda: _answer(form, notice, request.access.user), "Kept, and told.")


@require_POST
@project_view
def move(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Another time."""
    notice = _notice(request, id)
    form = MoveForm(request.POST, auto_id="move_%s")
    act = lambda: move_notice(actor=request.access.user, notice=notice, **form.cleaned_data)  # noqa: E731
    return _keep(request, notice, "move", form, act, "Moved. Whoever is invited is told.")


@require_POST
@project_view
def cancel(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Nobody need come."""
    notice = _notice(request, id)
    form = CancelForm(request.POST, auto_id="cancel_%s")
    act = lambda: cancel_notice(actor=request.access.user, notice=notice, **form.cleaned_data)  # noqa: E731
    return _keep(request, notice, "cancel", form, act, "Cancelled. Whoever was invited is told.")


@require_safe
@project_view
def calendar(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The notice for one's own calendar."""
    notice = _notice(request, id)
    link = request.build_absolute_uri(reverse("witness-notice", args=[request.access.project.code, notice.pk]))
    method = CANCEL if notice.withdrawn_at else REQUEST
    text = calendar_of(notice, system=notice.line.stage.system, to=request.access.user, method=method, link=link)
    headers = {"Content-Disposition": 'attachment; filename="invitation.ics"'}
    return HttpResponse(text, content_type=f"text/calendar; charset=utf-8; method={method}", headers=headers)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def by_mail(request: HttpRequest, token: str) -> HttpResponse:
    """The link in a mail: it answers in the name of whom it was sent to, while they are a member, and shows no more."""
    found = _named_by(token)
    if found is None:
        return render(request, "commissioning/witness/by_mail.html", {"gone": GONE}, status=410)
    notice, membership = found
    system = notice.line.stage.system
    with timezone.override(zone_named(system.site.time_zone, system.project.time_zone)):
        form = AnswerForm(request.POST if request.method == "POST" else None)
        context = {
            "notice": notice,
            "system": system,
            "of_project": system.project,
            "member": membership.user,
            "form": form,
            "zone": timezone.get_current_timezone_name(),
            "open": may_answer(notice, membership),
        }
        if form.is_valid():
            try:
                context["said"] = submit(form, lambda: _answer(form, notice, membership.user, by_mail=True))
            except ServiceError as error:
                form.add_error(None, error.words)
        status = 422 if form.is_bound and form.errors else 200
        return render(request, "commissioning/witness/by_mail.html", context, status=status)


def _answer(form: forms.Form, notice: WitnessNotice, actor: User, by_mail: bool = False) -> WitnessAnswer:
    given = form.cleaned_data
    return answer_notice(
        actor=actor,
        notice=notice,
        answer=given["answer"],
        other_time=given["other_time"],
        remark=given["remark"],
        by_mail=by_mail,
        id=given["client_uuid"],
    )


def _notice(request: ProjectRequest, id: UUID) -> WitnessNotice:
    access = request.access
    found = _related().filter(access.limit("line__stage__system__site"), line__stage__system__project=access.project)
    notice = get_object_or_404(found, pk=id)
    use_site_zone(notice.line.stage.system.site)
    return notice


def _related() -> Any:
    return WitnessNotice.objects.select_related(
        "line__stage__system__site__project", "line__stage__system__project", "given_by", "withdrawn_by"
    )


def _named_by(token: str) -> tuple[WitnessNotice, Membership] | None:
    keys = named_by(token)
    if keys is None:
        return None
    notice = _related().filter(pk=keys[0]).first()
    here = Membership.objects.select_related("user").filter(pk=keys[1], left_at__isnull=True, user__is_active=True)
    membership = here.filter(project=notice.line.stage.system.project_id).first() if notice else None
    return (notice, membership) if notice and membership else None


def _keep(
    request: ProjectRequest, notice: WitnessNotice, name: str, form: forms.Form, act: Callable[[], Any], said: str
) -> HttpResponse:
    if form.is_valid() and (done := submit(form, act)):
        messages.success(request, said)
        shown = done if isinstance(done, WitnessNotice) else notice
        return redirect("witness-notice", code=request.access.project.code, id=shown.pk)
    return _page(request, notice, {name: form}, status=422)


def _page(
    request: ProjectRequest, notice: WitnessNotice, typed: dict[str, forms.Form] | None = None, *, status: int = 200
) -> HttpResponse:
    access, typed, line = request.access, typed or {}, notice.line
    may_work = access.role in WORKERS and not notice.withdrawn_at
    context = {
        "notice": notice,
        "line": line,
        "party": line.party or "client",
        "answers": list(notice.answers.select_related("by")),
        "later": WitnessNotice.objects.filter(series=notice.first, sequence__gt=notice.sequence).last(),
        "answer_form": (typed.get("answer") or AnswerForm(auto_id="answer_%s"))
        if may_answer(notice, access.membership)
        else None,
        "move_form": (typed.get("move") or MoveForm(auto_id="move_%s")) if may_work else None,
        "cancel_form": (typed.get("cancel") or CancelForm(auto_id="cancel_%s")) if may_work else None,
    }
    system = line.stage.system
    return page(request, "commissioning/witness/show.html", context, section="portfolio", system=system, status=status)
