"""Alarm sightings: seen, decided, seen to clear."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput
from commissioning.models import AlarmOutcome, AlarmSighting, Equipment, Stage, StageState, User
from commissioning.rules.gate_parts import ALARMS
from commissioning.services.audit import record
from commissioning.services.locks import lock_system
from commissioning.services.permissions import WORKERS, require
from commissioning.services.repeats import already_made, said
from commissioning.services.state_change import state_change


@state_change()
def log_alarm(
    *,
    actor: User,
    stage: Stage,
    text: str,
    equipment: Equipment | None = None,
    seen_at: datetime | None = None,
    id: UUID | None = None,
) -> AlarmSighting:
    """Write down an alarm as the display words it. Until somebody says what it is, it blocks."""
    same = {"stage_id": stage.pk, "seen_by_id": actor.pk, "equipment_id": equipment.pk if equipment else None}
    if found := already_made(AlarmSighting, id, **same, text=text.strip(), **said(seen_at=seen_at)):
        return found
    system = lock_system(stage.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="log an alarm")
    if not text.strip():
        raise InvalidInput({"text": "Type the alarm as the display words it."})
    if equipment is not None and equipment.system_id != system.pk:
        raise InvalidInput({"equipment": f"{equipment.tag} is not part of {system.tag}."})
    alarm = AlarmSighting(
        system=system,
        stage=stage,
        equipment=equipment,
        text=text.strip(),
        seen_by=actor,
        seen_at=seen_at or timezone.now(),
    )
    if id is not None:
        alarm.pk = id
    alarm.save(force_insert=True)
    record(
        project=system.project,
        actor=actor,
        action="alarm_logged",
        touches={ALARMS},
        on=alarm,
        system=system.pk,
        words=f"{system.tag}: alarm seen: {alarm.text}.",
    )
    return alarm


@state_change()
def decide_alarm(
    *, actor: User, alarm: AlarmSighting, outcome: str, explanation: str = "", expected_until: Stage | None = None
) -> AlarmSighting:
    """Say what an alarm turned out to be: explained, expected until a later stage, or genuine (raise a punch item)."""
    system = lock_system(alarm.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="decide an alarm")
    alarm = AlarmSighting.objects.select_related("stage").get(pk=alarm.pk)
    _check_decision(alarm, outcome, explanation, expected_until)
    if alarm.stage.state == StageState.ACCEPTED and alarm.outcome != AlarmOutcome.UNEXPLAINED:
        raise Conflict(f"{alarm.stage} is accepted; the decision on this alarm was part of what was signed.")
    before = alarm.outcome
    alarm.outcome, alarm.explanation = outcome, explanation.strip()
    alarm.expected_until = expected_until if outcome == AlarmOutcome.EXPECTED else None
    alarm.decided_by, alarm.decided_at = actor, timezone.now()
    alarm.save(update_fields=["outcome", "explanation", "expected_until", "decided_by", "decided_at"])
    record(
        project=system.project,
        actor=actor,
        action="alarm_decided",
        touches={ALARMS},
        on=alarm,
        system=system.pk,
        words=f"{system.tag}: alarm '{alarm.text}' is {alarm.get_outcome_display()}. {alarm.explanation}".strip(),
        data={"before": before, "after": outcome, "expected_until": expected_until.pk if expected_until else None},
    )
    return alarm


def _check_decision(alarm: AlarmSighting, outcome: str, explanation: str, expected_until: Stage | None) -> None:
    problems: dict[str, str] = {}
    if outcome not in (AlarmOutcome.EXPLAINED, AlarmOutcome.EXPECTED, AlarmOutcome.GENUINE):
        problems["outcome"] = "Choose explained, expected until a later stage, or genuine."
    if outcome in (AlarmOutcome.EXPLAINED, AlarmOutcome.EXPECTED) and not explanation.strip():
        problems["explanation"] = "Say in words why this alarm stands or stood."
    if outcome == AlarmOutcome.EXPECTED:
        if expected_until is None:
            problems["expected_until"] = "Name the stage in which it must be seen to clear."
        elif expected_until.system_id != alarm.system_id or expected_until.order <= alarm.stage.order:
            problems["expected_until"] = "Name a later stage of the same system."
        elif expected_until.state == StageState.ACCEPTED:
            problems["expected_until"] = (
                "That stage is accepted already; the alarm can no longer be seen to clear in it."
            )
    if problems:
        raise InvalidInput(problems)


@state_change()
def clear_alarm(*, actor: User, alarm: AlarmSighting, remark: str = "", at: datetime | None = None) -> AlarmSighting:
    """Somebody saw the alarm clear. An expected one clears in the stage that it was expected until, not before it."""
    system = lock_system(alarm.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="record that an alarm cleared")
    alarm = AlarmSighting.objects.select_related("stage", "expected_until").get(pk=alarm.pk)
    if alarm.cleared_at:
        return alarm
    when = at or timezone.now()
    if when < alarm.seen_at:
        raise InvalidInput({"at": "An alarm cannot clear before it was seen."})
    until = alarm.expected_until
    if until and until.state == StageState.NOT_STARTED:
        raise InvalidInput(
            {"remark": f"Expected until {until.get_kind_display()}, not started yet. Cleared now? Decide again."}
        )
    alarm.cleared_at, alarm.cleared_by, alarm.cleared_remark = when, actor, remark
    alarm.save(update_fields=["cleared_at", "cleared_by", "cleared_remark"])
    record(
        project=system.project,
        actor=actor,
        action="alarm_cleared",
        touches={ALARMS},
        on=alarm,
        system=system.pk,
        words=f"{system.tag}: alarm '{alarm.text}' seen to clear. {remark}".strip(),
    )
    return alarm
