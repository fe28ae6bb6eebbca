"""What the invited party of a hold or witness point is told: under the bell, and by mail with a calendar file."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.core import signing
from django.db.models import Q

from commissioning.models import Membership, NoticeKind, Role, System, User, WitnessNotice
from commissioning.services.notices import News, listeners, tell
from commissioning.services.once_a_day import site_zone
from commissioning.services.outgoing import address, write_mail
from commissioning.services.witness_calendar import CANCEL, REQUEST, calendar_of

_SALT = "answer a witness notice"


def tell_party(notice: WitnessNotice, *, system: System, but: User, moved_from: WitnessNotice | None = None) -> None:
    """They are invited, or invited for another time."""
    at = local_words(notice.planned_for, system)
    if moved_from:
        said = f"{system.tag}: to witness '{notice.line.title}' is moved to {at}."
    else:
        said = f"{system.tag}: you are invited to witness '{notice.line.title}' at {at}."
    _tell(notice, said, f"witness:{notice.pk}", system=system, but=but)
    _mail(notice, REQUEST, system=system, but=but, said=said)


def tell_cancelled(notice: WitnessNotice, *, system: System, but: User) -> None:
    """They need not come."""
    at = local_words(notice.planned_for, system)
    said = f"{system.tag}: to witness '{notice.line.title}' at {at} is cancelled: {notice.withdrawn_reason}"
    _tell(notice, said, f"witness-off:{notice.pk}", system=system, but=but)
    _mail(notice, CANCEL, system=system, but=but, said=said)


def local_words(at: datetime, system: System) -> str:
    """A moment by the clock of the site, with its zone."""
    zone = site_zone(system.site.time_zone, system.project.time_zone)
    return f"{at.astimezone(zone):%Y-%m-%d %H:%M} ({zone.key})"


def party_of(notice: WitnessNotice, *, system: System, kind: str) -> list[Membership]:
    """Members of the named party who see the site and want to hear of it."""
    found = listeners(system.project_id, kind=kind).filter(role=notice.line.party or Role.CLIENT)
    found = found.filter(Q(all_sites=True) | Q(sites=system.site_id)).distinct()
    return list(found.select_related("user", "project").order_by("pk"))


def answer_link(notice: WitnessNotice, membership: Membership) -> str:
    """The link by which this person answers this notice, and does nothing else, without signing in."""
    token = signing.dumps([str(notice.pk), str(membership.pk)], salt=_SALT, compress=True)
    return address("witness-answer", token)


def named_by(token: str) -> tuple[UUID, UUID] | None:
    """Notice and membership that a link names; None where it was not made here."""
    try:
        notice, membership = signing.loads(token, salt=_SALT)
        return UUID(notice), UUID(membership)
    except (signing.BadSignature, ValueError, TypeError):
        return None


def _tell(notice: WitnessNotice, said: str, key: str, *, system: System, but: User) -> None:
    news = News(NoticeKind.WITNESS, key, said, "witness-notice", notice.pk, site=system.site_id)
    tell(news, project=system.project_id, roles=[notice.line.party or Role.CLIENT], but=but)


def _mail(notice: WitnessNotice, method: str, *, system: System, but: User, said: str) -> None:
    for membership in party_of(notice, system=system, kind="mail_witness"):
        if membership.user_id == but.pk:
            continue
        link = answer_link(notice, membership)
        calendar = calendar_of(notice, system=system, to=membership.user, method=method, link=link)
        context = {
            "said": said,
            "cancelled": method == CANCEL,
            "notice": notice,
            "at": local_words(notice.planned_for, system),
            "system": system,
            "link": link,
        }
        write_mail(
            membership=membership,
            kind="mail_witness",
            key=f"witness:{notice.first}:{notice.sequence + (method == CANCEL)}",
            template="witness",
            context=context,
            calendar=(method, calendar),
        )
