"""What the punch list tells a forecast and the curves: which items stand, and when they were raised and closed.

Named in ITEM_HISTORIES.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from itertools import pairwise
from uuid import UUID

from django.db.models import Count, Exists, OuterRef, Q, QuerySet, Subquery, Value
from django.db.models.functions import Coalesce, NullIf

from commissioning.models import Membership
from commissioning.selectors.access import Access
from commissioning.selectors.worked import ItemLife, StandingItems
from punchlist.models import STANDING_STATES, Category, ItemStep, PunchItem
from punchlist.rules.steps import RECTIFIED, REOPENED, SENT_BACK
from punchlist.selectors.items import items_for


def standing(system_ids: Collection[UUID]) -> list[StandingItems]:
    """How many items stand, by system, stage and category."""
    rows = PunchItem.objects.filter(system__in=system_ids, state__in=STANDING_STATES).order_by()
    found = rows.values_list("system_id", "stage__order", "category").annotate(count=Count("pk"))
    return [StandingItems(*row) for row in found]


def lives(system_ids: Collection[UUID], since: datetime) -> Iterable[ItemLife]:
    """When each item that can hold a gate was raised, and closed, since then."""
    rows = PunchItem.objects.filter(system__in=system_ids, raised_at__gte=since).exclude(category=Category.C)
    found = rows.order_by("raised_at").values_list("system_id", "stage__order", "category", "raised_at", "closed_at")
    return [ItemLife(*row) for row in found.iterator(chunk_size=5000)]


def by_week(*, access: Access, site: UUID | None, bounds: Sequence[datetime]) -> list[tuple[int, int]]:
    """How many items were raised and closed between one bound and the next. One that is open again was not closed."""
    spans = list(pairwise(bounds))
    counts = {}
    for name in ("raised", "closed"):
        for at, (start, end) in enumerate(spans):
            inside = Q(**{f"{name}_at__gte": start, f"{name}_at__lt": end})
            counts[f"{name}_{at}"] = Count("pk", filter=inside)
    rows = _seen(access, site).filter(Q(raised_at__gte=bounds[0]) | Q(closed_at__gte=bounds[0]))
    found = rows.aggregate(**counts)
    return [(found[f"raised_{at}"], found[f"closed_{at}"]) for at in range(len(spans))]


def ages(*, access: Access, site: UUID | None, bounds: Sequence[datetime]) -> list[dict[str, int]]:
    """How many items stand by category: raised after the first bound, between it and the next, …, before the last."""
    edges = [None, *bounds, None]
    counts = {}
    for at, (end, start) in enumerate(pairwise(edges)):
        inside = Q()
        if start:
            inside &= Q(raised_at__gte=start)
        if end:
            inside &= Q(raised_at__lt=end)
        counts[f"age_{at}"] = Count("pk", filter=inside)
    rows = _seen(access, site).filter(state__in=STANDING_STATES).order_by().values("category").annotate(**counts)
    found: list[dict[str, int]] = [{} for _ in range(len(bounds) + 1)]
    for category, *several in rows.values_list("category", *counts):
        for one, count in zip(found, several, strict=True):
            one[category] = count
    return found


def returns(*, access: Access, kind: str) -> list[tuple[str, int, int]]:
    """For each company that owed items on systems of a kind: how many were recorded rectified, and came back.

    The company is the one that the item names, else that of the person who owes it, else that of who rectified it.
    """
    steps = ItemStep.objects.filter(item=OuterRef("pk")).order_by()
    rectified = steps.filter(step=RECTIFIED)
    members = Membership.objects.filter(project=access.project).exclude(company="").order_by()
    owing = members.filter(user=OuterRef("owes")).values("company")[:1]
    of_step = members.filter(user=OuterRef("by")).values("company")[:1]
    rectifying = rectified.annotate(company=Subquery(of_step)).order_by("-at").values("company")
    rows = items_for(access).filter(Exists(rectified), system__kind=kind).order_by()
    rows = rows.annotate(
        company=Coalesce(NullIf("owes_company", Value("")), Subquery(owing), Subquery(rectifying[:1]), Value("")),
        back=Exists(steps.filter(step__in=(SENT_BACK, REOPENED))),
    )
    found = (
        rows.exclude(company="")
        .values_list("company")
        .annotate(count=Count("pk"), returned=Count("pk", filter=Q(back=True)))
    )
    return list(found.order_by("company"))


def _seen(access: Access, site: UUID | None) -> QuerySet[PunchItem]:
    rows = items_for(access)
    return rows.filter(system__site=site) if site else rows


class _History:
    standing = staticmethod(standing)
    lives = staticmethod(lives)
    by_week = staticmethod(by_week)
    ages = staticmethod(ages)
    returns = staticmethod(returns)


HISTORY = _History()
