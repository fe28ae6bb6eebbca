"""One mail a day to each member, at the hour and by the clock that they chose: what they owe and what is new.

What was switched off is left out, and where nothing is left no mail goes. A person's turn on a day is a row of
`once_a_day`, written in the transaction of the mail: two schedulers write one mail.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils import timezone
from django.utils.module_loading import import_string

from commissioning.models import DoneToday, Membership, Notice, Project
from commissioning.models.mails import MORNING
from commissioning.rules.notices import DAILY
from commissioning.selectors.notices import unseen_of
from commissioning.services.once_a_day import site_zone, take
from commissioning.services.outgoing import address, write_mail
from commissioning.services.state_change import state_change

#: So many lines of a part stand in the mail; the rest is a number and a link.
SHOWN = 20


@dataclass(frozen=True, slots=True)
class Owed:
    """What somebody owes: the words, since or until when, and its page."""

    words: str
    due_on: date
    url: str


#: What members owe in a room: `(membership, until) -> what is due by then`, the oldest first. Named in OWED_SOURCES.
OwedSource = Callable[[Membership, date], list[Owed]]


def write_daily(now: datetime | None = None) -> int:
    """For each member whose hour has come and whose turn was not taken yet. Answers how many mails were written."""
    now = now or timezone.now()
    written = 0
    for project in Project.objects.order_by("pk"):
        for membership, local in _turns(project, now):
            written += write_for(membership=membership, local=local)
    return written


@state_change()
def write_for(*, membership: Membership, local: datetime) -> bool:
    """The mail of this day, if it is still to be written and there is something to say."""
    today, what = local.date(), _what(membership)
    before = _last_turn(membership.project, what, today)
    if not take(project=membership.project, what=what, day=today, at=local):
        return False
    off = {row.kind for row in membership.notices_off.all()}
    owed = [] if "mail_due" in off else _owed(membership, today + timedelta(days=1))
    since = before or local - timedelta(days=1)
    news = [] if "mail_news" in off else list(unseen_of(membership, since=since)[: SHOWN + 1])
    if not owed and not news:
        return False
    context = {
        "day": today,
        "overdue": [one for one in owed if one.due_on < today][:SHOWN],
        "due": [one for one in owed if one.due_on >= today][:SHOWN],
        "owed_more": len(owed) > SHOWN,
        "news": [_line(one, local.tzinfo) for one in news[:SHOWN]],
        "news_more": len(news) > SHOWN,
        "zone": str(local.tzinfo),
        "notices_url": address("notices", membership.project.code),
    }
    write_mail(membership=membership, kind="daily", key=f"daily:{today}", template="daily", context=context)
    return True


def clock_of(membership: Membership) -> tuple[ZoneInfo, int]:
    """The zone and the hour of a person's mail: their own choice, else the project's zone in the morning."""
    clock = getattr(membership.user, "clock", None)
    return (
        site_zone(clock.time_zone if clock else "", membership.project.time_zone),
        clock.hour if clock else MORNING,
    )


def _turns(project: Project, now: datetime) -> Iterator[tuple[Membership, datetime]]:
    """Members whose hour has come on their own day: a fixed number of queries for a project."""
    members = Membership.objects.filter(project=project, left_at__isnull=True, user__is_active=True)
    members = members.exclude(user__email="").select_related("project", "user__clock").prefetch_related("notices_off")
    around = [now.date() + timedelta(days=days) for days in (-1, 0, 1)]
    done = set(DoneToday.objects.filter(project=project, day__in=around).values_list("what", "day"))
    for membership in members.order_by("pk"):
        zone, hour = clock_of(membership)
        local = now.astimezone(zone)
        wants = set(DAILY) - {row.kind for row in membership.notices_off.all()}
        if wants and local.hour >= hour and (_what(membership), local.date()) not in done:
            yield membership, local


def _what(membership: Membership) -> str:
    return f"mail:{membership.pk}"


def _last_turn(project: Project, what: str, today: date) -> datetime | None:
    found = DoneToday.objects.filter(project=project, what=what, day__lt=today).order_by("-day")
    return found.values_list("done_at", flat=True).first()


def _owed(membership: Membership, until: date) -> list[Owed]:
    sources: list[OwedSource] = [import_string(path) for path in settings.OWED_SOURCES]
    return sorted((one for source in sources for one in source(membership, until)), key=lambda one: one.due_on)


def _line(notice: Notice, zone: object) -> dict[str, object]:
    at = notice.made_at.astimezone(zone)  # type: ignore[arg-type]
    return {"at": f"{at:%Y-%m-%d %H:%M}", "words": notice.words, "url": address("notice", *_key(notice))}


def _key(notice: Notice) -> tuple[str, object]:
    return notice.membership.project.code, notice.pk
