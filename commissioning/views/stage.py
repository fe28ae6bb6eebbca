"""A gate: what holds it, what would be signed, and who signed."""

from __future__ import annotations

from collections import Counter
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from commissioning.forms.stage import AcceptForm, PlanForm, WithdrawForm
from commissioning.models import Stage
from commissioning.rules.gate import VERDICT_WORDS, Signer, signer_blockers
from commissioning.selectors.access import Access
from commissioning.selectors.stages import rests_on
from commissioning.selectors.system import (
    StageStanding,
    carried_over,
    concessions_of,
    lines_of,
    stage_or_404,
    system_standing,
)
from commissioning.services.signing import signature_holds
from commissioning.services.stages import accept_stage, plan_stage, start_stage, withdraw_acceptance
from commissioning.views.base import ProjectRequest, page, project_view, submit, use_site_zone
from commissioning.views.links import record_url
from commissioning.views.standing import groups, record_deeds, rows, stage_deeds, strip


def _stage(request: ProjectRequest, id: UUID) -> Stage:
    stage = stage_or_404(access=request.access, id=id)
    use_site_zone(stage.system.site)
    return stage


def _to_stage(request: ProjectRequest, stage: Stage) -> HttpResponse:
    return redirect("stage", code=request.access.project.code, id=stage.pk)


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The gate: its blockers, its check lines, its acceptances."""
    access, code = request.access, request.access.project.code
    stage = _stage(request, id)
    standing = system_standing(stage.system)
    row = next(row for row in standing.stages if row.stage.pk == stage.pk)
    acceptances = list(stage.acceptances.select_related("withdrawn_by").order_by("-signed_at"))
    context = {
        "stage": stage,
        "row": row,
        "strip": strip(standing, code=code),
        "holds": groups(row.holds, access),
        "exceptions": rows(row.exceptions, access),
        "lines": [
            {"line": line, "url": record_url(code=code, kind="line", id=str(line.pk))} for line in lines_of(stage)
        ],
        "acceptances": [_acceptance(acceptance, request.GET.get("prove")) for acceptance in acceptances],
        "deeds": stage_deeds(row, access),
        "record_deeds": record_deeds(stage, access, system_id=stage.system_id),
        "permissions": stage.permissions.prefetch_related("supplies").order_by("-signed_at"),
        "may_plan": access.is_manager,
        "may_withdraw": access.is_manager and row.facts.state == "accepted",
    }
    return page(request, "commissioning/stage/show.html", context, section="portfolio", system=stage.system)


def _acceptance(acceptance: Any, prove: str | None) -> dict[str, Any]:
    """An acceptance, and when it was asked for, whether what is stored is what was signed."""
    asked = prove == str(acceptance.pk)
    return {"acceptance": acceptance, "proved": signature_holds(acceptance) if asked else None}


@project_view
@require_POST
def start(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Take the stage in hand."""
    stage = start_stage(actor=request.access.user, stage=_stage(request, id))
    messages.success(request, f"{stage} is started.")
    return _to_stage(request, stage)


@project_view
def accept(request: ProjectRequest, id: UUID) -> HttpResponse:
    """What is being signed, and the signature."""
    access = request.access
    stage = _stage(request, id)
    form = AcceptForm(request.POST or None)
    if form.is_valid():
        given = form.cleaned_data
        acceptance = submit(
            form,
            lambda: accept_stage(
                stage=stage,
                signed_by=access.user,
                password=given["password"],
                remark=given["remark"],
                id=form.record_id,
            ),
        )
        if acceptance:
            messages.success(request, f"{stage} is accepted.")
            return _to_stage(request, stage)
    return _accept_page(request, stage, form)


def _accept_page(request: ProjectRequest, stage: Stage, form: AcceptForm) -> HttpResponse:
    access = request.access
    standing = system_standing(stage.system)
    row = next(row for row in standing.stages if row.stage.pk == stage.pk)
    signer = Signer(user_id=str(access.user.pk), role=access.role)
    context = {
        "stage": stage,
        "row": row,
        "form": form,
        "signer_blockers": rows(signer_blockers(row.facts, signer), access),
        "holds": groups(row.holds, access),
        "signed": signed_summary(row),
        "concessions": concessions_of(stage),
        "carried": carried_over(row.facts),
    }
    template, status = "commissioning/stage/accept.html", 422 if form.is_bound else 200
    return page(request, template, context, section="portfolio", system=stage.system, status=status)


