"""Open punch items for the phone; named in TAKE_ALONG_SOURCES."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from typing import Any
from uuid import UUID

from django.db.models import Count, Q

from punchlist.models import STANDING_STATES, PunchItem


def open_items(system_ids: Collection[UUID]) -> dict[UUID, list[dict[str, Any]]]:
    """Items of these systems that are not closed, by system, category and number; one query."""
    rows = PunchItem.objects.filter(system__in=system_ids, state__in=STANDING_STATES)
    rows = rows.select_related("equipment", "owes", "raised_by", "system")
    rows = rows.annotate(photo_count=Count("photos", filter=Q(photos__withdrawn_at__isnull=True)))
    found: dict[UUID, list[dict[str, Any]]] = defaultdict(list)
    for item in rows.order_by("category", "number"):
        found[item.system_id].append(_item(item))
    return found


def _item(item: Any) -> dict[str, Any]:
    return {
        "id": item.pk, "label": item.label, "number": item.number, "category": item.category, "state": item.state,
        "state_words": item.get_state_display(), "text": item.text, "stage": item.stage_id, "line": item.line_id,
        "tag": item.equipment.tag if item.equipment else item.system.tag, "equipment": item.equipment_id,
        "raised_by": str(item.raised_by), "raised_at": item.raised_at,
        "owes": str(item.owes) if item.owes else item.owes_company, "due_on": item.due_on, "photos": item.photo_count,
    }  # fmt: skip
