"""Lines of a project's procedure: added, changed, left out. Systems follow when the procedure is laid out again."""

from __future__ import annotations

from uuid import UUID

from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api import procedures
from commissioning.api.base import DeedView
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.common import GiveReasonSerializer
from commissioning.api.shapes.procedure_lines import (
    ChangeProcedureLineSerializer,
    NewProcedureLineSerializer,
    PlaceLineSerializer,
)
from commissioning.api.shapes.procedures import ProcedureLineSerializer, ProcedureSerializer
from commissioning.models import ProcedureLine
from commissioning.selectors.procedures import procedure_line_or_404, procedure_or_404
from commissioning.services.procedures import add_line, edit_line, place_line, remove_line


class ProcedureLines(procedures.ProcedureLines):
    """Lines of a copy."""

    @creates("procedures_add_line", NewProcedureLineSerializer, ProcedureLineSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Add a line of the project's own. A manager's decision."""
        procedure, given = procedure_or_404(access=self.access, id=id), self.parsed(NewProcedureLineSerializer)
        return self.create(
            add_line,
            model=ProcedureLine,
            shape=ProcedureLineSerializer,
            id=given.pop("id", None),
            actor=self.actor,
            procedure=procedure,
            **given,
        )


class OneProcedureLine(DeedView):
    """A line of a copy."""

    serializer_class = ProcedureLineSerializer

    @operation("procedure_lines_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One line of a copy."""
        return self.answer(procedure_line_or_404(access=self.access, id=id))

    @operation("procedure_lines_change", ProcedureLineSerializer, request=ChangeProcedureLineSerializer)
    def patch(self, request: Request, code: str, id: UUID) -> Response:
        """Change what a line says, what it calculates from what, and its own limits. A manager's decision."""
        line, changes = procedure_line_or_404(access=self.access, id=id), self.parsed(ChangeProcedureLineSerializer)
        return self.answer(edit_line(actor=self.actor, line=line, changes=changes))


class PlaceProcedureLine(DeedView):
    """A line that is moved."""

    serializer_class = PlaceLineSerializer

    @operation("procedure_lines_place", ProcedureLineSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Put the line behind another of its stage, or first in its stage. A manager's decision."""
        line, after = procedure_line_or_404(access=self.access, id=id), self.parsed().get("after", "")
        return self.answer(place_line(actor=self.actor, line=line, after=after), ProcedureLineSerializer)


class RemoveProcedureLine(DeedView):
    """A line that is left out."""

    serializer_class = GiveReasonSerializer

    @operation("procedure_lines_remove", ProcedureSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Leave the line out of the copy, with the reason; what is recorded on systems stays. A manager's decision."""
        line = procedure_line_or_404(access=self.access, id=id)
        remove_line(actor=self.actor, line=line, **self.parsed())
        return self.answer(line.procedure, ProcedureSerializer)
