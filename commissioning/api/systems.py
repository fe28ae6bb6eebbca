"""Systems and what is tagged in them."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView, ListView
from commissioning.api.filters import TextFilter, TruthFilter, site_filter, system_filter
from commissioning.api.schema import operation
from commissioning.api.shapes.systems import (
    EquipmentSerializer,
    SystemChangeSerializer,
    SystemRowSerializer,
    WholeEquipmentSerializer,
    WholeSystemSerializer,
    energy_of,
)
from commissioning.models import Equipment, EquipmentKind, StageKind, System, SystemKind
from commissioning.selectors.access import equipment_for, systems_for
from commissioning.selectors.changes import change_number
from commissioning.selectors.portfolio_rows import rows_of
from commissioning.selectors.system import equipment_or_404, system_or_404, system_standing
from commissioning.selectors.tag import lines_on, readings_on, signals_of
from commissioning.services.counters import refresh_due


class SystemFilter(django_filters.FilterSet):
    site = site_filter("site")
    kind = django_filters.ChoiceFilter(choices=SystemKind.choices)
    stage = django_filters.ChoiceFilter(
        choices=StageKind.choices, field_name="counters__hand_kind", label="The stage in hand."
    )
    text = TextFilter("tag", "name", "site__name", "site__code")
    held = TruthFilter("counters__held", label="Held by something other than work not done yet, or not.")

    class Meta:
        model = System
        fields: list[str] = []


class Systems(ListView):
    """The systems of a project."""

    model = System
    serializer_class = SystemRowSerializer
    filterset_class = SystemFilter

    def rows(self) -> QuerySet[Any]:
        return systems_for(self.access).filter(counters__isnull=False).select_related("site", "counters")

    @operation("systems_list", SystemRowSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Systems with where each stands and what it needs next."""
        refresh_due(project=self.access.project)
        kept = []
        for system in self.page_of(self.get_queryset()):
            system.counters.system = system
            kept.append(system.counters)
        return self.paged(rows_of(kept))


class OneSystem(DeedView):
    """A system as a whole."""

    serializer_class = WholeSystemSerializer

    @operation("systems_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """The system, its stages with what holds each, and what is recorded of its supplies."""
        return self.answer(system_standing(system_or_404(access=self.access, id=id)))


class SystemChange(DeedView):
    """Whether anything happened in a system."""

    serializer_class = SystemChangeSerializer

    @operation("systems_change_number", SystemChangeSerializer)
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """A number that grows with every change in the system, for whoever looks on and asks again each second.

        An `If-None-Match` with the last answer's `ETag` is answered 304 when nothing has changed since.
        """
        number = change_number(self.one(systems_for(self.access), id).pk)
        headers = {"ETag": f'"{number}"', "Cache-Control": "private, no-cache"}
        if headers["ETag"] in request.headers.get("If-None-Match", "").replace("W/", "").split(", "):
            return Response(status=304, headers=headers)
        return Response({"change": number}, headers=headers)


class EquipmentFilter(django_filters.FilterSet):
    site = site_filter()
    system = system_filter()
    kind = django_filters.ChoiceFilter(choices=EquipmentKind.choices)
    text = TextFilter("tag", "description", "serial_number")

    class Meta:
        model = Equipment
        fields: list[str] = []


class EquipmentList(ListView):
    """What is tagged in a project."""

    model = Equipment
    serializer_class = EquipmentSerializer
    filterset_class = EquipmentFilter

    def rows(self) -> QuerySet[Equipment]:
        return equipment_for(self.access).select_related("system")

    @operation("equipment_list", EquipmentSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Equipment by tag, kind and system."""
        return self.listed()


class OneEquipment(DeedView):
    """A tag."""

    serializer_class = WholeEquipmentSerializer

    @operation("equipment_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """A tag with its lines, last readings and signals, and what is recorded of its system's supplies."""
        found: Any = equipment_or_404(access=self.access, id=id)
        found.energy = energy_of(list(found.system.supplies.all()))
        found.lines_on_it, found.last_readings = lines_on(found), readings_on(found)
        found.signals_of_it = signals_of(found)
        return self.answer(found)
