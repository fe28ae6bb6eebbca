"""Test recordings: uploaded, their columns confirmed, shown with their result and their plots."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

import calcs
from commissioning.api.base import DeedView, ListView
from commissioning.api.filters import StandingFilter, TextFilter, site_filter, system_filter
from commissioning.api.parsing import BoundedJSONParser, instruments_in, refuse_unknown
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.recordings import (
    ConfirmColumnsSerializer,
    PlotsSerializer,
    RecordingSerializer,
    UploadRecordingSerializer,
    WholeRecordingSerializer,
)
from commissioning.errors import Conflict, InvalidInput
from commissioning.models import RecordingKind, RecordingState, TestRecording
from commissioning.selectors.access import equipment_for, systems_for
from commissioning.selectors.recordings import lines_for, recording_or_404, recordings_for
from commissioning.services.recording_runs import window_of
from commissioning.services.recordings import CALCULATION, confirm_columns, read_now_if_small, upload_recording


class RecordingFilter(django_filters.FilterSet):
    site = site_filter()
    system = system_filter()
    line = django_filters.UUIDFilter(field_name="line_id")
    equipment = django_filters.UUIDFilter(field_name="equipment_id")
    kind = django_filters.ChoiceFilter(choices=RecordingKind.choices)
    state = django_filters.ChoiceFilter(choices=RecordingState.choices)
    standing = StandingFilter(field_name="superseded_at", label="What stands, or what was superseded.")
    text = TextFilter("raw_name", "system__tag", "equipment__tag")

    class Meta:
        model = TestRecording
        fields: list[str] = []


class Recordings(ListView):
    """The test recordings of a project."""

    model = TestRecording
    serializer_class = RecordingSerializer
    filterset_class = RecordingFilter
    parser_classes = [BoundedJSONParser, MultiPartParser]

    def rows(self) -> QuerySet[TestRecording]:
        rows = recordings_for(self.access).select_related("system", "reading", "uploaded_by")
        return rows.defer("column_map", "findings", "summary", "plot", "reading__inputs", "reading__result")

    @operation("recordings_list", RecordingSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Logs of discharge, recharge and float tests; superseded ones too unless `standing` says otherwise."""
        return self.listed()

    @creates("recordings_upload", {"multipart/form-data": UploadRecordingSerializer}, WholeRecordingSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Upload a log as multipart form data. It is kept as it is; the answer holds a guess of its columns."""
        given = self.parsed(UploadRecordingSerializer)
        line = self.named(lines_for(self.access), given["line"], field="line") if given.get("line") else None
        if line is None and not given.get("system"):
            raise InvalidInput({"system": "Name the system, or the check line that the log answers."})
        words: dict[str, Any] = {"id": given.get("id"), "kind": given.get("kind", RecordingKind.DISCHARGE)}
        if given.get("equipment"):
            words["equipment"] = self.named(equipment_for(self.access), given["equipment"], field="equipment")
        rows = systems_for(self.access).select_related("site__project", "project")
        system = self.named(rows, given.get("system") or line.stage.system_id, field="system")  # type: ignore[union-attr]
        return self.create(
            upload_recording,
            model=TestRecording,
            shape=WholeRecordingSerializer,
            actor=self.actor,
            system=system,
            line=line,
            file=given["file"],
            name=given["file"].name or "log",
            **words,
        )


class OneRecording(DeedView):
    """A test recording as a whole."""

    serializer_class = WholeRecordingSerializer

    @operation("recordings_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """A recording with its columns, what was kept out of its result, and the result."""
        return self.answer(recording_or_404(access=self.access, id=id))


class ConfirmColumns(DeedView):
    """The columns of a recording."""

    serializer_class = ConfirmColumnsSerializer

    @operation("recordings_confirm", WholeRecordingSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Say which column is what; the log is then read: a small one at once, a large one in the background."""
        recording, given = recording_or_404(access=self.access, id=id), self.parsed()
        names = [one.name for one in calcs.get(CALCULATION).inputs]
        refuse_unknown(given.get("inputs", {}), names, what="input")
        made = confirm_columns(
            actor=self.actor,
            recording=recording,
            column_map=given["columns"],
            inputs=given.get("inputs"),
            instruments=instruments_in(self.access, given.get("instruments", {}), inputs=names),
        )
        read_now_if_small(made)
        return self.answer(recording_or_404(access=self.access, id=id), WholeRecordingSerializer)


class RecordingPlot(DeedView):
    """The plots of a recording."""

    serializer_class = PlotsSerializer
    query_words = ("from", "to")

    @operation(
        "recordings_plot",
        parameters=[
            OpenApiParameter("from", float, description="Minutes from the start of the log."),
            OpenApiParameter("to", float, description="Minutes from the start of the log."),
        ],
    )
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """String voltage, current, every cell and their spread over time; a window of it is drawn finer."""
        recording = recording_or_404(access=self.access, id=id)
        if not recording.plot:
            raise Conflict("This recording was not read yet.")
        start, end = (_minutes(request, name) for name in ("from", "to"))
        whole = start is None and end is None
        return Response(recording.plot if whole else window_of(recording, start=start, end=end))


def _minutes(request: Request, name: str) -> float | None:
    text = request.query_params.get(name, "")
    try:
        value = float(text) if text else None
    except ValueError:
        value = -1.0
    if value is not None and not 0 <= value < 1e9:
        raise InvalidInput({name: "Give minutes from the start of the log, as 45.5."})
    return value
