"""What members are told in the product. Services tell it where it happens, in the transaction of the change itself.

Nothing anybody answers for: the change that is told of stands in the audit log, the telling does not.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet
from django.utils import timezone

from commissioning.errors import InvalidInput
from commissioning.models import Membership, Notice, NoticeOff, PersonalClock, Project, User
from commissioning.rules.notices import ALL_SWITCHES
from commissioning.services.once_a_day import zone_is_known

#: Notices are no record: they go after this time, seen or not.
KEPT = timedelta(days=120)
WORDS = 300


@dataclass(frozen=True, slots=True)
class News:
    """What is told: its kind, the words, where they lead, and what makes it one and the same thing."""

    kind: str
    key: str
    words: str
    link: str  # a kind of record (views/links.py) or the URL name of a page of the project
    id: str | UUID = ""  # the record's key, or what the page's address asks for
    site: UUID | None = None

    def notice(self, membership: UUID) -> Notice:
        words = self.words if len(self.words) <= WORDS else f"{self.words[: WORDS - 2]} …"
        return Notice(
            membership_id=membership,
            kind=self.kind,
            key=self.key,
            words=words,
            site_id=self.site,
            link_kind=self.link,
            link_id=str(self.id),
        )


def tell(
    news: News,
    *,
    project: Project | UUID,
    people: Collection[int] | None = None,
    roles: Collection[str] | None = None,
    but: User | None = None,
) -> None:
    """Tell those members (by person or role, else all) who see the site and did not switch the kind off.

    Whoever did it knows already (`but`). Told again under the same key, they have it once. Two queries.
    """
    found = listeners(project, kind=news.kind)
    if people is not None:
        found = found.filter(user_id__in=people)
    if roles is not None:
        found = found.filter(role__in=roles)
    if but is not None:
        found = found.exclude(user=but)
    if news.site is not None:
        found = found.filter(Q(all_sites=True) | Q(sites=news.site))
    write(news.notice(membership) for membership in found.values_list("pk", flat=True))


def listeners(project: Project | UUID, *, kind: str) -> QuerySet[Membership]:
    """Members of the project who want to hear of this."""
    project_id = project if isinstance(project, UUID) else project.pk
    return Membership.objects.filter(project_id=project_id, left_at__isnull=True, user__is_active=True).exclude(
        notices_off__kind=kind
    )


def write(notices: Iterable[Notice]) -> None:
    """Keep the notices; one that is there already stays as it is."""
    Notice.objects.bulk_create(notices, ignore_conflicts=True, batch_size=500)


def look_at(*, membership: Membership, id: UUID, at: datetime | None = None) -> Notice | None:
    """A person follows one of their notices: it is seen from then on."""
    notice = Notice.objects.filter(membership=membership, pk=id).first()
    if notice is not None and notice.seen_at is None:
        notice.seen_at = at or timezone.now()
        notice.save(update_fields=["seen_at"])
    return notice


def look_at_all(*, membership: Membership, newest: UUID | None = None) -> int:
    """All of them are seen, up to the newest that stood on the page; what came since stays new."""
    unseen = Notice.objects.filter(membership=membership, seen_at__isnull=True)
    if newest is not None:
        unseen = unseen.filter(pk__lte=newest)
    return unseen.update(seen_at=timezone.now())


def choose(*, membership: Membership, wanted: Collection[str]) -> None:
    """What a person wants to hear of from this project; the rest is switched off."""
    off = set(ALL_SWITCHES) - set(wanted)
    membership.notices_off.exclude(kind__in=off).delete()
    NoticeOff.objects.bulk_create(
        [NoticeOff(membership=membership, kind=kind) for kind in sorted(off)], ignore_conflicts=True
    )


def switch_off(*, membership: Membership, kinds: Collection[str]) -> None:
    """These as well: what a link in a mail does."""
    NoticeOff.objects.bulk_create(
        [NoticeOff(membership=membership, kind=kind) for kind in sorted(kinds)], ignore_conflicts=True
    )


def set_clock(*, user: User, time_zone: str, hour: int) -> None:
    """By which clock and at which hour mail reaches a person, in all their projects."""
    problems = {}
    if time_zone and not zone_is_known(time_zone):
        problems["time_zone"] = "Name a time zone such as Europe/London or UTC, or leave it empty."
    if not 0 <= hour <= 23:
        problems["hour"] = "Write a whole hour, 0 to 23."
    if problems:
        raise InvalidInput(problems)
    PersonalClock.objects.update_or_create(user=user, defaults={"time_zone": time_zone, "hour": hour})


def switched_off(membership: Membership) -> set[str]:
    return set(membership.notices_off.values_list("kind", flat=True))


def drop_old(now: datetime | None = None) -> int:
    """Forget notices that are older than anybody reads."""
    gone: tuple[int, dict[str, Any]] = Notice.objects.filter(made_at__lt=(now or timezone.now()) - KEPT).delete()
    return gone[0]
