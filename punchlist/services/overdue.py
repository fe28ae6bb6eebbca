"""Punch items that are due or overdue: whoever owes them is told, and managers after the days that a project sets."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import Any, NamedTuple

from django.utils import timezone

from commissioning.models import Membership, NoticeKind, Project, Role
from commissioning.rules.gate_parts import NOTHING
from commissioning.services.audit import record
from commissioning.services.notices import News, listeners, write
from commissioning.services.once_a_day import is_done, last_before, local_time, take
from commissioning.services.state_change import state_change
from punchlist.models import STANDING_STATES, PunchItem

WHAT = "overdue"
#: People are told in the morning of their project's own day.
HOUR = 6
NAMED = 8


class Late(NamedTuple):
    """What is asked of an item here."""

    number: int
    owes: int | None
    site: Any
    due_on: date


def tell_overdue(now: datetime | None = None) -> int:
    """For each project whose day has begun and that was not seen to yet. Answers for how many it was done."""
    now = now or timezone.now()
    done = 0
    for project in Project.objects.order_by("pk"):
        local = local_time(project, now)
        if local.hour >= HOUR and not is_done(project=project, what=WHAT, day=local.date()):
            done += tell_project(project=project, today=local.date())
    return done


@state_change()
def tell_project(*, project: Project, today: date) -> bool:
    """Due tomorrow, newly overdue, and overdue for too long: told once, whatever else is told again."""
    if not take(project=project, what=WHAT, day=today):
        return False
    # Days on which nobody rang are made up for: what has crossed a line since the last time.
    since = last_before(project=project, what=WHAT, day=today) or date.min
    items = _dated(project, until=today + timedelta(days=1))
    owners = {one.user_id: one for one in listeners(project, kind=NoticeKind.DUE)}
    _tell_owners(owners, [one for one in items if one.due_on > today], "due tomorrow", key=f"due:{today}")
    fresh = [one for one in items if since <= one.due_on < today]
    _tell_owners(owners, fresh, "overdue", key=f"overdue:{today}")
    if (days := project.escalate_after_days) is not None:
        too_late = _crossed(items, since, today, days)
        _escalate(project, too_late, days, today)
    return True


def _crossed(items: Iterable[Late], since: date, today: date, days: int) -> list[Late]:
    """Items that are overdue for more than so many days today and were not when it was last looked."""
    allowed = timedelta(days=days)
    return [
        one for one in items if one.due_on < today - allowed and (since == date.min or one.due_on >= since - allowed)
    ]


def _dated(project: Project, *, until: date) -> list[Late]:
    rows = PunchItem.objects.filter(project=project, state__in=STANDING_STATES, due_on__lte=until)
    found = rows.order_by("number").values_list("number", "owes", "system__site", "due_on")
    return [Late(number, owes, site, due_on) for number, owes, site, due_on in found if due_on]


def _tell_owners(owners: dict[int, Membership], items: Iterable[Late], state: str, *, key: str) -> None:
    by_owner: dict[int, list[Late]] = defaultdict(list)
    for one in items:
        if one.owes in owners:
            by_owner[one.owes].append(one)
    notices = []
    for owner, mine in by_owner.items():
        words = f"{_named(mine)} {'are' if len(mine) > 1 else 'is'} {state}."
        notices.append(News(NoticeKind.DUE, key, words, "punch-list", "mine=true").notice(owners[owner].pk))
    write(notices)


def _escalate(project: Project, items: list[Late], days: int, today: date) -> None:
    """Managers hear of what stands at their sites; the audit log keeps what was escalated."""
    if not items:
        return
    managers = listeners(project, kind=NoticeKind.ESCALATED).filter(role=Role.MANAGER).prefetch_related("sites")
    notices = []
    for one in managers:
        sites = None if one.all_sites else {site.pk for site in one.sites.all()}
        theirs = [late for late in items if sites is None or late.site in sites]
        if theirs:
            words = f"{_named(theirs)} overdue for more than {days} day{'' if days == 1 else 's'}."
            news = News(NoticeKind.ESCALATED, f"escalated:{today}", words, "punch-list", "overdue=true")
            notices.append(news.notice(one.pk))
    write(notices)
    record(
        project=project,
        actor=None,
        action="punch_items_escalated",
        touches=NOTHING,
        on=project,
        words=f"Told the managers: {_named(items)} overdue for more than {days} days.",
        data={"items": [late.number for late in items], "days": days},
    )


def _named(items: list[Late]) -> str:
    """'P-3', 'P-3 and P-4', or how many with the first of them."""
    labels = [f"P-{one.number}" for one in items]
    if len(labels) == 1:
        return labels[0]
    if len(labels) <= NAMED:
        return f"{', '.join(labels[:-1])} and {labels[-1]}"
    return f"{len(labels)} punch items ({', '.join(labels[:NAMED])} …)"
