"""The register by hand: sites, systems, equipment, supply points, signal points and dependencies added and changed."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api import projects, signals, supplies, systems
from commissioning.api.base import DeedView, ListView, ProjectView
from commissioning.api.filters import site_filter, system_filter
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.projects import SiteSerializer
from commissioning.api.shapes.records import SignalSerializer, SupplySerializer
from commissioning.api.shapes.register_places import (
    ChangeEquipmentSerializer,
    ChangeSignalSerializer,
    ChangeSiteSerializer,
    ChangeSupplySerializer,
    ChangeSystemSerializer,
    DependencySerializer,
    NewDependencySerializer,
    NewEquipmentSerializer,
    NewSignalSerializer,
    NewSiteSerializer,
    NewSupplySerializer,
    NewSystemSerializer,
)
from commissioning.api.shapes.systems import (
    EquipmentSerializer,
    SystemSerializer,
    WholeEquipmentSerializer,
    WholeSystemSerializer,
)
from commissioning.models import Equipment, SignalPoint, Site, Stage, StageDependency, SupplyPoint, System
from commissioning.selectors.access import equipment_for, sites_for, systems_for
from commissioning.selectors.register import dependencies_for, dependency_or_404
from commissioning.selectors.signals import point_or_404
from commissioning.selectors.system import equipment_or_404, supply_or_404, system_or_404
from commissioning.services import register


def _named(view: ProjectView, given: dict[str, Any], field: str, rows: QuerySet[Any]) -> None:
    """The record that the body names by its key, in the place of the key."""
    if given.get(field) is not None:
        given[field] = view.named(rows, given[field], field=field)


class Sites(projects.Sites):
    """The sites of a project."""

    @creates("sites_create", NewSiteSerializer, SiteSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Add a site. A manager's decision."""
        given = self.parsed(NewSiteSerializer)
        words = {"id": given.pop("id", None), "actor": self.actor, "project": self.access.project, **given}
        return self.create(register.create_site, model=Site, shape=SiteSerializer, **words)


class OneSite(projects.OneSite):
    """A site."""

    @operation("sites_change", SiteSerializer, request=ChangeSiteSerializer)
    def patch(self, request: Request, code: str, id: UUID) -> Response:
        """Change what a site is called, its zone or its notes. A manager's decision."""
        site = self.one(sites_for(self.access), id)
        register.change_site(actor=self.actor, site=site, **self.parsed(ChangeSiteSerializer))
        return self.get(request, code=code, id=id)


