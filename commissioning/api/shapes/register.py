"""A register workbook: its upload, and the plan of what importing it would do."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from commissioning.api.parsing import NewId
from commissioning.api.shapes.work import JobSerializer
from commissioning.models import Job, JobState


class UploadRegisterSerializer(serializers.Serializer[Any]):
    """A register as somebody keeps it: a workbook, a CSV file, or a zip of CSV files."""

    id = NewId()
    file = serializers.FileField(allow_empty_file=True)


class ChangedValueSerializer(serializers.Serializer[Any]):
    column = serializers.CharField()
    old = serializers.CharField()
    new = serializers.CharField()


class PlannedRowSerializer(serializers.Serializer[Any]):
    """A row that would add or change something, in words."""

    row = serializers.IntegerField()
    label = serializers.CharField()
    changes = ChangedValueSerializer(many=True)


class SheetPlanSerializer(serializers.Serializer[Any]):
    """What one sheet would do: whole counts, and the first rows spelt out."""

    sheet = serializers.CharField()
    title = serializers.CharField()
    added = serializers.IntegerField()
    changed = serializers.IntegerField()
    same = serializers.IntegerField()
    added_rows = PlannedRowSerializer(many=True)
    changed_rows = PlannedRowSerializer(many=True)


class RowProblemSerializer(serializers.Serializer[Any]):
    """A place that cannot be taken: where it is, what is wrong, and what would be right."""

    sheet = serializers.CharField()
    row = serializers.IntegerField(help_text="0: the sheet as a whole.")
    column = serializers.CharField(help_text="Empty: the row as a whole.")
    wrong = serializers.CharField()
    right = serializers.CharField()
    words = serializers.CharField()


class PlanSerializer(serializers.Serializer[Any]):
    """What an import would do, or did. With one problem in it nothing is written."""

    applied = serializers.BooleanField()
    can_apply = serializers.BooleanField()
    changes_nothing = serializers.BooleanField()
    digest = serializers.CharField(help_text="Stands for all that it would do; sent back, it agrees to just that.")
    sheets = SheetPlanSerializer(many=True)
    problem_count = serializers.IntegerField()
    problems = RowProblemSerializer(many=True)
    notes = serializers.ListField(child=serializers.CharField())


class RegisterJobSerializer(JobSerializer):
    """The work of looking at an upload or importing it, with the plan once that is done."""

    name = serializers.CharField(source="arguments.name", read_only=True, help_text="The file, as it was called.")
    plan = serializers.SerializerMethodField(help_text="Null until the work is done.")

    class Meta(JobSerializer.Meta):
        fields = [*(name for name in JobSerializer.Meta.fields if name != "result"), "name", "plan"]
        read_only_fields = fields

    result = None  # type: ignore[assignment]

    @extend_schema_field(PlanSerializer(allow_null=True))
    def get_plan(self, job: Job) -> dict[str, Any] | None:
        return job.result if job.state == JobState.DONE else None


class ApplyPlanSerializer(serializers.Serializer[Any]):
    digest = serializers.CharField(max_length=64, help_text="The digest of the plan that was looked at.")


class LayOutSerializer(serializers.Serializer[Any]):
    id = NewId()
    systems = serializers.ListField(child=serializers.UUIDField(), allow_empty=False, max_length=5000)
