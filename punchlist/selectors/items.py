"""Reads of punch items: the list, one item with its whole life, and what is counted."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Count, F, IntegerField, OuterRef, Prefetch, Q, QuerySet, Subquery
from django.db.models.functions import Coalesce
from django.http import Http404
from django.utils import timezone

from commissioning.models import Membership
from commissioning.selectors.access import Access
from punchlist.models import STANDING_STATES, Category, ItemState, Photo, PunchItem, SavedView
from punchlist.rules.steps import RECTIFIED, ItemStanding, Step, open_steps
from punchlist.services.common import person_of, standing_from


def items_for(access: Access) -> QuerySet[PunchItem]:
    """Every item that the person may see."""
    return PunchItem.objects.filter(access.limit("system__site"), project=access.project)


def rows_for(access: Access) -> QuerySet[PunchItem]:
    """The same with all that a row of the list shows, in one query."""
    photos = (
        Photo.objects.filter(item=OuterRef("pk"), withdrawn_at__isnull=True)
        .order_by()
        .values("item")
        .annotate(n=Count("*"))
        .values("n")
    )
    return (
        items_for(access)
        .select_related("system__site", "stage", "equipment", "owes", "raised_by")
        .annotate(photo_count=Coalesce(Subquery(photos, output_field=IntegerField()), 0))
    )


def item_or_404(access: Access, *, number: int | None = None, id: UUID | None = None) -> PunchItem:
    """One item with its place and people; a stranger to its site finds nothing."""
    wanted = {"pk": id} if id is not None else {"number": number}
    item = (
        items_for(access)
        .select_related(
            "project",
            "system__site__project",
            "stage",
            "equipment",
            "line",
            "alarm",
            "owes",
            "raised_by",
            "rectified_by",
            "closed_by",
        )
        .prefetch_related("steps__by", Prefetch("photos", Photo.objects.select_related("taken_by", "withdrawn_by")))
        .filter(**wanted)
        .first()
    )
    if item is None:
        raise Http404("There is no such punch item, or it is at a site that you do not see.")
    return item


def photo_or_404(access: Access, *, id: UUID) -> Photo:
    """A photo; one that was withdrawn is looked at by a manager only."""
    rows = Photo.objects.filter(access.limit("item__system__site"), item__project=access.project, pk=id)
    photo = rows.select_related("item__system__site__project", "item__stage", "item__equipment").first()
    if photo is None or (photo.withdrawn_at and not access.is_manager):
        raise Http404("There is no such photo, or it is at a site that you do not see.")
    return photo


def standing(item: PunchItem) -> ItemStanding:
    """What the rules need, from an item whose steps are loaded: no further query."""
    return standing_from(item, rectifiers=[step.by_id for step in item.steps.all() if step.step == RECTIFIED])


def steps_open_to(access: Access, item: PunchItem) -> tuple[Step, ...]:
    """What this person could do next with the item."""
    return open_steps(standing(item), person_of(access))


def counts_for(access: Access) -> dict[str, int]:
    """Standing items by category, mine and everybody's, what waits to be closed and what is overdue: one query."""
    mine = Q(owes=access.user, state__in=(ItemState.OPEN, ItemState.SENT_BACK))
    wanted: dict[str, Any] = {name.lower(): Count("pk", filter=Q(category=name)) for name in Category.values}
    wanted |= {f"mine_{name.lower()}": Count("pk", filter=mine & Q(category=name)) for name in Category.values}
    return (
        items_for(access)
        .filter(state__in=STANDING_STATES)
        .aggregate(
            **wanted,
            mine=Count("pk", filter=mine),
            rectified=Count("pk", filter=Q(state=ItemState.RECTIFIED)),
            overdue=Count("pk", filter=Q(due_on__lt=timezone.localdate())),
            standing=Count("pk"),
        )
    )


def members_for(access: Access) -> QuerySet[Membership]:
    """Who can owe an item."""
    return (
        Membership.objects.filter(project=access.project, left_at__isnull=True)
        .select_related("user")
        .order_by("user__name", "user__username")
    )


def views_for(access: Access) -> QuerySet[SavedView]:
    """Saved views: one's own and those kept for everybody."""
    return (
        SavedView.objects.filter(Q(owner=access.user) | Q(shared=True), project=access.project)
        .select_related("owner")
        .order_by(F("shared").asc(), "name")
    )
