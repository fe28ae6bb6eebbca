"""Readings: tried, recorded, listed and shown with their working."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

import calcs
from commissioning.api.base import DeedView, ListView
from commissioning.api.filters import StandingFilter, site_filter, system_filter
from commissioning.api.lines import LineView
from commissioning.api.parsing import instruments_in, refuse_unknown
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.calculations import CalculationResultSerializer
from commissioning.api.shapes.lines import (
    AttachReadingSerializer,
    ReadingSerializer,
    RecordReadingSerializer,
    TypedSerializer,
    WholeReadingSerializer,
)
from commissioning.errors import InvalidInput
from commissioning.models import CheckLine, Reading, StageKind, TokenScope, Verdict
from commissioning.selectors.access import Access
from commissioning.selectors.system import equipment_or_404
from commissioning.services.readings import attach_reading, record_reading, try_reading


class ReadingFilter(django_filters.FilterSet):
    site = site_filter()
    system = system_filter()
    line = django_filters.UUIDFilter(field_name="line_id")
    stage = django_filters.UUIDFilter(field_name="line__stage_id")
    stage_kind = django_filters.ChoiceFilter(choices=StageKind.choices, field_name="line__stage__kind")
    equipment = django_filters.UUIDFilter(field_name="equipment_id")
    instrument = django_filters.UUIDFilter(field_name="instruments")
    calculation = django_filters.CharFilter(max_length=60)
    verdict = django_filters.ChoiceFilter(choices=Verdict.choices)
    standing = StandingFilter(field_name="superseded_at", label="What stands, or what was superseded.")
    taken_from = django_filters.IsoDateTimeFilter(field_name="taken_at", lookup_expr="gte")
    taken_until = django_filters.IsoDateTimeFilter(field_name="taken_at", lookup_expr="lte")

    class Meta:
        model = Reading
        fields: list[str] = []


def readings_for(access: Access) -> QuerySet[Reading]:
    rows = Reading.objects.filter(access.limit("system__site"), project=access.project)
    return rows.select_related("by").prefetch_related("instruments")


class Readings(ListView):
    """The readings of a project."""

    model = Reading
    serializer_class = ReadingSerializer
    filterset_class = ReadingFilter

    def rows(self) -> QuerySet[Reading]:
        return readings_for(self.access).defer("inputs", "result")

    @operation("readings_list", ReadingSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Readings with their verdicts; superseded ones too unless `standing` says otherwise."""
        return self.listed()


class OneReading(DeedView):
    """A reading as a whole."""

    serializer_class = WholeReadingSerializer

    @operation("readings_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """The reading with its inputs as typed, its verdict and its working."""
        return self.answer(self.one(readings_for(self.access), id))


class LineReadings(LineView):
    """Readings of a line."""

    write_scope = TokenScope.PHONE
    serializer_class = RecordReadingSerializer

    @creates("lines_record_reading", RecordReadingSerializer, WholeReadingSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Record what was measured: verified at once, kept with its working; the line passes or fails by it."""
        line, given = self.line(id), self.parsed()
        return self.create(
            record_reading,
            model=Reading,
            shape=WholeReadingSerializer,
            actor=self.actor,
            line=line,
            **ready_to_record(self.access, line.calculation, line, given),
        )


class TryReading(LineView):
    """A reading tried."""

    write_scope = TokenScope.READ
    serializer_class = TypedSerializer

    @operation("lines_try_reading", CalculationResultSerializer, request=TypedSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """The verdict and working that a reading would have; nothing is kept."""
        line, given = self.line(id), self.parsed()
        if not line.calculation:
            raise InvalidInput({"calculation": "This line takes no reading; answer passed, failed or not applicable."})
        ready = ready_to_record(self.access, line.calculation, line, given)
        ready.pop("id")
        return Response(try_reading(system=line.stage.system, line=line, **ready))


class EquipmentReadings(DeedView):
    """Readings kept against a tag."""

    serializer_class = AttachReadingSerializer

    @creates("equipment_attach_reading", AttachReadingSerializer, WholeReadingSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Keep the result of a calculation against a tag, outside any check line."""
        equipment, given = equipment_or_404(access=self.access, id=id), self.parsed()
        return self.create(
            attach_reading,
            model=Reading,
            shape=WholeReadingSerializer,
            actor=self.actor,
            equipment=equipment,
            **ready_to_record(self.access, given["calculation"], None, given),
        )


def ready_to_record(
    access: Access, calculation: str, line: CheckLine | None, given: Mapping[str, Any]
) -> dict[str, Any]:
    """The body as a service takes it: names of inputs checked, instruments found."""
    names: set[str] = set(line.inputs) if line else set()
    if calculation:
        try:
            names |= {one.name for one in calcs.get(calculation).inputs}
        except calcs.UnknownCalculation as error:
            raise InvalidInput({"calculation": str(error)}) from error
        refuse_unknown(given["typed"], names, what="input")
    measured_with = instruments_in(access, given.get("instruments", {}), inputs=names)
    return {"id": None, **given, "instruments": measured_with}
