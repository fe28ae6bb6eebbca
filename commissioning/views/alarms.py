"""Alarms: which need a decision, what one turned out to be, and seeing it clear."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from commissioning.forms.alarm import AlarmFilter, ClearForm, DecideForm, LogForm
from commissioning.forms.base import local_now
from commissioning.forms.fields import OFFERED
from commissioning.models import AlarmOutcome, AlarmSighting, Stage, StageState, System
from commissioning.selectors.access import equipment_for, sites_for, systems_for
from commissioning.selectors.alarms import (
    alarm_counts,
    alarm_or_404,
    alarms_of,
    alarms_wanted,
    alarms_with_item,
    entries_about,
    later_stages,
)
from commissioning.selectors.register import equipment_tags
from commissioning.services.alarms import clear_alarm, decide_alarm, log_alarm
from commissioning.views.base import ProjectRequest, page, project_view, submit, use_site_zone
from commissioning.views.finding import system_named, tags_offered
from commissioning.views.history import entry_rows
from commissioning.views.links import page_url
from commissioning.views.standing import may_work

PAGE_SIZE = 50


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """The alarms seen while commissioning; those that wait for somebody first."""
    access = request.access
    system = system_named(access, request.GET.get("system", ""))
    form = AlarmFilter(request.GET, sites=sites_for(access), system=system)
    wanted = form.wanted()
    found = Paginator(alarms_wanted(access=access, wanted=wanted), PAGE_SIZE).get_page(request.GET.get("page", 1))
    items = alarms_with_item(found)
    context = {
        "form": form,
        "wanted": wanted,
        "page_obj": found,
        "rows": [{"alarm": alarm, "turn": turn_words(alarm, has_item=alarm.pk in items)} for alarm in found],
        "counts": alarm_counts(access),
        "tags": tags_offered(access),
        "may_work": may_work(access),
        "new_url": page_url("alarm-new", access.project.code, **({"system": system.pk} if system else {})),
        "only_system": system,
    }
    return page(request, "commissioning/alarms/list.html", context, section="alarms")


def turn_words(alarm: AlarmSighting, *, has_item: bool) -> str:
    """What somebody still has to do about an alarm; empty when nothing."""
    if alarm.outcome == AlarmOutcome.UNEXPLAINED:
        return "say what it is"
    if alarm.outcome == AlarmOutcome.GENUINE and not has_item:
        return "raise a punch item"
    until = alarm.expected_until
    if alarm.cleared_at is None and until is not None and until.state != StageState.NOT_STARTED:
        return "see it clear"
    return ""


@project_view
def new(request: ProjectRequest) -> HttpResponse:
    """Write an alarm down: its words, and one press."""
    access = request.access
    system = system_named(access, request.GET.get("system", ""))
    stage = _stage_named(system, request.GET.get("stage", ""))
    if system is not None:
        use_site_zone(system.site)
    equipment = equipment_for(access).filter(**({"system": system} if system else {}))
    form = LogForm(
        request.POST or None,
        systems=systems_for(access),
        equipment=equipment,
        system=system,
        initial={
            "seen_at": local_now(),
            "stage": stage.kind if stage else "",
            "equipment": request.GET.get("equipment", ""),
        },
    )
    if form.is_valid() and (alarm := _log(request, form, system)):
        messages.success(request, "The alarm is written down. It holds the stage until somebody says what it is.")
        return redirect("alarm", code=access.project.code, id=alarm.pk)
    context = {
        "form": form,
        "may_work": may_work(access),
        "for_system": system,
        "tags": [] if system else tags_offered(access),
        "equipment_tags": equipment_tags(access, system=system, most=OFFERED),
        "seen": _words_seen(request),
        "back": page_url("system", access.project.code, system.pk)
        if system
        else reverse("alarms", args=[access.project.code]),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/alarms/new.html", context, section="alarms", system=system, status=status)


def _words_seen(request: ProjectRequest) -> list[str]:
    """Words of the alarms seen lately: displays repeat themselves."""
    newest = alarms_of(request.access).order_by("-seen_at").values_list("text", flat=True)[:100]
    return list(dict.fromkeys(newest))[:30]


def _stage_named(system: System | None, text: str) -> Stage | None:
    """The stage that the address names by its key, if it is one of the system's."""
    try:
        return system.stages.filter(pk=UUID(text)).first() if system and text else None
    except ValueError:
        return None


