"""How a refused item from a phone ends: mended by another one, or dropped with its reason. What leans on it follows."""

from __future__ import annotations

from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput
from commissioning.models import OutboxItem, OutboxState
from commissioning.rules.gate_parts import NOTHING
from commissioning.selectors.access import Access
from commissioning.services.audit import record
from commissioning.services.locks import lock_project
from commissioning.services.outbox_deeds import Deed, Waits, kind_words
from commissioning.services.state_change import state_change

MENDS_ARRIVED = (
    "What this mends had arrived after all, and stands. Drop this one, or record what is still missing anew."
)
MENDS_MENDED = "What this mends was mended already. Drop this one, or record what is still missing anew."
MENDS_OTHERS = "What this mends is not an item of yours in this project."


def mended_by(deed: Deed, *, access: Access) -> OutboxItem | None:
    """The refused item that this deed stands in for; None where the server never saw it or it was dropped."""
    old = OutboxItem.objects.filter(pk=deed.mends).first() if deed.mends else None
    if old is None or old.state == OutboxState.DROPPED:
        return None
    if old.project_id != access.project.pk or old.by_id != access.user.pk:
        raise InvalidInput({"mends": MENDS_OTHERS})
    if old.state == OutboxState.NEEDS_YOU:
        return old
    raise Conflict(MENDS_ARRIVED if old.state == OutboxState.ARRIVED else MENDS_MENDED)


def settle_mended(old: OutboxItem) -> None:
    """The old item is closed; that it was refused, and why, stays on it."""
    old.state, old.settled_at = OutboxState.MENDED, timezone.now()
    old.save(update_fields=["state", "settled_at"])


def refuse_while_waiting(id: UUID, *, project: UUID) -> None:
    """Raise Waits when the item that this one leans on was refused or dropped: alone it makes no sense."""
    base = OutboxItem.objects.filter(pk=id, project=project).first()
    if base is None:
        return
    if base.state == OutboxState.NEEDS_YOU:
        words = f"It belongs to the {kind_words(base.kind)} that was refused. Mend that one, and this goes with it."
        raise Waits(words, waits_for=base.pk)
    if base.state == OutboxState.DROPPED:
        words = f"It belongs to the {kind_words(base.kind)} that was dropped: {base.dropped_reason}"
        raise Waits(words, waits_for=base.pk)


def leaning_on(item: OutboxItem) -> list[OutboxItem]:
    """Refused items that are dropped together with this one, those behind them included, in order."""
    found: list[OutboxItem] = []
    ids = {item.pk}
    while ids:
        rows = OutboxItem.objects.filter(project=item.project_id, waits_for__in=ids, state=OutboxState.NEEDS_YOU)
        more = [row for row in rows if row.pk not in {one.pk for one in found}]
        found += more
        ids = {row.pk for row in more}
    return found


@state_change()
def drop_item(*, access: Access, item: OutboxItem, reason: str) -> OutboxItem:
    """Give up what was refused; it stays on record with the reason. What leans on it goes with it."""
    lock_project(access.project.pk)
    item = OutboxItem.objects.get(pk=item.pk)
    if not reason.strip():
        raise InvalidInput({"reason": "Say why it is dropped; the reason stays on record."})
    if item.state == OutboxState.DROPPED:
        return item
    if item.state != OutboxState.NEEDS_YOU:
        raise Conflict("Only what was refused can be dropped; this has arrived or was mended.")
    for one in (item, *leaning_on(item)):
        _dropped(one, access=access, reason=reason.strip())
    return OutboxItem.objects.get(pk=item.pk)


def _dropped(item: OutboxItem, *, access: Access, reason: str) -> None:
    item.state, item.settled_at = OutboxState.DROPPED, timezone.now()
    item.dropped_by, item.dropped_reason = access.user, reason
    item.save(update_fields=["state", "settled_at", "dropped_by", "dropped_reason"])
    record(
        project=access.project,
        actor=access.user,
        action="phone_item_dropped",
        touches=NOTHING,
        on=item,
        system=item.system_id,
        words=f"Dropped, from a phone: {reason}",
        data={"kind": item.kind},
    )
