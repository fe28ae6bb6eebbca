"""What came from phones and was refused: a person's own, and for a manager everybody's."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404

from commissioning.models import OutboxItem, OutboxState
from commissioning.selectors.access import Access


def items_for(access: Access) -> QuerySet[OutboxItem]:
    """The person's own items; a manager's view holds those of every site that they manage."""
    rows = OutboxItem.objects.filter(project=access.project)
    if not access.is_manager:
        rows = rows.filter(by=access.user)
    elif access.site_ids is not None:
        rows = rows.filter(Q(by=access.user) | Q(system__site__in=access.site_ids))
    return rows.select_related("by", "system", "dropped_by")


def needing_somebody(access: Access) -> QuerySet[OutboxItem]:
    return items_for(access).filter(state=OutboxState.NEEDS_YOU)


def outbox_item_or_404(*, access: Access, id: UUID) -> OutboxItem:
    found = items_for(access).filter(pk=id).first()
    if found is None:
        raise Http404("There is no such item from a phone, or it is not yours to see.")
    return found
