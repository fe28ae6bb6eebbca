"""Procedures: bundled ones, and a project's copies with their lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import ApiView, DeedView, ListView
from commissioning.api.schema import operation
from commissioning.api.shapes.procedures import (
    AppliedSerializer,
    ApplyProcedureSerializer,
    BundledSerializer,
    CopyProcedureSerializer,
    DifferenceSerializer,
    ProcedureLineSerializer,
    ProcedureSerializer,
    TakeOverSerializer,
)
from commissioning.errors import InvalidInput
from commissioning.models import Procedure, ProcedureLine, StageKind, SystemKind
from commissioning.procedures.loader import bundled, load
from commissioning.selectors.access import systems_for
from commissioning.selectors.procedures import procedure_or_404
from commissioning.services.procedures import (
    apply_procedure,
    compare_with_bundled,
    copy_procedure,
    take_over_version,
)


class Bundled(ApiView):
    """The procedures that come with the product."""

    serializer_class = BundledSerializer
    filter_backends: Sequence[Any] = []
    pagination_class = None

    @operation("bundled_procedures_list", BundledSerializer(many=True))
    def get(self, request: Request) -> Response:
        """Every bundled procedure in every version."""
        return Response(BundledSerializer(bundled(), many=True).data)


class ProcedureFilter(django_filters.FilterSet):
    key = django_filters.CharFilter(max_length=60)
    system_kind = django_filters.ChoiceFilter(choices=SystemKind.choices)

    class Meta:
        model = Procedure
        fields: list[str] = []


class Procedures(ListView):
    """The project's copies."""

    model = Procedure
    serializer_class = ProcedureSerializer
    filterset_class = ProcedureFilter

    def rows(self) -> QuerySet[Procedure]:
        return Procedure.objects.filter(project=self.access.project)

    @operation("procedures_list", ProcedureSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """The project's own copies of procedures."""
        return self.listed()

    @operation(
        "procedures_copy",
        {201: ProcedureSerializer, 200: ProcedureSerializer},
        request=CopyProcedureSerializer,
        filters=False,
    )
    def post(self, request: Request, code: str) -> Response:
        """Copy a bundled procedure into the project; copied before, the copy that is there. A manager's decision."""
        given = self.parsed(CopyProcedureSerializer)
        known = self.rows().filter(key=given["key"]).exists()
        copy = copy_procedure(actor=self.actor, project=self.access.project, **given)
        return self.created(copy, ProcedureSerializer, known=known)


class OneProcedure(DeedView):
    """A copy."""

    serializer_class = ProcedureSerializer

    @operation("procedures_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One of the project's copies."""
        return self.answer(procedure_or_404(access=self.access, id=id))


class ProcedureLineFilter(django_filters.FilterSet):
    stage_kind = django_filters.ChoiceFilter(choices=StageKind.choices)

    class Meta:
        model = ProcedureLine
        fields: list[str] = []


class ProcedureLines(ListView):
    """Lines of a copy."""

    model = ProcedureLine
    serializer_class = ProcedureLineSerializer
    filterset_class = ProcedureLineFilter
    page_order = ("order", "id")

    def rows(self) -> QuerySet[ProcedureLine]:
        return ProcedureLine.objects.filter(procedure=procedure_or_404(access=self.access, id=self.kwargs["id"]))

    @operation("procedures_lines", ProcedureLineSerializer(many=True))
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """What the copy says, line by line."""
        return self.listed()


_VERSION = OpenApiParameter("version", int, description="A bundled version; left out, the newest.")


class CompareProcedure(DeedView):
    """A copy beside a bundled version."""

    serializer_class = DifferenceSerializer
    query_words = ("version",)

    @operation("procedures_compare", DifferenceSerializer(many=True), parameters=[_VERSION])
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """What taking over a bundled version would change in the copy."""
        procedure = procedure_or_404(access=self.access, id=id)
        version = known_version(procedure, request.query_params.get("version"))
        found = compare_with_bundled(procedure=procedure, version=version)
        return Response(DifferenceSerializer(found, many=True).data)


class TakeOver(DeedView):
    """A bundled version taken over."""

    serializer_class = TakeOverSerializer

    @operation("procedures_take_over", ProcedureSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Take over what a bundled version changed, or only the lines named. A manager's decision."""
        procedure, given = procedure_or_404(access=self.access, id=id), self.parsed()
        known_version(procedure, given["version"])
        return self.answer(take_over_version(actor=self.actor, procedure=procedure, **given), ProcedureSerializer)


class ApplyProcedure(DeedView):
    """A copy laid out on a system."""

    serializer_class = ApplyProcedureSerializer

    @operation("procedures_apply", AppliedSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Lay the copy out on a system's stages that are not accepted, once however often. A manager's decision."""
        procedure = procedure_or_404(access=self.access, id=id)
        system = self.named(systems_for(self.access), self.parsed()["system"], field="system")
        counts = apply_procedure(actor=self.actor, system=system, procedure=procedure)
        return Response(AppliedSerializer(counts).data, status=status.HTTP_200_OK)


def known_version(procedure: Procedure, version: str | int | None) -> int | None:
    """The number of a bundled version that there is, or a refusal."""
    try:
        return load(procedure.key, None if version is None else int(version)).version
    except (LookupError, ValueError) as error:
        raise InvalidInput({"version": f"Name a version that there is: {error}."}) from error