def signed_summary(row: StageStanding) -> list[tuple[str, str]]:
    """What the signature covers, in counts."""
    facts = row.facts
    states = Counter("failed, with concession" if line.state == "failed" else line.state for line in facts.lines)
    verdicts = Counter(line.reading.verdict for line in facts.lines if line.reading)
    points = [line for line in facts.lines if line.point in ("hold", "witness")]
    alarms = [alarm for alarm in facts.alarms if alarm.stage_order <= facts.order]
    summary = [
        ("check lines", _counted(states)),
        ("readings", _counted({VERDICT_WORDS[verdict]: count for verdict, count in verdicts.items()})),
        ("hold and witness points", f"{sum(line.witnessed for line in points)} of {len(points)} witnessed"),
        ("signal points", f"{sum(signal.restored for signal in facts.signals)} of {len(facts.signals)} proved"),
        ("alarms seen", _counted(Counter(alarm.outcome for alarm in alarms))),
        ("supplies", _counted(Counter(_recorded(supply.state) for supply in facts.supplies))),
    ]
    return [(name, words) for name, words in summary if words and not words.startswith("0 of 0")]


def _recorded(state: str) -> str:
    return "recorded LIVE" if state == "released" else state if state != "isolated" else "recorded isolated"


def _counted(counts: Any) -> str:
    return ", ".join(f"{count} {name.replace('_', ' ')}" for name, count in counts.items())


@project_view
def withdraw(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Withdraw the acceptance, with the reason, after reading what goes with it."""
    access = request.access
    stage = _stage(request, id)
    form = WithdrawForm(request.POST or None)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        gone = submit(form, lambda: withdraw_acceptance(actor=access.user, stage=stage, reason=reason))
        if gone is not None:
            messages.success(request, f"The acceptance of {stage} is withdrawn" + _with_it(len(gone) - 1))
            return _to_stage(request, stage)
    context = {
        "stage": stage,
        "allowed": access.is_manager,
        "what": f"You withdraw the acceptance of {stage}.",
        "consequences": consequences_of(stage, access),
        "reason": request.POST.get("reason", ""),
        "error": next((message for found in form.errors.values() for message in found), ""),
        "back": reverse("stage", args=[access.project.code, stage.pk]),
    }
    status = 422 if form.is_bound else 200
    return page(
        request, "commissioning/stage/withdraw.html", context, section="portfolio", system=stage.system, status=status
    )


def _with_it(others: int) -> str:
    return f", and {others} that rest on it." if others > 0 else "."


def consequences_of(stage: Stage, access: Access) -> list[str]:
    """What goes when this acceptance goes, in sentences."""
    found = []
    for resting in rests_on(stage):
        if resting.pk != stage.pk and resting.state == "accepted":
            place = str(resting) if access.covers(resting.system.site_id) else "a stage of another site"
            found.append(f"The acceptance of {place} is withdrawn with it.")
    found.append(f"{stage} is in hand again: its lines can be recorded, and it must be signed anew.")
    found.append(
        "Permissions to energise of these stages are withdrawn. Supplies released under them stay recorded LIVE "
        "until each is isolated."
    )
    return found


@project_view
def plan(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The date for which the gate is planned."""
    stage = _stage(request, id)
    form = PlanForm(request.POST or None, initial={"planned_for": stage.planned_for})
    if form.is_valid():
        date = form.cleaned_data["planned_for"]
        planned = submit(form, lambda: plan_stage(actor=request.access.user, stage=stage, planned_for=date))
        if planned:
            messages.success(request, f"{stage} is planned for {date}." if date else f"{stage} has no date any more.")
            return _to_stage(request, stage)
    context = {"stage": stage, "form": form, "allowed": request.access.is_manager}
    status = 422 if form.is_bound else 200
    return page(
        request, "commissioning/stage/plan.html", context, section="portfolio", system=stage.system, status=status
    )
