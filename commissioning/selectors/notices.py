"""A person's notices in a project: the newest first, by the key of the last one; how many are new."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce

from commissioning.models import Membership, Notice
from commissioning.selectors.access import Access

PAGE_SIZE = 40
#: A person sees what concerns sites that they see now, whatever they saw when it was told.
_SEES = Q(site__isnull=True) | Q(membership__all_sites=True)
_NAMED = Exists(Membership.sites.through.objects.filter(membership=OuterRef("membership"), site=OuterRef("site")))


def notices_for(access: Access) -> QuerySet[Notice]:
    return Notice.objects.filter(_SEES | Q(_NAMED), membership=access.membership).order_by("-pk")


def page_of(access: Access, *, before: UUID | None = None) -> tuple[list[Notice], UUID | None]:
    """A page, and the key that the next one begins after."""
    found = notices_for(access)
    if before is not None:
        found = found.filter(pk__lt=before)
    rows = list(found[: PAGE_SIZE + 1])
    return rows[:PAGE_SIZE], rows[PAGE_SIZE - 1].pk if len(rows) > PAGE_SIZE else None


def unseen_of(membership: Membership, *, since: datetime) -> QuerySet[Notice]:
    """What a person was told since then and has not looked at, the newest first."""
    found = Notice.objects.filter(_SEES | Q(_NAMED), membership=membership, seen_at__isnull=True, made_at__gt=since)
    return found.select_related("membership__project").order_by("-pk")


def with_unseen(memberships: QuerySet[Membership]) -> QuerySet[Membership]:
    """Each membership with `unseen`, the number of its new notices, within the same query."""
    unseen = Notice.objects.filter(_SEES | Q(_NAMED), membership=OuterRef("pk"), seen_at__isnull=True)
    counted = unseen.order_by().values("membership").annotate(many=Count("pk")).values("many")
    return memberships.annotate(unseen=Coalesce(Subquery(counted), 0))
