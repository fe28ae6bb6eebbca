"""What the services of the punch list share: locking an item, its standing, its steps, and who may owe one."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime
from enum import Enum
from typing import Any, Final, Literal
from uuid import UUID

from django.utils import timezone

from commissioning.errors import InvalidInput
from commissioning.models import Membership, NoticeKind, Project, System, User
from commissioning.rules.gate_parts import ALARMS, ITEMS
from commissioning.selectors.access import Access
from commissioning.services.audit import record
from commissioning.services.locks import lock_system
from commissioning.services.notices import News, tell
from punchlist.models import ItemStep, PunchItem
from punchlist.rules.steps import RECTIFIED, ItemStanding, Person

TEXT_LIMIT = 4000
COMPANY_LIMIT = 120


class _Keep(Enum):
    KEEP = "keep"


#: "Leave it as it is", where None means "nobody" or "no date".
KEEP: Final = _Keep.KEEP
Keep = Literal[_Keep.KEEP]


def lock_item(item: PunchItem) -> tuple[PunchItem, System]:
    """The item as it stands now, with its system locked, so that a gate decides on facts that stand still."""
    system = lock_system(item.system_id)
    fresh = (
        PunchItem.objects.select_for_update(of=("self",), no_key=True)
        .select_related("equipment", "stage")
        .get(pk=item.pk)
    )
    fresh.system, fresh.project = system, system.project
    return fresh, system


def standing_of(item: PunchItem) -> ItemStanding:
    """The facts that the rules decide on, with everybody who ever recorded the item rectified."""
    rectifiers = item.steps.filter(step=RECTIFIED).values_list("by_id", flat=True)
    return standing_from(item, rectifiers=rectifiers)


def standing_from(item: PunchItem, *, rectifiers: Iterable[object]) -> ItemStanding:
    return ItemStanding(
        id=str(item.pk),
        label=item.label,
        where=item.equipment.tag if item.equipment else item.system.tag,
        category=item.category,
        state=item.state,
        raised_by=str(item.raised_by_id),
        owes=str(item.owes_id or ""),
        rectifiers=frozenset(str(person) for person in rectifiers),
    )


def person_of(access: Access) -> Person:
    return Person(user_id=str(access.user.pk), role=access.role)


def not_later_than_now(at: datetime | None) -> datetime:
    """When it was done by the person's clock; a clock that runs ahead is taken back to ours."""
    now = timezone.now()
    return min(at, now) if at else now


def add_step(
    *,
    item: PunchItem,
    step: str,
    by: User,
    at: datetime,
    remark: str = "",
    changes: Mapping[str, Any] | None = None,
    id: UUID | None = None,
) -> ItemStep:
    """Append one step to the item's life and one entry to the audit chain."""
    row = ItemStep(item=item, step=step, by=by, at=at, remark=remark, changes=dict(changes or {}))
    if id is not None:
        row.pk = id
    row.save(force_insert=True)
    record(
        project=item.project,
        actor=by,
        action=f"punch_item_{step}",
        touches={ITEMS, ALARMS} if item.alarm_id else {ITEMS},
        on=item,
        system=item.system_id,
        words=f"{item.label} {step.replace('_', ' ')}" + (f": {remark}" if remark else f": {item.text[:120]}"),
        data={"step": row.pk, "number": item.number, "category": item.category, "state": item.state, **row.changes},
    )
    return row


def clean_text(text: str) -> str:
    """The words of an item as they are kept, or InvalidInput for the field `text`."""
    text = text.replace("\r\n", "\n").strip()
    if not text:
        raise InvalidInput({"text": "Say what is wrong or undone, in a few words."})
    if "\x00" in text:
        raise InvalidInput({"text": "The text holds a character that cannot be kept. Type it anew."})
    if len(text) > TEXT_LIMIT:
        raise InvalidInput({"text": f"Keep it under {TEXT_LIMIT} characters; put the rest in a remark."})
    return text


def clean_remark(remark: str, *, field: str = "remark") -> str:
    remark = remark.replace("\r\n", "\n").strip()
    if len(remark) > TEXT_LIMIT or "\x00" in remark:
        raise InvalidInput({field: f"Keep it under {TEXT_LIMIT} characters of plain text."})
    return remark


def clean_company(company: str) -> str:
    company = company.strip()
    if len(company) > COMPANY_LIMIT or "\x00" in company:
        raise InvalidInput({"owes_company": f"Keep the company's name under {COMPANY_LIMIT} characters."})
    return company


def check_owner(owes: User | None, *, project: Project | UUID, sites: Collection[UUID]) -> None:
    """Who owes an item is a member of the project and sees every site concerned. Two queries at most."""
    if owes is None:
        return
    membership = Membership.objects.filter(user=owes, project=project, left_at__isnull=True).first()
    if membership is None:
        raise InvalidInput({"owes": "Choose somebody who is a member of this project."})
    if not membership.all_sites:
        seen = membership.sites.filter(pk__in=set(sites)).count()
        if seen < len(set(sites)):
            raise InvalidInput({"owes": f"{owes} is not a member at that site, and would not see the item."})


def tell_owner(item: PunchItem, *, by: User, key: object) -> None:
    """Whoever is to do it hears of it, unless they put their own name there."""
    if item.owes_id is None or item.owes_id == by.pk:
        return
    words = f"{item.label} is yours{f', due {item.due_on}' if item.due_on else ''}: {item.text[:160]}"
    news = News(NoticeKind.ASSIGNED, f"assigned:{key}", words, "item", item.pk, site=item.system.site_id)
    tell(news, project=item.project_id, people=[item.owes_id])


def owner_words(owes: User | None, company: str) -> str:
    """Who owes it, as the history says it."""
    return ", ".join(part for part in (str(owes) if owes else "", company) if part) or "nobody"


def date_words(day: date | None) -> str:
    return day.isoformat() if day else ""
