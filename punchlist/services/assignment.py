"""Saying who owes many items at once, and taking the last such step back."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed, Refused
from commissioning.models import NoticeKind, Project, User
from commissioning.models.base import new_id
from commissioning.rules.gate import Blocker, Rule
from commissioning.rules.gate_parts import NOTHING
from commissioning.services.audit import record
from commissioning.services.locks import lock_project
from commissioning.services.notices import News, tell
from commissioning.services.permissions import WORKERS, require
from commissioning.services.state_change import state_change
from punchlist.models import ItemState, ItemStep, PunchItem
from punchlist.rules.steps import ASSIGN_UNDONE, ASSIGNED
from punchlist.services.common import KEEP, Keep, check_owner, clean_company, date_words

#: More at once than this is a mistake more often than a wish.
AT_ONCE = 500
FIELDS = ("owes_id", "owes_company", "due_on")


@dataclass(frozen=True, slots=True)
class Assignment:
    """What one bulk step did: its key (for undoing it) and the numbers of the items that it changed."""

    batch: UUID
    numbers: tuple[int, ...]


@state_change()
def assign_items(
    *,
    actor: User,
    project: Project,
    items: Collection[UUID],
    owes: User | Keep | None = KEEP,
    owes_company: str | Keep = KEEP,
    due_on: date | Keep | None = KEEP,
    id: UUID | None = None,
) -> Assignment:
    """Set who owes the items and until when, all or none of them, in a fixed number of queries."""
    project = lock_project(project.pk)
    access = require(actor=actor, project=project, roles=WORKERS, site=None, to="say who owes punch items")
    batch = id or new_id()
    if repeated := _steps_of(project, batch=batch, step=ASSIGNED):
        return Assignment(batch, tuple(sorted(step.item.number for step in repeated)))
    wanted = _wanted(owes, owes_company, due_on)
    found = _lock_items(project=project, ids=items)
    _refuse_closed(found)
    sites = {item.system.site_id for item in found}
    if not all(access.covers(site) for site in sites):
        raise NotAllowed("Some of these items are at a site where you are not a member. Take them out of the choice.")
    check_owner(owes if owes is not KEEP else None, project=project, sites=sites)
    changed = [item for item in found if any(getattr(item, name) != value for name, value in wanted.items())]
    now = timezone.now()
    steps = _steps(changed, actor=actor, step=ASSIGNED, batch=batch, after=wanted)
    PunchItem.objects.filter(pk__in=[item.pk for item in changed]).update(**wanted, changed_at=now)
    ItemStep.objects.bulk_create(steps)
    _record(actor=actor, project=project, items=changed, action="punch_items_assigned", batch=batch, steps=steps)
    if isinstance(owes, User) and owes.pk != actor.pk:
        _tell(owes, [item for item in changed if item.owes_id != owes.pk], project=project, batch=batch)
    return Assignment(batch, tuple(sorted(item.number for item in changed)))


@state_change()
def undo_assignment(*, actor: User, project: Project, batch: UUID) -> Assignment:
    """Take an assignment back: every item that still stands as it left it gets what it had before.

    Only whoever made it can. Items that were changed or closed since keep what they have now.
    """
    project = lock_project(project.pk)
    require(actor=actor, project=project, roles=WORKERS, site=None, to="take an assignment back")
    done = _steps_of(project, batch=batch, step=ASSIGNED)
    if not done or any(step.by_id != actor.pk for step in done):
        raise NotAllowed("Only whoever made an assignment can take it back. Assign the items anew instead.")
    if undone := _steps_of(project, batch=batch, step=ASSIGN_UNDONE):
        return Assignment(batch, tuple(sorted(step.item.number for step in undone)))
    items = {item.pk: item for item in _lock_items(project=project, ids=[step.item_id for step in done])}
    restored: list[PunchItem] = []
    steps: list[ItemStep] = []
    for step in done:
        item, after, before = items[step.item_id], _read(step.changes["after"]), _read(step.changes["before"])
        if item.state == ItemState.CLOSED or any(getattr(item, name) != after[name] for name in after):
            continue
        steps += _steps([item], actor=actor, step=ASSIGN_UNDONE, batch=batch, after=before)
        for name, value in before.items():
            setattr(item, name, value)
        item.changed_at = timezone.now()
        restored.append(item)
    if not restored:
        raise Conflict("All of these items were changed since. There is nothing left to take back.")
    PunchItem.objects.bulk_update(restored, ["owes", "owes_company", "due_on", "changed_at"])
    ItemStep.objects.bulk_create(steps)
    _record(actor=actor, project=project, items=restored, action="punch_items_assign_undone", batch=batch, steps=steps)
    return Assignment(batch, tuple(sorted(item.number for item in restored)))


def last_assignment(*, actor: User, project: Project) -> Assignment | None:
    """The actor's newest assignment that was not taken back, to offer its undoing."""
    steps = ItemStep.objects.filter(item__project=project, by=actor, step__in=(ASSIGNED, ASSIGN_UNDONE))
    newest = steps.order_by("-recorded_at", "-pk").first()
    if newest is None or newest.step == ASSIGN_UNDONE:
        return None
    batch = UUID(newest.changes["batch"])
    numbers = sorted(step.item.number for step in _steps_of(project, batch=batch, step=ASSIGNED))
    return Assignment(batch, tuple(numbers))


