"""Stages: what holds each, started, signed, withdrawn, planned."""

from __future__ import annotations

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.common import GiveReasonSerializer
from commissioning.api.shapes.systems import (
    AcceptanceSerializer,
    AcceptStageSerializer,
    PlanStageSerializer,
    StageSerializer,
    StageStandingSerializer,
)
from commissioning.models import Acceptance
from commissioning.selectors.system import stage_or_404, system_standing
from commissioning.services.stages import accept_stage, plan_stage, start_stage, withdraw_acceptance


class OneStage(DeedView):
    """A stage as it stands."""

    serializer_class = StageStandingSerializer

    @operation("stages_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """The stage with its blockers and exceptions."""
        stage = stage_or_404(access=self.access, id=id)
        standing = system_standing(stage.system)
        return self.answer(next(row for row in standing.stages if row.stage.pk == stage.pk))


class StartStage(DeedView):
    """Taking a stage in hand."""

    serializer_class = StageSerializer

    @operation("stages_start", request=None)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Start the stage once its entry rules hold; starting it again changes nothing."""
        return self.answer(start_stage(actor=self.actor, stage=stage_or_404(access=self.access, id=id)))


class AcceptStage(DeedView):
    """Signing a gate."""

    serializer_class = AcceptStageSerializer

    @creates("stages_accept", AcceptStageSerializer, AcceptanceSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Sign the gate; refused with every blocker while one stands."""
        stage = stage_or_404(access=self.access, id=id)
        given = self.parsed()
        return self.create(
            accept_stage,
            model=Acceptance,
            shape=AcceptanceSerializer,
            id=given.pop("id", None),
            stage=stage,
            signed_by=self.actor,
            **given,
        )


class WithdrawStage(DeedView):
    """Withdrawing an acceptance."""

    serializer_class = GiveReasonSerializer

    @operation("stages_withdraw", AcceptanceSerializer(many=True))
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Withdraw the acceptance, and every later one that rests on it. A manager's decision."""
        stage = stage_or_404(access=self.access, id=id)
        withdrawn = withdraw_acceptance(actor=self.actor, stage=stage, **self.parsed())
        return Response(AcceptanceSerializer(withdrawn, many=True).data)


class PlanStage(DeedView):
    """The date for which a gate is planned."""

    serializer_class = PlanStageSerializer

    @operation("stages_plan", StageSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Set or clear the date. A manager's decision."""
        stage = stage_or_404(access=self.access, id=id)
        return self.answer(plan_stage(actor=self.actor, stage=stage, **self.parsed()), StageSerializer)