class Systems(systems.Systems):
    """The systems of a project."""

    @creates("systems_create", NewSystemSerializer, SystemSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Add a system with the stages of its kind. A manager's decision."""
        given = self.parsed(NewSystemSerializer)
        _named(self, given, "site", sites_for(self.access))
        return self.create(
            register.create_system,
            model=System,
            shape=SystemSerializer,
            then=lambda made: system_or_404(access=self.access, id=made.pk),
            id=given.pop("id", None),
            actor=self.actor,
            **given,
        )


class OneSystem(systems.OneSystem):
    """A system as a whole."""

    @operation("systems_change", WholeSystemSerializer, request=ChangeSystemSerializer)
    def patch(self, request: Request, code: str, id: UUID) -> Response:
        """Change what a system is called, where it stands or its nameplate, which has its readings verified again."""
        system, given = system_or_404(access=self.access, id=id), self.parsed(ChangeSystemSerializer)
        _named(self, given, "site", sites_for(self.access))
        register.change_system(actor=self.actor, system=system, **given)
        return self.get(request, code=code, id=id)


class EquipmentList(systems.EquipmentList):
    """What is tagged in a project."""

    @creates("equipment_create", NewEquipmentSerializer, EquipmentSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Add equipment to a system."""
        given = self.parsed(NewEquipmentSerializer)
        _named(self, given, "system", systems_for(self.access))
        _named(self, given, "parent", equipment_for(self.access))
        return self.create(
            register.create_equipment,
            model=Equipment,
            shape=EquipmentSerializer,
            then=lambda made: equipment_or_404(access=self.access, id=made.pk),
            id=given.pop("id", None),
            actor=self.actor,
            **given,
        )


class OneEquipment(systems.OneEquipment):
    """A tag."""

    @operation("equipment_change", WholeEquipmentSerializer, request=ChangeEquipmentSerializer)
    def patch(self, request: Request, code: str, id: UUID) -> Response:
        """Change what is recorded of a tag; a changed nameplate has the system's readings verified again."""
        equipment, given = equipment_or_404(access=self.access, id=id), self.parsed(ChangeEquipmentSerializer)
        _named(self, given, "parent", equipment_for(self.access))
        register.change_equipment(actor=self.actor, equipment=equipment, **given)
        return self.get(request, code=code, id=id)


class Supplies(supplies.Supplies):
    """The ways in for energy."""

    @creates("supplies_create", NewSupplySerializer, SupplySerializer)
    def post(self, request: Request, code: str) -> Response:
        """Add a way in for energy. It starts as not recorded: treat as LIVE."""
        given = self.parsed(NewSupplySerializer)
        _named(self, given, "system", systems_for(self.access))
        return self.create(
            register.create_supply_point,
            model=SupplyPoint,
            shape=SupplySerializer,
            then=lambda made: supply_or_404(access=self.access, id=made.pk),
            id=given.pop("id", None),
            actor=self.actor,
            **given,
        )


class OneSupply(supplies.OneSupply):
    """A supply."""

    @operation("supplies_change", SupplySerializer, request=ChangeSupplySerializer)
    def patch(self, request: Request, code: str, id: UUID) -> Response:
        """Change what a supply is called. What is recorded of its isolation stays, and proves nothing."""
        supply = supply_or_404(access=self.access, id=id)
        register.change_supply_point(actor=self.actor, supply=supply, **self.parsed(ChangeSupplySerializer))
        return self.get(request, code=code, id=id)


class Signals(signals.Signals):
    """Signal points."""

    @creates("signals_create", NewSignalSerializer, SignalSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Add a signal to be proved end to end."""
        given = self.parsed(NewSignalSerializer)
        _named(self, given, "system", systems_for(self.access))
        _named(self, given, "equipment", equipment_for(self.access))
        return self.create(
            register.create_signal_point,
            model=SignalPoint,
            shape=SignalSerializer,
            then=lambda made: point_or_404(access=self.access, id=made.pk),
            id=given.pop("id", None),
            actor=self.actor,
            **given,
        )


class OneSignal(signals.OneSignal):
    """A signal point."""

    @operation("signals_change", SignalSerializer, request=ChangeSignalSerializer)
    def patch(self, request: Request, code: str, id: UUID) -> Response:
        """Change what is recorded of the point itself."""
        point, given = point_or_404(access=self.access, id=id), self.parsed(ChangeSignalSerializer)
        _named(self, given, "equipment", equipment_for(self.access))
        register.change_signal_point(actor=self.actor, point=point, **given)
        return self.get(request, code=code, id=id)


class DependencyFilter(django_filters.FilterSet):
    site = site_filter("stage__system__site")
    system = system_filter("stage__system")
    stage = django_filters.UUIDFilter(field_name="stage_id")

    class Meta:
        model = StageDependency
        fields: list[str] = []


class Dependencies(ListView):
    """Stages that wait for stages of other systems."""

    model = StageDependency
    serializer_class = DependencySerializer
    filterset_class = DependencyFilter

    def rows(self) -> QuerySet[StageDependency]:
        return dependencies_for(self.access)

    @operation("dependencies_list", DependencySerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Which stage waits for which stage of another system."""
        return self.listed()

    @creates("dependencies_add", NewDependencySerializer, DependencySerializer)
    def post(self, request: Request, code: str) -> Response:
        """Make a stage wait for another. A cycle is refused, written out. A manager's decision."""
        given = self.parsed(NewDependencySerializer)
        rows = Stage.objects.filter(self.access.limit("system__site"), system__project=self.access.project)
        for field in ("stage", "requires"):
            _named(self, given, field, rows.select_related("system"))
        return self.create(
            register.add_dependency,
            model=StageDependency,
            shape=DependencySerializer,
            id=given.pop("id", None),
            actor=self.actor,
            **given,
        )


class OneDependency(DeedView):
    """A dependency."""

    serializer_class = DependencySerializer

    @operation("dependencies_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One dependency."""
        return self.answer(dependency_or_404(access=self.access, id=id))

    @operation("dependencies_remove", {204: None})
    def delete(self, request: Request, code: str, id: UUID) -> Response:
        """The stage waits no longer; the audit log keeps that it did. A manager's decision."""
        register.remove_dependency(actor=self.actor, dependency=dependency_or_404(access=self.access, id=id))
        return Response(status=status.HTTP_204_NO_CONTENT)