def _tell(owes: User, items: list[PunchItem], *, project: Project, batch: UUID) -> None:
    """One notice for the whole of it, however many items there are."""
    if not items:
        return
    words = f"{len(items)} punch item{'s are' if len(items) > 1 else ' is'} yours: {_labels(items)}."
    news = News(NoticeKind.ASSIGNED, f"assigned:{batch}", words, "punch-list", "mine=true")
    tell(news, project=project, people=[owes.pk])


def _labels(items: list[PunchItem]) -> str:
    return ", ".join(item.label for item in items[:10]) + (" …" if len(items) > 10 else "")


def _wanted(owes: User | Keep | None, owes_company: str | Keep, due_on: date | Keep | None) -> dict[str, Any]:
    """The columns to set; those to keep are left out."""
    wanted: dict[str, Any] = {}
    if owes is not KEEP:
        wanted["owes_id"] = owes.pk if owes else None
    if owes_company is not KEEP:
        wanted["owes_company"] = clean_company(owes_company)
    if due_on is not KEEP:
        wanted["due_on"] = due_on
    if not wanted:
        raise InvalidInput({"owes": "Choose who owes the items, or a due date."})
    return wanted


def _lock_items(*, project: Project, ids: Collection[UUID]) -> list[PunchItem]:
    wanted = set(ids)
    if not wanted:
        raise InvalidInput({"items": "Choose at least one item."})
    if len(wanted) > AT_ONCE:
        raise InvalidInput({"items": f"Choose at most {AT_ONCE} items at a time."})
    rows = PunchItem.objects.select_for_update(of=("self",), no_key=True).filter(project=project, pk__in=wanted)
    found = list(rows.select_related("system", "equipment").order_by("number"))
    if len(found) < len(wanted):
        raise InvalidInput({"items": "Some of these items are not in this project. Choose them anew."})
    return found


def _refuse_closed(items: Iterable[PunchItem]) -> None:
    blockers = [
        Blocker(
            Rule.PUNCH_ITEMS,
            "item_is_closed",
            f"{item.label} is closed. Nobody owes it any more.",
            item.equipment.tag if item.equipment else item.system.tag,
            "field_engineer",
            "item",
            str(item.pk),
        )
        for item in items
        if item.state == ItemState.CLOSED
    ]
    if blockers:
        raise Refused(blockers)


def _steps(items: Iterable[PunchItem], *, actor: User, step: str, batch: UUID, after: dict[str, Any]) -> list[ItemStep]:
    now = timezone.now()
    return [
        ItemStep(
            item=item,
            step=step,
            by=actor,
            at=now,
            changes={
                "batch": str(batch),
                "before": _write({name: getattr(item, name) for name in after}),
                "after": _write(after),
            },
        )
        for item in items
    ]


def _write(values: dict[str, Any]) -> dict[str, Any]:
    return {name: date_words(value) if name == "due_on" else value for name, value in values.items()}


def _read(values: dict[str, Any]) -> dict[str, Any]:
    return {
        name: (date.fromisoformat(value) if value else None) if name == "due_on" else value
        for name, value in values.items()
    }


def _steps_of(project: Project, *, batch: UUID, step: str) -> list[ItemStep]:
    rows = ItemStep.objects.filter(item__project=project, step=step, changes__batch=str(batch))
    return list(rows.select_related("item"))


def _record(
    *,
    actor: User,
    project: Project,
    items: list[PunchItem],
    action: str,
    batch: UUID,
    steps: list[ItemStep],
) -> None:
    """One audit entry for the whole of it; it names every item with what it had before and after."""
    if not items:
        return
    systems = {item.system_id for item in items}
    verb = "Took back the assignment of" if action.endswith("undone") else "Assigned"
    record(
        project=project,
        actor=actor,
        action=action,
        touches=NOTHING,
        on=project,
        system=systems.pop() if len(systems) == 1 else None,
        words=f"{verb} {len(items)} punch items: {_labels(items)}.",
        data={
            "batch": batch,
            "items": [
                {"number": item.number, "before": step.changes["before"], "after": step.changes["after"]}
                for item, step in zip(items, steps, strict=True)
            ],
        },
    )
