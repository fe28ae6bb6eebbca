"""The steps of an item's life after it was raised: rectified, sent back, closed, reopened."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.utils import timezone

from commissioning.errors import InvalidInput, Refused
from commissioning.models import User
from commissioning.services.permissions import require
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change
from punchlist.models import ItemStep, PunchItem
from punchlist.rules.steps import (
    CLOSED,
    RECTIFIED,
    REOPENED,
    SENT_BACK,
    STEPS,
    roles_for,
    step_blockers,
)
from punchlist.services.common import add_step, clean_remark, lock_item, not_later_than_now, person_of, standing_of


def rectify_item(
    *, actor: User, item: PunchItem, remark: str = "", at: datetime | None = None, id: UUID | None = None
) -> PunchItem:
    """Say that it was put right. Somebody else looks and closes it, or sends it back."""
    return _take(RECTIFIED, actor=actor, item=item, remark=remark, at=at, id=id)


def send_back_item(
    *, actor: User, item: PunchItem, reason: str, at: datetime | None = None, id: UUID | None = None
) -> PunchItem:
    """Say what is still wrong with it. It has to be rectified again."""
    return _take(SENT_BACK, actor=actor, item=item, remark=reason, at=at, id=id)


def close_item(
    *, actor: User, item: PunchItem, remark: str = "", at: datetime | None = None, id: UUID | None = None
) -> PunchItem:
    """Look and close: a manager or the client, and nobody who recorded it rectified."""
    return _take(CLOSED, actor=actor, item=item, remark=remark, at=at, id=id)


def reopen_item(
    *, actor: User, item: PunchItem, reason: str, at: datetime | None = None, id: UUID | None = None
) -> PunchItem:
    """A closed item turns out not to be right: it holds its gate again."""
    return _take(REOPENED, actor=actor, item=item, remark=reason, at=at, id=id)


@state_change()
def _take(step: str, *, actor: User, item: PunchItem, remark: str, at: datetime | None, id: UUID | None) -> PunchItem:
    item, system = lock_item(item)
    if already_made(ItemStep, id, item_id=item.pk, by_id=actor.pk, step=step):
        return item
    standing = standing_of(item)
    rule = STEPS[step]
    access = require(
        actor=actor,
        project=item.project,
        roles=roles_for(step, standing, str(actor.pk)),
        site=system.site_id,
        to=rule.deed,
    )
    remark = clean_remark(remark, field="reason" if rule.needs_reason else "remark")
    if rule.needs_reason and not remark:
        raise InvalidInput({"reason": f"Say why you {rule.verb}; whoever mends it reads the reason."})
    if blockers := step_blockers(step, standing, person_of(access)):
        raise Refused(blockers)
    at = not_later_than_now(at)
    item.state, item.changed_at = rule.after, timezone.now()
    _note_who(item, step=step, actor=actor, at=at)
    item.save(
        update_fields=[
            "state",
            "changed_at",
            "rectified_by",
            "rectified_at",
            "closed_by",
            "closed_at",
        ]
    )
    add_step(item=item, step=step, by=actor, at=at, remark=remark, id=id)
    return item


def _note_who(item: PunchItem, *, step: str, actor: User, at: datetime) -> None:
    """Who rectified and closed it, kept on the row for lists; the steps keep the whole story."""
    if step == RECTIFIED:
        item.rectified_by, item.rectified_at = actor, at
    elif step == CLOSED:
        item.closed_by, item.closed_at = actor, at
    elif step in (SENT_BACK, REOPENED):
        item.rectified_by = item.rectified_at = item.closed_by = item.closed_at = None
