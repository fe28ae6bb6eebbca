"""Shapes of test recordings."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from commissioning.api.parsing import NewId, TypedText
from commissioning.api.shapes.common import PersonSerializer
from commissioning.models import RecordingKind, TestRecording


class RecordingSerializer(serializers.ModelSerializer[TestRecording]):
    """A log that somebody uploaded, and how far it is."""

    system_tag = serializers.CharField(source="system.tag", read_only=True)
    verdict = serializers.CharField(source="reading.verdict", read_only=True, default="")
    uploaded_by = PersonSerializer(read_only=True)

    class Meta:
        model = TestRecording
        fields = [
            "id", "system", "system_tag", "line", "equipment", "kind", "state", "error", "raw_name", "raw_sha256",
            "raw_bytes", "started_at", "uploaded_by", "uploaded_at", "superseded_at", "reading", "verdict",
        ]  # fmt: skip
        read_only_fields = fields


class WholeRecordingSerializer(RecordingSerializer):
    """A recording with its column map, what was kept out of its result, and the result."""

    column_map = serializers.JSONField(
        read_only=True, help_text="Places of columns, counted from 0; until it is confirmed, a guess with its words."
    )
    findings = serializers.JSONField(read_only=True)
    summary = serializers.JSONField(read_only=True)

    class Meta(RecordingSerializer.Meta):
        fields = [*RecordingSerializer.Meta.fields, "column_map", "findings", "summary"]
        read_only_fields = fields


class UploadRecordingSerializer(serializers.Serializer[Any]):
    """A log as the logger wrote it: CSV, TSV or XLSX."""

    id = NewId()
    system = serializers.UUIDField(required=False, help_text="Left out where a line is named.")
    line = serializers.UUIDField(required=False, help_text="The check line that it answers.")
    equipment = serializers.UUIDField(required=False)
    kind = serializers.ChoiceField(choices=RecordingKind.choices, required=False)
    file = serializers.FileField(allow_empty_file=True)


class ConfirmColumnsSerializer(serializers.Serializer[Any]):
    """Which column is what, and what the log cannot know."""

    columns = serializers.DictField(
        help_text="time, date, voltage, current: a place counted from 0; cells, temperatures: lists of places; units "
        "by place; time_kind elapsed, clock or absolute; time_unit; day_first. As `column_map` has it."
    )
    inputs = serializers.DictField(
        child=TypedText(), required=False, help_text="Of a discharge, inputs of discharge_log as typed."
    )
    instruments = serializers.DictField(child=serializers.UUIDField(), required=False)


class PlotSeriesSerializer(serializers.Serializer[Any]):
    name = serializers.CharField()
    values = serializers.ListField(child=serializers.FloatField(allow_null=True))
    weak = serializers.BooleanField(required=False)


class PlotLevelSerializer(serializers.Serializer[Any]):
    name = serializers.CharField()
    value = serializers.FloatField()


class PlotSerializer(serializers.Serializer[Any]):
    """Traces of one quantity over one time axis; a value is null where its trace is broken."""

    title = serializers.CharField()
    unit = serializers.CharField()
    time_unit = serializers.CharField()
    times = serializers.ListField(child=serializers.FloatField())
    series = PlotSeriesSerializer(many=True)
    levels = PlotLevelSerializer(many=True, required=False)


class PlotsSerializer(serializers.Serializer[Any]):
    """A log small enough to draw: at most 300 kB."""

    plots = PlotSerializer(many=True)
