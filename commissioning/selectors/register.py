"""What the register page shows, and stages that wait for others."""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404

from commissioning.models import Equipment, Reading, SignalPoint, StageDependency, SupplyPoint, System
from commissioning.selectors.access import Access, equipment_for, sites_for, systems_for


def register_counts(access: Access) -> list[tuple[str, int]]:
    """How much is recorded of each kind, as far as the person sees it; one query each."""
    of_system = {"system__in": systems_for(access)}
    return [
        ("sites", sites_for(access).count()),
        ("systems", systems_for(access).count()),
        ("pieces of equipment", equipment_for(access).count()),
        ("supply points", SupplyPoint.objects.filter(**of_system).count()),
        ("signal points", SignalPoint.objects.filter(**of_system).count()),
        ("instruments", access.project.instruments.count()),
    ]


def dependencies_of(system: System) -> QuerySet[StageDependency]:
    """What the stages of a system wait for."""
    rows = StageDependency.objects.filter(stage__system=system)
    return rows.select_related("stage__system", "requires__system").order_by("stage__order", "requires__system__tag")


def dependencies_for(access: Access) -> QuerySet[StageDependency]:
    """Every dependency of the stages that the person sees."""
    rows = StageDependency.objects.filter(access.limit("stage__system__site"), stage__system__project=access.project)
    return rows.select_related("stage__system", "requires__system")


def dependency_or_404(*, access: Access, id: UUID) -> StageDependency:
    found = dependencies_for(access).filter(pk=id).first()
    if found is None:
        raise Http404("There is no such dependency.")
    return found


def equipment_tags(access: Access, *, system: System | None, most: int) -> list[str]:
    """Tags of equipment for a list that opens while typing."""
    rows: QuerySet[Equipment] = equipment_for(access)
    return list((rows.filter(system=system) if system else rows).order_by("tag").values_list("tag", flat=True)[:most])


def has_standing_readings(system_id: UUID) -> bool:
    """Whether a reading of the system stands, which a changed nameplate may turn."""
    return Reading.objects.filter(system=system_id, superseded_at__isnull=True).exists()
