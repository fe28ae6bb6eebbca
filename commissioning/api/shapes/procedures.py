"""Procedures: the bundled ones, a project's copies, their lines, and what differs."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from commissioning.api.shapes.calculations import Anything
from commissioning.models import Procedure, ProcedureLine, SystemKind
from commissioning.procedures.loader import LineDifference, ProcedureData


class BundledSerializer(serializers.Serializer[Any]):
    """A bundled procedure in one of its versions."""

    key = serializers.CharField()
    version = serializers.IntegerField()
    title = serializers.CharField()
    system_kind = serializers.ChoiceField(choices=SystemKind.choices)
    content_hash = serializers.CharField()
    lines = serializers.SerializerMethodField(help_text="How many lines it has.")

    def get_lines(self, procedure: ProcedureData) -> int:
        return len(procedure.lines)


class ProcedureSerializer(serializers.ModelSerializer[Procedure]):
    """A project's copy of a procedure."""

    class Meta:
        model = Procedure
        fields = [
            "id", "key", "title", "system_kind", "source_version", "source_hash", "revision", "copied_at", "edited_at",
        ]  # fmt: skip
        read_only_fields = fields


class ProcedureLineSerializer(serializers.ModelSerializer[ProcedureLine]):
    class Meta:
        model = ProcedureLine
        fields = [
            "id", "key", "order", "stage_kind", "equipment_kind", "repeat", "title", "how", "accept", "action", "work",
            "injects_voltage", "caution", "point", "party", "required", "timer_seconds", "calculation", "inputs",
            "limits",
        ]  # fmt: skip
        read_only_fields = fields


class CopyProcedureSerializer(serializers.Serializer[Any]):
    key = serializers.CharField(max_length=60)
    version = serializers.IntegerField(required=False, min_value=1, max_value=32767, help_text="Left out: the newest.")


class FieldDifferenceSerializer(serializers.Serializer[Any]):
    name = serializers.CharField()
    before = Anything(allow_null=True)
    after = Anything(allow_null=True)


class DifferenceSerializer(serializers.Serializer[Any]):
    """What taking over a bundled version would change on one line of the project's copy."""

    key = serializers.CharField()
    kind = serializers.CharField(help_text="added, removed, changed or moved.")
    changes = serializers.SerializerMethodField()

    @extend_schema_field(FieldDifferenceSerializer(many=True))
    def get_changes(self, difference: LineDifference) -> list[dict[str, Any]]:
        return [{"name": name, "before": before, "after": after} for name, (before, after) in difference.fields.items()]


class ApplyProcedureSerializer(serializers.Serializer[Any]):
    system = serializers.UUIDField()


class AppliedSerializer(serializers.Serializer[Any]):
    """How many lines were added, changed, retired and left alone on a system."""

    added = serializers.IntegerField()
    changed = serializers.IntegerField()
    retired = serializers.IntegerField()
    same = serializers.IntegerField()
    judged = serializers.IntegerField(help_text="Of those left alone: judged by new limits or inputs.")


class TakeOverSerializer(serializers.Serializer[Any]):
    version = serializers.IntegerField(min_value=1, max_value=32767)
    keys = serializers.ListField(
        child=serializers.CharField(max_length=40), required=False, max_length=1000, help_text="Left out: all of it."
    )
