"""What is on record about one piece of equipment."""

from __future__ import annotations

from django.db.models import QuerySet

from commissioning.models import CheckLine, Equipment, Reading, SignalPoint

LAST_READINGS = 10


def lines_on(equipment: Equipment) -> QuerySet[CheckLine]:
    """Check lines about this equipment, in the order of the stages."""
    rows = CheckLine.objects.filter(equipment=equipment, retired_at__isnull=True).select_related("stage", "done_by")
    return rows.defer("how", "accept", "caution", "inputs", "limits").order_by("stage__order", "order")


def readings_on(equipment: Equipment) -> QuerySet[Reading]:
    """The last readings that stand, newest first: taken on the equipment, or on a line about it."""
    rows = Reading.objects.filter(line__equipment=equipment) | Reading.objects.filter(equipment=equipment)
    rows = rows.filter(superseded_at__isnull=True, project=equipment.project_id).select_related("line", "by")
    return rows.defer("inputs").order_by("-taken_at")[:LAST_READINGS]


def signals_of(equipment: Equipment) -> QuerySet[SignalPoint]:
    """Signal points of the equipment."""
    return SignalPoint.objects.filter(equipment=equipment).order_by("order", "tag")
