"""Supplies, the log of their changes, and the permissions that name them."""

from __future__ import annotations

from datetime import datetime

from django.db.models import QuerySet

from commissioning.models import PermissionToEnergise, SupplyChange, SupplyPoint, System


def changes_of(*, supply: SupplyPoint | None = None, system: System | None = None) -> QuerySet[SupplyChange]:
    """Isolations and releases as they were recorded, newest first."""
    rows = SupplyChange.objects.select_related("supply", "by", "permission").defer("permission__signed_content")
    rows = rows.filter(supply=supply) if supply else rows.filter(supply__system=system)
    return rows.order_by("-recorded_at", "-id")


def permissions_of(system: System) -> QuerySet[PermissionToEnergise]:
    """Every permission of the system, newest first."""
    rows = PermissionToEnergise.objects.filter(system=system).select_related("stage").prefetch_related("supplies")
    return rows.defer("signed_content").order_by("-signed_at")


def permissions_for(*, supply: SupplyPoint, now: datetime) -> QuerySet[PermissionToEnergise]:
    """Permissions that name the supply and stand now."""
    rows = PermissionToEnergise.objects.filter(
        supplies=supply, withdrawn_at__isnull=True, valid_from__lte=now, valid_until__gt=now
    )
    return rows.select_related("stage").defer("signed_content").order_by("valid_until")
