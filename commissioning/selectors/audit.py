"""The audit log as a manager looks through it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from commissioning.models import AuditChain, AuditEntry, Project
from commissioning.selectors.access import Access, systems_for
from commissioning.services.audit import first_broken_link

#: The filter's word for entries that nobody made by hand.
PRODUCT = "product"


def entries_of(access: Access) -> QuerySet[AuditEntry]:
    """Every entry of the project; a manager of some sites sees those of these sites' systems."""
    rows = AuditEntry.objects.filter(project=access.project)
    if access.site_ids is not None:
        rows = rows.filter(system_id__in=systems_for(access).values("pk"))
    return rows.order_by("-sequence")


def entries_wanted(*, access: Access, given: Mapping[str, Any]) -> QuerySet[AuditEntry]:
    """The entries that the filter asks for, newest first."""
    rows = entries_of(access)
    if who := given.get("who"):
        rows = rows.filter(actor__isnull=True) if who == PRODUCT else rows.filter(actor=who)
    if tag := given.get("system"):
        rows = rows.filter(system_id__in=systems_for(access).filter(tag__iexact=tag.strip()).values("pk"))
    if action := given.get("action"):
        rows = rows.filter(action=action)
    if since := given.get("since"):
        rows = rows.filter(at__gte=_moment(since, time.min))
    if until := given.get("until"):
        rows = rows.filter(at__lte=_moment(until, time.max))
    for word in given.get("q", "").split():
        rows = rows.filter(words__icontains=word)
    return rows


def _moment(day: Any, at: time) -> datetime:
    return timezone.make_aware(datetime.combine(day, at))


def actions_of(access: Access) -> list[str]:
    """Kinds of entries that there are."""
    return sorted(entries_of(access).order_by().values_list("action", flat=True).distinct())


@dataclass(frozen=True, slots=True)
class ChainStanding:
    """What a walk over the chain came to."""

    entries: int
    last_hash: str
    broken: AuditEntry | None  # the first entry that is not what was written, or does not follow the one before it
    cut_off: bool  # entries at the end are missing: the head of the chain is bound to one that is not there

    @property
    def holds(self) -> bool:
        return self.broken is None and not self.cut_off


def chain_standing(project: Project) -> ChainStanding:
    """Walk the whole chain, and compare its end with its head."""
    chain = AuditChain.objects.filter(project=project).first()
    broken = first_broken_link(project)
    last = AuditEntry.objects.filter(project=project).order_by("-sequence").first()
    entries, last_hash = (chain.last_sequence, chain.last_hash) if chain else (0, "0" * 64)
    found = (last.sequence, last.hash) if last else (0, "0" * 64)
    return ChainStanding(entries, last_hash, broken, cut_off=broken is None and found != (entries, last_hash))