def _log(request: ProjectRequest, form: LogForm, system: System | None) -> AlarmSighting | None:
    given = form.cleaned_data
    system = system or given["system"]
    stages = system.stages.order_by("order")
    if given["stage"]:
        stage = stages.filter(kind=given["stage"]).first()
    else:
        stage = stages.exclude(state=StageState.ACCEPTED).first() or stages.last()
    if stage is None:
        form.add_error("stage", f"{system.tag} has no such stage. Choose another.")
        return None
    return submit(
        form,
        lambda: log_alarm(
            actor=request.access.user,
            stage=stage,
            text=given["text"],
            equipment=given["equipment"],
            seen_at=given["seen_at"],
            id=form.record_id,
        ),
    )


def _alarm(request: ProjectRequest, id: UUID) -> AlarmSighting:
    found = alarm_or_404(access=request.access, id=id)
    use_site_zone(found.system.site)
    return found


def _alarm_page(
    request: ProjectRequest,
    alarm: AlarmSighting,
    *,
    decide_form: DecideForm | None = None,
    clear_form: ClearForm | None = None,
    status: int = 200,
) -> HttpResponse:
    access, code = request.access, request.access.project.code
    has_item = alarm.pk in alarms_with_item([alarm])
    decided = {"outcome": alarm.outcome, "explanation": alarm.explanation, "expected_until": alarm.expected_until_id}
    refused = [str(words) for form in (decide_form, clear_form) if form for words in form.non_field_errors()]
    signed = alarm.stage.state == StageState.ACCEPTED and alarm.outcome != AlarmOutcome.UNEXPLAINED
    context = {
        "alarm": alarm,
        "has_item": has_item,
        "turn": turn_words(alarm, has_item=has_item),
        "may_work": may_work(access),
        "signed": signed,
        "refused": refused if not may_work(access) else (),
        "decide_form": decide_form or DecideForm(stages=later_stages(alarm), initial=decided),
        "later": later_stages(alarm),
        "clear_form": clear_form or ClearForm(initial={"at": local_now()}),
        "item_url": _item_url(alarm, code),
        "items_url": page_url("punch-list", code, system=alarm.system_id, state="any"),
        "entries": entry_rows(entries_about(alarm.pk, access=access), code),
    }
    template = "commissioning/alarms/show.html"
    return page(request, template, context, section="alarms", system=alarm.system, status=status)


def _item_url(alarm: AlarmSighting, code: str) -> str:
    return page_url("punch-new", code, alarm=alarm.pk, next=reverse("alarm", args=[code, alarm.pk]))


@project_view
def alarm(request: ProjectRequest, id: UUID) -> HttpResponse:
    """One alarm: what it is, decide, see it clear, what happened."""
    return _alarm_page(request, _alarm(request, id))


@require_POST
@project_view
def decide(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Say what the alarm turned out to be; a genuine one goes on to its punch item."""
    found = _alarm(request, id)
    form = DecideForm(request.POST, stages=later_stages(found))
    if form.is_valid():
        given = form.cleaned_data
        decided = submit(form, lambda: decide_alarm(actor=request.access.user, alarm=found, **given))
        if decided:
            return _after(request, decided)
    return _alarm_page(request, found, decide_form=form, status=422)


def _after(request: ProjectRequest, decided: AlarmSighting) -> HttpResponse:
    code = request.access.project.code
    if decided.outcome == AlarmOutcome.GENUINE and not alarms_with_item([decided]) & {decided.pk}:
        messages.warning(request, "Genuine: it holds the stage until a punch item says what is wrong. Raise it here.")
        if url := _item_url(decided, code):
            return redirect(url)
    else:
        messages.success(request, f"Decided: {decided.get_outcome_display()}.")
    return redirect("alarm", code=code, id=decided.pk)


@require_POST
@project_view
def clear(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Somebody saw it clear."""
    found = _alarm(request, id)
    form = ClearForm(request.POST)
    if form.is_valid():
        given: dict[str, Any] = form.cleaned_data
        at = max(given["at"], found.seen_at) if _same_minute(given["at"], found.seen_at) else given["at"]
        if submit(form, lambda: clear_alarm(actor=request.access.user, alarm=found, remark=given["remark"], at=at)):
            messages.success(request, "Seen to clear.")
            return redirect("alarm", code=request.access.project.code, id=found.pk)
    return _alarm_page(request, found, clear_form=form, status=422)


def _same_minute(one: Any, other: Any) -> bool:
    """Times are typed to the minute: what cleared in the minute in which it was seen did not clear before it."""
    return bool(one.replace(second=0, microsecond=0) == other.replace(second=0, microsecond=0))
