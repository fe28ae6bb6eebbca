"""Stages: laid out, started, accepted, withdrawn. Nothing else moves a stage."""

from __future__ import annotations

from datetime import date
from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, Refused
from commissioning.models import Acceptance, NoticeKind, PermissionToEnergise, Stage, StageState, System, User
from commissioning.rules.gate import Signer, acceptance_blockers, entry_blockers, signer_blockers
from commissioning.rules.gate_parts import STAGES, SUPPLIES
from commissioning.rules.stages import stage_plan
from commissioning.selectors.certificate import stage_content
from commissioning.selectors.facts import stage_facts
from commissioning.selectors.stages import rests_on
from commissioning.services.audit import record
from commissioning.services.locks import lock_project, lock_system
from commissioning.services.notices import News, tell
from commissioning.services.permissions import EVERYONE, MANAGERS, WORKERS, require
from commissioning.services.repeats import already_made
from commissioning.services.signing import check_password, signature_fields
from commissioning.services.state_change import state_change


def lay_out_stages(system: System) -> list[Stage]:
    """Give a new system the stages of its kind's plan. Called by the service that creates the system."""
    plan = stage_plan(system.kind, system.project.stage_plans)
    return Stage.objects.bulk_create(
        Stage(system=system, kind=kind, order=order) for order, kind in enumerate(plan, start=1)
    )


@state_change()
def start_stage(*, actor: User, stage: Stage) -> Stage:
    """Take a stage in hand once its entry rules hold. Starting it again changes nothing."""
    system = lock_system(stage.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="start a stage")
    stage = Stage.objects.select_related("system__project", "system__site").get(pk=stage.pk)
    if stage.state == StageState.STARTED:
        return stage
    if stage.state == StageState.ACCEPTED:
        raise Conflict(f"{stage} is accepted already.")
    if blockers := entry_blockers(stage_facts(stage=stage)):
        raise Refused(blockers)
    stage.state, stage.started_at, stage.started_by = StageState.STARTED, timezone.now(), actor
    stage.save(update_fields=["state", "started_at", "started_by"])
    record(
        project=system.project,
        actor=actor,
        action="stage_started",
        on=stage,
        system=system.pk,
        words=f"Started {stage}.",
    )
    return stage


@state_change()
def accept_stage(
    *, stage: Stage, signed_by: User, password: str, remark: str = "", id: UUID | None = None
) -> Acceptance:
    """Sign a gate: every rule holds, the signer did none of the work, and the password is typed again.

    Raises Refused with every blocker, Conflict when somebody else signed first, InvalidInput for the password.
    """
    if found := already_made(Acceptance, id, stage_id=stage.pk, signed_by_id=signed_by.pk, remark=remark):
        return found
    lock_project(stage.system.project_id)
    system = lock_system(stage.system_id)
    access = require(actor=signed_by, project=system.project, roles=EVERYONE, site=system.site_id, to="accept a gate")
    check_password(signer=signed_by, password=password)
    stage = Stage.objects.select_related("system__project", "system__site").get(pk=stage.pk)
    if stage.state == StageState.ACCEPTED:
        standing = stage.acceptances.get(withdrawn_at__isnull=True)
        raise Conflict(f"{standing.signed_name} has already accepted {stage}.")
    facts = stage_facts(stage=stage)
    signer = Signer(user_id=str(signed_by.pk), role=access.role)
    if blockers := (*acceptance_blockers(facts), *signer_blockers(facts, signer)):
        raise Refused(blockers)
    content = stage_content(stage=stage, facts=facts)
    acceptance = Acceptance(
        stage=stage, remark=remark, **signature_fields(signer=signed_by, access=access, content=content)
    )
    if id is not None:
        acceptance.pk = id
    acceptance.save(force_insert=True)
    stage.state = StageState.ACCEPTED
    stage.save(update_fields=["state"])
    record(
        project=system.project,
        actor=signed_by,
        action="stage_accepted",
        on=stage,
        system=system.pk,
        words=f"Accepted {stage}.",
        data={"acceptance": acceptance.pk, "signed_hash": acceptance.signed_hash, "remark": remark},
    )
    _tell_gate(stage, f"{stage} was accepted by {signed_by}.", key=f"gate:{acceptance.pk}", by=signed_by)
    return acceptance


