"""Raising a punch item, and changing what it says."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, Refused
from commissioning.models import AlarmOutcome, AlarmSighting, CheckLine, Equipment, Stage, System, User
from commissioning.services.alarms import decide_alarm
from commissioning.services.locks import lock_project, lock_system
from commissioning.services.permissions import EVERYONE, WORKERS, require
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change
from punchlist.models import Category, ItemStep, PunchItem
from punchlist.rules.steps import CHANGED, RAISED, change_blockers
from punchlist.services.common import (
    KEEP,
    Keep,
    add_step,
    check_owner,
    clean_company,
    clean_remark,
    clean_text,
    date_words,
    lock_item,
    not_later_than_now,
    owner_words,
    person_of,
    standing_of,
    tell_owner,
)


@dataclass(frozen=True, slots=True)
class _Place:
    """Where an item is raised: all of it belongs together, or the item is refused."""

    system: System
    stage: Stage
    equipment: Equipment | None
    line: CheckLine | None
    alarm: AlarmSighting | None

    def check(self) -> None:
        problems: dict[str, str] = {}
        if self.stage.system_id != self.system.pk:
            problems["stage"] = "This stage belongs to another system."
        if self.equipment and self.equipment.system_id != self.system.pk:
            problems["equipment"] = f"{self.equipment.tag} belongs to another system."
        if self.line and self.line.stage_id != self.stage.pk:
            problems["line"] = "This check line belongs to another stage."
        if self.alarm and self.alarm.system_id != self.system.pk:
            problems["alarm"] = "This alarm was seen on another system."
        if problems:
            raise InvalidInput(problems)


@state_change()
def raise_item(
    *,
    actor: User,
    system: System,
    stage: Stage,
    category: str,
    text: str,
    id: UUID | None = None,
    equipment: Equipment | None = None,
    line: CheckLine | None = None,
    alarm: AlarmSighting | None = None,
    owes: User | None = None,
    owes_company: str = "",
    due_on: date | None = None,
    at: datetime | None = None,
) -> PunchItem:
    """Put a snag on the list and give it the project's next number. Sent twice with one `id`, it is there once.

    Anybody in the project may raise one, the client too. An A item against an accepted stage is taken: it shows there
    as an exception and stops the next stage. Raised from an alarm that nobody has decided, it decides it: genuine.
    """
    project = lock_project(system.project_id)
    system = lock_system(system.pk)
    text = clean_text(text)
    if found := already_made(PunchItem, id, project_id=project.pk, system_id=system.pk, raised_by_id=actor.pk):
        return _same_as_raised(found, category=category, text=text)
    access = require(actor=actor, project=project, roles=EVERYONE, site=system.site_id, to="raise a punch item")
    if category not in Category.values:
        raise InvalidInput({"category": "Choose A, B or C."})
    _Place(system, stage, equipment, line, alarm).check()
    check_owner(owes, project=project, sites=[system.site_id])
    project.punch_count += 1
    project.save(update_fields=["punch_count"])
    now = timezone.now()
    item = PunchItem(
        project=project,
        number=project.punch_count,
        system=system,
        stage=stage,
        equipment=equipment,
        line=line,
        alarm=alarm,
        category=category,
        text=text,
        raised_by=actor,
        raised_at=not_later_than_now(at),
        owes=owes,
        owes_company=clean_company(owes_company),
        due_on=due_on,
        changed_at=now,
    )
    if id is not None:
        item.pk = id
    item.save(force_insert=True)
    add_step(item=item, step=RAISED, by=actor, at=item.raised_at, changes=_as_raised(item))
    tell_owner(item, by=actor, key=item.pk)
    if alarm and alarm.outcome == AlarmOutcome.UNEXPLAINED and access.role in WORKERS:
        decide_alarm(actor=actor, alarm=alarm, outcome=AlarmOutcome.GENUINE, explanation=f"Punch item {item.label}.")
    return item


def _as_raised(item: PunchItem) -> dict[str, Any]:
    """What the item said at first, kept on its first step."""
    return {
        "category": item.category,
        "text": item.text,
        "owes": owner_words(item.owes, item.owes_company),
        "due_on": date_words(item.due_on),
    }


def _same_as_raised(item: PunchItem, *, category: str, text: str) -> PunchItem:
    """A second send is compared with what was raised, since the item may have been changed in the meantime."""
    first = item.steps.get(step=RAISED).changes
    if (first["category"], first["text"]) != (category, text):
        raise Conflict("This was sent before with other content. Reload to see what is recorded, then record it anew.")
    return item


@state_change()
def change_item(
    *,
    actor: User,
    item: PunchItem,
    category: str | Keep = KEEP,
    text: str | Keep = KEEP,
    equipment: Equipment | Keep | None = KEEP,
    owes: User | Keep | None = KEEP,
    owes_company: str | Keep = KEEP,
    due_on: date | Keep | None = KEEP,
    reason: str = "",
    id: UUID | None = None,
) -> PunchItem:
    """Change what an item says; the history keeps what it said before. What is not named stays as it is.

    Lowering the category of an A or B item is a manager's decision and needs its reason.
    """
    item, system = lock_item(item)
    if already_made(ItemStep, id, item_id=item.pk, by_id=actor.pk, step=CHANGED):
        return item
    access = require(actor=actor, project=item.project, roles=EVERYONE, site=system.site_id, to="change a punch item")
    new_category = item.category if category is KEEP else category
    if new_category not in Category.values:
        raise InvalidInput({"category": "Choose A, B or C."})
    reason = clean_remark(reason, field="reason")
    if blockers := change_blockers(standing_of(item), person_of(access), category=new_category, reason=reason):
        raise Refused(blockers)
    before = _words_of(item)
    item.category = new_category
    if text is not KEEP:
        item.text = clean_text(text)
    if equipment is not KEEP:
        _Place(system, item.stage, equipment, None, None).check()
        item.equipment = equipment
    if owes is not KEEP:
        check_owner(owes, project=item.project, sites=[system.site_id])
        item.owes = owes
    if owes_company is not KEEP:
        item.owes_company = clean_company(owes_company)
    if due_on is not KEEP:
        item.due_on = due_on
    return _save_changes(actor=actor, item=item, before=before, reason=reason, id=id)


def _save_changes(*, actor: User, item: PunchItem, before: dict[str, str], reason: str, id: UUID | None) -> PunchItem:
    after = _words_of(item)
    changes = {name: [before[name], after[name]] for name in after if after[name] != before[name]}
    if not changes:
        return item
    item.changed_at = timezone.now()
    item.save(update_fields=["category", "text", "equipment", "owes", "owes_company", "due_on", "changed_at"])
    step = add_step(item=item, step=CHANGED, by=actor, at=item.changed_at, remark=reason, changes=changes, id=id)
    if "owes" in changes:
        tell_owner(item, by=actor, key=step.pk)
    return item


def _words_of(item: PunchItem) -> dict[str, str]:
    """What can be changed, in the words that the history shows."""
    return {
        "category": item.category,
        "text": item.text,
        "tag": item.equipment.tag if item.equipment else "",
        "owes": str(item.owes) if item.owes else "",
        "owes_company": item.owes_company,
        "due_on": date_words(item.due_on),
    }
