"""Many punch items at once, for the register workbook: inside its transaction, under its lock and permission."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db import transaction

from commissioning.models import Project, Stage, StageState, User
from commissioning.rules.gate_parts import ITEMS
from commissioning.services.state_change import touch
from punchlist.models import ItemStep, PunchItem
from punchlist.rules.steps import CHANGED, RAISED
from punchlist.services.common import date_words, owner_words


@dataclass(frozen=True, slots=True)
class Snag:
    """What a workbook says of a new snag. `stage` None: the system's first stage that is not accepted."""

    system_id: UUID
    stage: str | None
    equipment_id: UUID | None
    category: str
    text: str
    owes_company: str
    due_on: date | None
    raised_at: datetime
    reference: str


@dataclass(frozen=True, slots=True)
class Changed:
    """New values of an item's fields, by field name."""

    item_id: UUID
    fields: Mapping[str, Any]


def raise_many(*, project: Project, actor: User, snags: Sequence[Snag], now: datetime) -> list[PunchItem]:
    """Raise the snags with the project's next numbers in a fixed number of queries. The caller audits them.

    `project` is locked by the caller, who has checked that the actor may do this at every site.
    """
    _require_transaction()
    stages = _stages({snag.system_id for snag in snags})
    items = [
        PunchItem(
            project=project,
            number=number,
            system_id=snag.system_id,
            stage_id=_stage_for(snag, stages[snag.system_id]),
            equipment_id=snag.equipment_id,
            category=snag.category,
            text=snag.text,
            raised_by=actor,
            raised_at=snag.raised_at,
            owes_company=snag.owes_company,
            due_on=snag.due_on,
            changed_at=now,
        )
        for number, snag in enumerate(snags, start=project.punch_count + 1)
    ]
    project.punch_count += len(items)
    project.save(update_fields=["punch_count"])
    PunchItem.objects.bulk_create(items)
    ItemStep.objects.bulk_create(
        ItemStep(item=item, step=RAISED, by=actor, at=item.raised_at, changes=_as_raised(snag))
        for item, snag in zip(items, snags, strict=True)
    )
    touch(*{snag.system_id for snag in snags}, parts={ITEMS})
    return items


def _as_raised(snag: Snag) -> dict[str, str]:
    words = {
        "category": snag.category,
        "text": snag.text,
        "owes": owner_words(None, snag.owes_company),
        "due_on": date_words(snag.due_on),
    }
    return {**words, "reference": snag.reference} if snag.reference else words


def _stages(systems: set[UUID]) -> dict[UUID, list[Stage]]:
    found: dict[UUID, list[Stage]] = {system: [] for system in systems}
    for stage in Stage.objects.filter(system__in=systems).order_by("order"):
        found[stage.system_id].append(stage)
    return found


def _stage_for(snag: Snag, stages: Sequence[Stage]) -> UUID:
    if snag.stage is not None:
        return next(stage.pk for stage in stages if stage.kind == snag.stage)
    ahead = (stage.pk for stage in stages if stage.state != StageState.ACCEPTED)
    return next(ahead, stages[-1].pk)


def change_many(*, actor: User, changes: Sequence[Changed], reason: str, now: datetime) -> None:
    """Change items that are not closed, each with a step that keeps what it said before. The caller audits them."""
    _require_transaction()
    items = {
        item.pk: item
        for item in PunchItem.objects.select_related("equipment", "owes").filter(
            pk__in=[change.item_id for change in changes]
        )
    }
    before = {pk: _words_of(item) for pk, item in items.items()}
    for change in changes:
        for name, value in change.fields.items():
            setattr(items[change.item_id], name, value)
        items[change.item_id].changed_at = now
    fields = ["category", "text", "equipment", "owes_company", "due_on", "changed_at"]
    PunchItem.objects.bulk_update(items.values(), fields, batch_size=200)
    after = {
        item.pk: _words_of(item) for item in PunchItem.objects.select_related("equipment").filter(pk__in=list(items))
    }
    ItemStep.objects.bulk_create(
        ItemStep(item=item, step=CHANGED, by=actor, at=now, remark=reason, changes=_differences(before[pk], after[pk]))
        for pk, item in items.items()
    )
    touch(*{item.system_id for item in items.values()}, parts={ITEMS})


def _differences(before: Mapping[str, str], after: Mapping[str, str]) -> dict[str, list[str]]:
    return {name: [before[name], after[name]] for name in after if after[name] != before[name]}


def _words_of(item: PunchItem) -> dict[str, str]:
    return {
        "category": item.category,
        "text": item.text,
        "tag": item.equipment.tag if item.equipment else "",
        "owes_company": item.owes_company,
        "due_on": date_words(item.due_on),
    }


def _require_transaction() -> None:
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("Many items are written inside the transaction of the import that they belong to.")
