"""Signal points: forced at one end, seen at the far end, restored."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView, ListView
from commissioning.api.filters import TextFilter, site_filter, system_filter
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.records import (
    FailSignalSerializer,
    ForceSignalSerializer,
    RestoreSignalSerializer,
    SeeSignalSerializer,
    SignalProofSerializer,
    SignalSerializer,
)
from commissioning.models import Direction, SignalPoint, SignalProof, StageKind, TokenScope
from commissioning.selectors.signals import STATES, in_state, point_or_404, points_of, proof_or_404
from commissioning.services.signals import fail_signal, force_signal, restore_signal, see_signal


class SignalFilter(django_filters.FilterSet):
    site = site_filter()
    system = system_filter()
    stage_kind = django_filters.ChoiceFilter(choices=StageKind.choices)
    direction = django_filters.ChoiceFilter(choices=Direction.choices)
    state = django_filters.ChoiceFilter(choices=list(STATES.items()), method="stands")
    text = TextFilter("tag", "description", "far_end", "system__tag")

    class Meta:
        model = SignalPoint
        fields: list[str] = []

    def stands(self, queryset: QuerySet[SignalPoint], name: str, value: str) -> QuerySet[SignalPoint]:
        return queryset.filter(in_state(value))


class Signals(ListView):
    """Signal points."""

    model = SignalPoint
    serializer_class = SignalSerializer
    filterset_class = SignalFilter

    def rows(self) -> QuerySet[SignalPoint]:
        return points_of(self.access)

    @operation("signals_list", SignalSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Signal points with the proof that stands."""
        return self.listed()


class OneSignal(DeedView):
    """A signal point."""

    serializer_class = SignalSerializer

    @operation("signals_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One signal point with the proof that stands."""
        return self.answer(point_or_404(access=self.access, id=id))


class ForceSignal(DeedView):
    """Forcing a signal point."""

    write_scope = TokenScope.PHONE
    serializer_class = ForceSignalSerializer

    @creates("signals_force", ForceSignalSerializer, SignalProofSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """The point is forced: a new proof begins, and supersedes the one before."""
        point, given = point_or_404(access=self.access, id=id), self.parsed()
        return self.create(
            force_signal,
            model=SignalProof,
            shape=SignalProofSerializer,
            id=given.pop("id", None),
            actor=self.actor,
            point=point,
            **given,
        )


class ProofStep(DeedView):
    """A step of one proof."""

    write_scope = TokenScope.PHONE

    def step(self, service: Any, id: UUID) -> Response:
        proof = proof_or_404(access=self.access, id=id)
        return self.answer(service(actor=self.actor, proof=proof, **self.parsed()), SignalProofSerializer)


class SeeSignal(ProofStep):
    """A forced point seen at the far end."""

    serializer_class = SeeSignalSerializer

    @operation("signal_proofs_see", SignalProofSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Confirm at the far end; by the project's rule somebody else than who forced it. Again changes nothing."""
        return self.step(see_signal, id)


class RestoreSignal(ProofStep):
    """A forced point restored."""

    serializer_class = RestoreSignalSerializer

    @operation("signal_proofs_restore", SignalProofSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """The point is back to normal; said again, nothing changes."""
        return self.step(restore_signal, id)


class FailSignal(ProofStep):
    """A proof that failed."""

    serializer_class = FailSignalSerializer

    @operation("signal_proofs_fail", SignalProofSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """The far end did not see it, or saw something else."""
        return self.step(fail_signal, id)
