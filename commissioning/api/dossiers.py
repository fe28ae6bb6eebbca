"""Handover dossiers: asked for, followed by their job, taken as PDF and as frozen content."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from django.http import HttpResponseBase
from drf_spectacular.types import OpenApiTypes
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView, ListView
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.dossiers import AskDossierSerializer, DossierSerializer, ReceiveDossierSerializer
from commissioning.models import Dossier, DossierScope
from commissioning.selectors.access import sites_for, systems_for
from commissioning.selectors.dossiers import built_or_404, dossier_or_404, dossiers_for
from commissioning.services.dossiers import ask_dossier, receive_dossier
from commissioning.views.ranged import stored_content, stored_pdf


class DossierFilter(django_filters.FilterSet):
    scope = django_filters.ChoiceFilter(choices=DossierScope.choices)
    site = django_filters.UUIDFilter(field_name="site")
    system = django_filters.UUIDFilter(field_name="system")
    built = django_filters.BooleanFilter(field_name="built_at", lookup_expr="isnull", exclude=True)

    class Meta:
        model = Dossier
        fields: list[str] = []


class Dossiers(ListView):
    """Dossiers."""

    model = Dossier
    serializer_class = DossierSerializer
    filterset_class = DossierFilter
    page_order = ("-asked_at", "-id")

    def rows(self) -> QuerySet[Dossier]:
        return dossiers_for(self.access)

    @operation("dossiers_list", DossierSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Dossiers, newest first; a client sees those that are built, and what they asked for themselves."""
        return self.listed()

    @creates("dossiers_ask", AskDossierSerializer, DossierSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Ask for a dossier. While one of the same scope waits or runs, that one is answered."""
        given = self.parsed()
        return self.create(
            ask_dossier,
            model=Dossier,
            shape=DossierSerializer,
            then=lambda made: dossier_or_404(access=self.access, id=made.pk),
            id=given.pop("id", None),
            actor=self.actor,
            project=self.access.project,
            **self._target(given),
            **given,
        )

    def get_serializer_class(self) -> type[Any]:
        return AskDossierSerializer if self.request.method == "POST" else DossierSerializer

    def _target(self, given: dict[str, Any]) -> dict[str, Any]:
        """The site or system named is there and may be seen."""
        rows: dict[str, QuerySet[Any]] = {"site": sites_for(self.access), "system": systems_for(self.access)}
        names = [name for name in rows if name in given]
        return {name: self.named(rows[name], given.pop(name), field=name) for name in names}


class OneDossier(DeedView):
    """One dossier."""

    serializer_class = DossierSerializer

    @operation("dossiers_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """What is known about it."""
        return self.answer(dossier_or_404(access=self.access, id=id))


class DossierFile(DeedView):
    """The signed file."""

    @operation("dossiers_file", {(200, "application/pdf"): OpenApiTypes.BINARY})
    def get(self, request: Request, code: str, id: UUID) -> HttpResponseBase:
        """The signed PDF; range requests resume a download that broke off."""
        return stored_pdf(request._request, built_or_404(access=self.access, id=id))


class ReceiveDossier(DeedView):
    """The client's receipt."""

    serializer_class = ReceiveDossierSerializer

    @operation("dossiers_receive", DossierSerializer, request=ReceiveDossierSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """The client signs for having received this file; the password is asked for again."""
        found = built_or_404(access=self.access, id=id)
        receive_dossier(actor=self.actor, dossier=found, **self.parsed())
        return self.answer(found, DossierSerializer)


class DossierContent(DeedView):
    """The frozen content."""

    @operation("dossiers_content", {(200, "application/json"): OpenApiTypes.BINARY})
    def get(self, request: Request, code: str, id: UUID) -> HttpResponseBase:
        """The frozen content as canonical JSON, byte for byte what its SHA-256 was taken of."""
        return stored_content(request._request, built_or_404(access=self.access, id=id))
