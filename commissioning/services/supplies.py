"""Supplies: isolated with a lock, released under a permission to energise. Each change is logged."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta
from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed, Refused
from commissioning.models import PermissionToEnergise, Stage, SupplyChange, SupplyPoint, SupplyState, User
from commissioning.rules.gate import SupplyFact
from commissioning.rules.gate_parts import SUPPLIES
from commissioning.rules.safety import permission_blockers, release_blockers
from commissioning.selectors.facts import permission_fact, stage_facts
from commissioning.services.audit import record
from commissioning.services.locks import lock_project, lock_system
from commissioning.services.permissions import WORKERS, require
from commissioning.services.repeats import already_made, refuse_other_content, said
from commissioning.services.signing import check_password, signature_fields
from commissioning.services.state_change import state_change

#: Longest time for which one permission to energise may be signed.
LONGEST_PERMISSION = timedelta(days=7)


@state_change()
def isolate_supply(
    *,
    actor: User,
    supply: SupplyPoint,
    lock_number: str,
    remark: str = "",
    at: datetime | None = None,
    id: UUID | None = None,
) -> SupplyChange:
    """Record that a supply was isolated and locked. It may be recorded again, with another lock."""
    same = {"supply_id": supply.pk, "by_id": actor.pk, "state": SupplyState.ISOLATED, "remark": remark}
    if found := already_made(SupplyChange, id, **same, lock_number=lock_number.strip(), **said(at=at)):
        return found
    system = lock_system(supply.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="record an isolation")
    if not lock_number.strip():
        raise InvalidInput({"lock_number": "Type the number on the lock. An isolation without a lock is not recorded."})
    supply = SupplyPoint.objects.get(pk=supply.pk)
    at = at or timezone.now()
    if supply.changed_at and at < supply.changed_at:
        at_words = f"{timezone.localtime(supply.changed_at):%Y-%m-%d %H:%M %Z}"
        raise Conflict(
            f"{supply.tag} was changed at {at_words}, after this isolation. Look, and record how it stands now."
        )
    return _change(
        actor=actor,
        supply=supply,
        state=SupplyState.ISOLATED,
        lock_number=lock_number.strip(),
        remark=remark,
        at=at,
        id=id,
    )


@state_change()
def release_supply(
    *, actor: User, supply: SupplyPoint, permission: PermissionToEnergise, remark: str = "", id: UUID | None = None
) -> SupplyChange:
    """Release a supply that a standing permission names. From then on the system is recorded LIVE.

    Never taken from a phone that was offline: it cannot know what happened elsewhere.
    """
    same = {"supply_id": supply.pk, "by_id": actor.pk, "state": SupplyState.RELEASED, "remark": remark}
    if found := already_made(SupplyChange, id, **same, permission_id=permission.pk):
        return found
    lock_project(supply.system.project_id)
    system = lock_system(supply.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="release a supply")
    supply = SupplyPoint.objects.get(pk=supply.pk)
    if supply.state == SupplyState.RELEASED:
        raise Conflict(f"{supply.tag} is recorded released already.")
    permission = PermissionToEnergise.objects.select_related("stage").get(pk=permission.pk, system=system)
    now = timezone.now()
    blockers = release_blockers(
        supply=SupplyFact(str(supply.pk), supply.tag, supply.kind, supply.state),
        permission=permission_fact(permission, stage_kind=permission.stage.kind),
        stage=stage_facts(stage=permission.stage, now=now),
        now=now,
    )
    if blockers:
        raise Refused(blockers)
    return _change(
        actor=actor, supply=supply, state=SupplyState.RELEASED, permission=permission, remark=remark, at=now, id=id
    )


def _change(
    *,
    actor: User,
    supply: SupplyPoint,
    state: str,
    at: datetime,
    lock_number: str = "",
    permission: PermissionToEnergise | None = None,
    remark: str = "",
    id: UUID | None = None,
) -> SupplyChange:
    before = supply.state
    supply.state, supply.lock_number, supply.changed_at, supply.changed_by = state, lock_number, at, actor
    supply.save(update_fields=["state", "lock_number", "changed_at", "changed_by"])
    change = SupplyChange(
        supply=supply, state=state, lock_number=lock_number, permission=permission, by=actor, at=at, remark=remark
    )
    if id is not None:
        change.pk = id
    change.save(force_insert=True)
    system = supply.system
    lock = f", lock {lock_number}" if lock_number else ""
    record(
        project=system.project,
        actor=actor,
        action=f"supply_{state}",
        touches={SUPPLIES},
        on=supply,
        system=system.pk,
        words=f"{system.tag}: supply {supply.tag} recorded {state}{lock}.",
        data={
            "before": before,
            "after": state,
            "lock": lock_number,
            "permission": permission.pk if permission else None,
        },
    )
    return change


@state_change()
def sign_permission(
    *,
    signed_by: User,
    stage: Stage,
    supplies: Collection[SupplyPoint],
    valid_until: datetime,
    password: str,
    precautions: str = "",
    valid_from: datetime | None = None,
    id: UUID | None = None,
) -> PermissionToEnergise:
    """The authorised person permits the supplies that are named to be released, until it lapses."""
    same = {"stage_id": stage.pk, "signed_by_id": signed_by.pk, "valid_until": valid_until, "precautions": precautions}
    if found := already_made(PermissionToEnergise, id, **same, **said(valid_from=valid_from)):
        if {supply.pk for supply in found.supplies.all()} != {supply.pk for supply in supplies}:
            refuse_other_content()
        return found
    lock_project(stage.system.project_id)
    system = lock_system(stage.system_id)
    access = require(
        actor=signed_by, project=system.project, roles=WORKERS, site=system.site_id, to="sign a permission to energise"
    )
    if not access.authorised_person:
        raise NotAllowed(
            "Only the authorised person signs a permission to energise. A manager names them in the settings."
        )
    check_password(signer=signed_by, password=password)
    now = timezone.now()
    start = valid_from or now
    _check_permission(supplies=supplies, stage=stage, start=start, end=valid_until, now=now)
    named = frozenset(str(supply.pk) for supply in supplies)
    if blockers := permission_blockers(stage=stage_facts(stage=stage, now=now), supply_ids=named):
        raise Refused(blockers)
    content = {
        "system": system.tag,
        "stage": stage.kind,
        "supplies": sorted([supply.tag, str(supply.pk)] for supply in supplies),
        "valid_from": start.isoformat(),
        "valid_until": valid_until.isoformat(),
        "precautions": precautions,
    }
    permission = PermissionToEnergise(
        system=system,
        stage=stage,
        valid_from=start,
        valid_until=valid_until,
        precautions=precautions,
        **signature_fields(signer=signed_by, access=access, content=content, at=now),
    )
    if id is not None:
        permission.pk = id
    permission.save(force_insert=True)
    permission.supplies.set(supplies)
    tags = ", ".join(sorted(supply.tag for supply in supplies))
    record(
        project=system.project,
        actor=signed_by,
        action="permission_signed",
        touches={SUPPLIES},
        on=permission,
        system=system.pk,
        words=f"{system.tag}: permission to energise {tags} until {timezone.localtime(valid_until):%Y-%m-%d %H:%M %Z}.",
        data={"signed_hash": permission.signed_hash, "supplies": sorted(named)},
    )
    return permission


def _check_permission(
    *, supplies: Collection[SupplyPoint], stage: Stage, start: datetime, end: datetime, now: datetime
) -> None:
    problems: dict[str, str] = {}
    if not supplies:
        problems["supplies"] = "Name at least one supply."
    if any(supply.system_id != stage.system_id for supply in supplies):
        problems["supplies"] = "A permission names supplies of its own system only."
    if end <= max(start, now):
        problems["valid_until"] = "The permission must end after it begins, and later than now."
    elif end - start > LONGEST_PERMISSION:
        problems["valid_until"] = (
            f"A permission is signed for at most {LONGEST_PERMISSION.days} days. Sign a new one when it lapses."
        )
    if problems:
        raise InvalidInput(problems)


@state_change()
def withdraw_permission(*, actor: User, permission: PermissionToEnergise, reason: str) -> PermissionToEnergise:
    """Take a permission back. Supplies released under it stay recorded LIVE until each is isolated, and block."""
    system = lock_system(permission.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="withdraw a permission")
    if not reason.strip():
        raise InvalidInput({"reason": "Say why the permission is withdrawn."})
    permission = PermissionToEnergise.objects.get(pk=permission.pk)
    if permission.withdrawn_at:
        raise Conflict("This permission was withdrawn already.")
    permission.withdrawn_at, permission.withdrawn_by, permission.withdrawn_reason = timezone.now(), actor, reason
    permission.save(update_fields=["withdrawn_at", "withdrawn_by", "withdrawn_reason"])
    record(
        project=system.project,
        actor=actor,
        action="permission_withdrawn",
        touches={SUPPLIES},
        on=permission,
        system=system.pk,
        words=f"{system.tag}: permission to energise withdrawn: {reason}",
    )
    return permission