def _tell_gate(stage: Stage, words: str, *, key: str, by: User) -> None:
    news = News(NoticeKind.GATE, key, words, "stage", stage.pk, site=stage.system.site_id)
    tell(news, project=stage.system.project_id, but=by)


@state_change()
def withdraw_acceptance(*, actor: User, stage: Stage, reason: str) -> list[Acceptance]:
    """Withdraw a gate and every later one that rests on it, in this system and in those that depend on it."""
    if not reason.strip():
        raise InvalidInput({"reason": "Say why the acceptance is withdrawn; the dossier prints it."})
    project = lock_project(stage.system.project_id)
    require(actor=actor, project=project, roles=MANAGERS, site=stage.system.site_id, to="withdraw an acceptance")
    stage = Stage.objects.select_related("system__project").get(pk=stage.pk)
    if stage.state != StageState.ACCEPTED:
        raise Conflict(f"{stage} is not accepted, so there is nothing to withdraw.")
    withdrawn: list[Acceptance] = []
    for later in rests_on(stage):
        withdrawn.extend(_withdraw_one(actor=actor, stage=later, reason=reason, because_of=stage))
    return withdrawn


def _withdraw_one(*, actor: User, stage: Stage, reason: str, because_of: Stage) -> list[Acceptance]:
    standing = list(stage.acceptances.filter(withdrawn_at__isnull=True))
    now = timezone.now()
    words = reason if stage == because_of else f"{because_of} was withdrawn: {reason}"
    for acceptance in standing:
        acceptance.withdrawn_at, acceptance.withdrawn_by, acceptance.withdrawn_reason = now, actor, words
        acceptance.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_reason"])
    if standing:
        stage.state = StageState.STARTED
        stage.save(update_fields=["state"])
        record(
            project=stage.system.project,
            actor=actor,
            action="acceptance_withdrawn",
            on=stage,
            system=stage.system_id,
            words=f"Withdrew the acceptance of {stage}: {words}",
            data={"acceptances": [acceptance.pk for acceptance in standing], "because_of": because_of.pk},
        )
        _tell_gate(stage, f"{stage}: acceptance withdrawn: {words}", key=f"withdrawn:{standing[0].pk}", by=actor)
    _withdraw_permissions(actor=actor, stage=stage, reason=words)
    return standing


def _withdraw_permissions(*, actor: User, stage: Stage, reason: str) -> None:
    """A permission to energise does not outlive the gates it was given behind."""
    for permission in PermissionToEnergise.objects.filter(stage=stage, withdrawn_at__isnull=True):
        permission.withdrawn_at, permission.withdrawn_by, permission.withdrawn_reason = timezone.now(), actor, reason
        permission.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_reason"])
        record(
            project=stage.system.project,
            actor=actor,
            action="permission_withdrawn",
            touches={SUPPLIES},
            on=permission,
            system=stage.system_id,
            words=f"Withdrew the permission to energise {stage.system.tag}: {reason}",
        )


@state_change()
def plan_stage(*, actor: User, stage: Stage, planned_for: date | None) -> Stage:
    """Set or clear the date for which a gate is planned."""
    system = lock_system(stage.system_id)
    require(actor=actor, project=system.project, roles=MANAGERS, site=system.site_id, to="plan a gate")
    before, stage.planned_for = stage.planned_for, planned_for
    stage.save(update_fields=["planned_for"])
    record(
        project=system.project,
        actor=actor,
        action="stage_planned",
        touches={STAGES},
        on=stage,
        system=system.pk,
        words=f"Planned {stage} for {planned_for or 'no date'}.",
        data={"before": before, "after": planned_for},
    )
    return stage
