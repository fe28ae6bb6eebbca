"""Check lines: listed, shown, and what is recorded on them besides readings."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import F, QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView, ListView, ProjectView
from commissioning.api.filters import TextFilter, TruthFilter, site_filter, system_filter
from commissioning.api.parsing import refuse_unknown
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.common import GiveReasonSerializer, GiveRemarkSerializer
from commissioning.api.shapes.lines import (
    ConcessionSerializer,
    GiveNoticeSerializer,
    LineSerializer,
    NoticeSerializer,
    ProofSerializer,
    ProveDeadSerializer,
    RecordResultSerializer,
    ReopenLineSerializer,
    ResultSerializer,
    SetPointSerializer,
    SignConcessionSerializer,
    WholeLineSerializer,
    WitnessingSerializer,
)
from commissioning.api.shapes.systems import energy_of
from commissioning.models import (
    CheckLine,
    CheckResult,
    Concession,
    LineState,
    Point,
    ProofOfDead,
    StageKind,
    TokenScope,
    Witnessing,
    WitnessNotice,
)
from commissioning.selectors.access import Access
from commissioning.selectors.procedure_run import line_or_404, record_of
from commissioning.services.concessions import sign_concession, withdraw_concession
from commissioning.services.lines import (
    assign_party,
    give_notice,
    prove_dead,
    record_result,
    reopen_line,
    witness_line,
)

#: More lines than a stage ever has, so that lines of a system go stage by stage.
STAGE_STEP = 10_000_000


class LineFilter(django_filters.FilterSet):
    site = site_filter("stage__system__site")
    system = system_filter("stage__system")
    stage = django_filters.UUIDFilter(field_name="stage_id")
    stage_kind = django_filters.ChoiceFilter(choices=StageKind.choices, field_name="stage__kind")
    equipment = django_filters.UUIDFilter(field_name="equipment_id")
    state = django_filters.ChoiceFilter(choices=LineState.choices)
    point = django_filters.ChoiceFilter(choices=Point.choices)
    text = TextFilter("title", "equipment__tag")
    retired = TruthFilter(
        field_name="retired_at", lookup_expr="isnull", exclude=True, label="Dropped from the procedure since."
    )

    class Meta:
        model = CheckLine
        fields: list[str] = []


class Lines(ListView):
    """Check lines."""

    model = CheckLine
    serializer_class = LineSerializer
    filterset_class = LineFilter
    page_order = ("place", "id")

    def rows(self) -> QuerySet[Any]:
        rows = lines_for(self.access).annotate(place=F("stage__order") * STAGE_STEP + F("order"))
        return rows.defer("how", "accept", "caution", "inputs", "limits")

    @operation("lines_list", LineSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Check lines; those of one stage or system in the order in which they are done."""
        return self.listed()


def lines_for(access: Access) -> QuerySet[CheckLine]:
    rows = CheckLine.objects.filter(access.limit("stage__system__site"), stage__system__project=access.project)
    return rows.select_related("stage__system", "equipment", "done_by")


class LineView(DeedView):
    """An address below one check line."""

    def line(self, id: UUID) -> CheckLine:
        return line_or_404(access=self.access, id=id)


class OneLine(LineView):
    """A check line as a whole."""

    serializer_class = WholeLineSerializer

    @operation("lines_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """What the line says, what is on record about it, and what is recorded of the system's supplies."""
        line: Any = self.line(id)
        line.record = record_of(line)
        line.energy = energy_of(list(line.stage.system.supplies.all()))
        return self.answer(line)


class LineResults(LineView):
    """Results of a line."""

    write_scope = TokenScope.PHONE
    serializer_class = RecordResultSerializer

    @creates("lines_record_result", RecordResultSerializer, ResultSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Say what was found: passed, failed, or not applicable with a reason. An earlier result is superseded."""
        line = self.line(id)
        given = self.parsed()
        refuse_unknown(given.get("values", {}), line.inputs, what="value")
        return _recorded(self, record_result, CheckResult, ResultSerializer, line, given)


class ReopenLine(LineView):
    """Taking a result or reading back."""

    serializer_class = ReopenLineSerializer

    @creates("lines_reopen", ReopenLineSerializer, ResultSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Open the line again; what was recorded stays on record, superseded."""
        return _recorded(self, reopen_line, CheckResult, ResultSerializer, self.line(id), self.parsed())


class ProofsOfDead(LineView):
    """Proofs of dead of a line."""

    write_scope = TokenScope.PHONE
    serializer_class = ProveDeadSerializer

    @creates("lines_prove_dead", ProveDeadSerializer, ProofSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Record that dead was proved at the point of work, with a detector proved before and after."""
        return _recorded(self, prove_dead, ProofOfDead, ProofSerializer, self.line(id), self.parsed())


class Notices(LineView):
    """Invitations to a hold or witness point."""

    serializer_class = GiveNoticeSerializer

    @creates("lines_give_notice", GiveNoticeSerializer, NoticeSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Invite the party that the point names, for a time."""
        return _recorded(self, give_notice, WitnessNotice, NoticeSerializer, self.line(id), self.parsed())


class Witnessings(LineView):
    """Witnessing of a line."""

    serializer_class = GiveRemarkSerializer

    @creates("lines_witness", GiveRemarkSerializer, WitnessingSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """The named party says that they were there, or have reviewed the papers."""
        return _recorded(self, witness_line, Witnessing, WitnessingSerializer, self.line(id), self.parsed())


class Concessions(LineView):
    """Concessions on a line."""

    serializer_class = SignConcessionSerializer

    @creates("lines_sign_concession", SignConcessionSerializer, ConcessionSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """A manager accepts what does not meet its limit, with a reason that the dossier prints."""
        given = self.parsed()
        return self.create(
            sign_concession,
            model=Concession,
            shape=ConcessionSerializer,
            id=given.pop("id", None),
            signed_by=self.actor,
            line=self.line(id),
            **given,
        )


class WithdrawConcession(DeedView):
    """Taking a concession back."""

    serializer_class = GiveReasonSerializer

    @operation("concessions_withdraw", ConcessionSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Withdraw the concession; it stays on record with the reason. A manager's decision."""
        rows = Concession.objects.filter(line__in=lines_for(self.access)).select_related("line__stage__system")
        concession = self.one(rows, id)
        done = withdraw_concession(actor=self.actor, concession=concession, **self.parsed())
        return self.answer(done, ConcessionSerializer)


class LinePoint(LineView):
    """Whether a line is a hold, witness or review point, and for whom."""

    serializer_class = SetPointSerializer

    @operation("lines_set_point", LineSerializer)
    def put(self, request: Request, code: str, id: UUID) -> Response:
        """Set the point and the party that it names, before it is witnessed. A manager's decision."""
        return self.answer(assign_party(actor=self.actor, line=self.line(id), **self.parsed()), LineSerializer)


def _recorded(
    view: ProjectView, service: Any, model: Any, shape: Any, line: CheckLine, given: dict[str, Any]
) -> Response:
    return view.create(
        service, model=model, shape=shape, id=given.pop("id", None), actor=view.actor, line=line, **given
    )
