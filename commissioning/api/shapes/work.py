"""Background work, and readings verified again."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from commissioning.api.parsing import NewId, Words
from commissioning.api.shapes.calculations import Anything
from commissioning.api.shapes.common import PersonSerializer
from commissioning.models import Job, VerificationChange, VerificationRun
from commissioning.services.jobs import time_left


class JobSerializer(serializers.ModelSerializer[Job]):
    """One piece of background work: how far it is, and what came of it."""

    asked_by = PersonSerializer(read_only=True)
    seconds_left = serializers.SerializerMethodField(help_text="An estimate from the pace so far.")
    result = Anything(read_only=True)

    class Meta:
        model = Job
        fields = [
            "id", "kind", "asked_by", "asked_at", "state", "words", "done", "total", "seconds_left", "attempts",
            "started_at", "finished_at", "result", "error",
        ]  # fmt: skip
        read_only_fields = fields

    def get_seconds_left(self, job: Job) -> float | None:
        left = time_left(job)
        return left.total_seconds() if left is not None else None


class RunScopeSerializer(serializers.Serializer[Any]):
    """Which readings: all of the project where nothing is named."""

    system = serializers.UUIDField(required=False)
    equipment = serializers.UUIDField(required=False)
    instrument = serializers.UUIDField(required=False)
    line = serializers.UUIDField(required=False)
    calculation = serializers.CharField(required=False, max_length=60)


class AskVerificationSerializer(RunScopeSerializer):
    id = NewId()
    reason = Words(required=True, allow_blank=False, max_length=300, help_text="What changed.")


class VerificationRunSerializer(serializers.ModelSerializer[VerificationRun]):
    """One pass over the readings that a change touches."""

    asked_by = PersonSerializer(read_only=True)
    changed = serializers.IntegerField(read_only=True, default=0)
    waiting = serializers.IntegerField(read_only=True, default=0, help_text="Changes that nobody has decided on.")

    class Meta:
        model = VerificationRun
        fields = [
            "id", "reason", "scope", "job", "asked_by", "asked_at", "finished_at", "looked_at", "changed", "waiting",
        ]  # fmt: skip
        read_only_fields = fields


class VerificationChangeSerializer(serializers.ModelSerializer[VerificationChange]):
    """A reading whose result is no longer what it was; until a manager decides, it stands as it was."""

    system = serializers.UUIDField(source="reading.system_id", read_only=True)
    line = serializers.UUIDField(source="reading.line_id", read_only=True, allow_null=True)
    verdict_before = serializers.CharField(source="reading.verdict", read_only=True)
    decided_by = PersonSerializer(read_only=True, allow_null=True)

    class Meta:
        model = VerificationChange
        fields = [
            "id", "run", "reading", "system", "line", "verdict_before", "verdict", "inputs", "result", "decided_at",
            "decided_by", "confirmed", "remark", "new_reading",
        ]  # fmt: skip
        read_only_fields = fields


class DecideChangeSerializer(serializers.Serializer[Any]):
    confirm = serializers.BooleanField(help_text="True: the new result stands. False: the old one, with the remark.")
    remark = Words()
