"""Check lines with their record, and readings."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from commissioning.api.parsing import Moment, NewId, TypedText, Words
from commissioning.api.shapes.common import EnergySerializer, PersonSerializer
from commissioning.models import (
    CheckLine,
    CheckResult,
    Concession,
    Outcome,
    Point,
    ProofOfDead,
    Reading,
    Role,
    Witnessing,
    WitnessNotice,
)


class ResultSerializer(serializers.ModelSerializer[CheckResult]):
    by = PersonSerializer(read_only=True)

    class Meta:
        model = CheckResult
        fields = ["id", "line", "outcome", "values", "remark", "by", "at", "recorded_at", "superseded_at"]
        read_only_fields = fields


class ProofSerializer(serializers.ModelSerializer[ProofOfDead]):
    """Dead was proved at the point of work, by this person, with this detector, at this time; no more than that."""

    by = PersonSerializer(read_only=True)

    class Meta:
        model = ProofOfDead
        fields = [
            "id", "line", "point_of_work", "detector", "proved_before", "proved_after", "by", "at", "recorded_at",
        ]  # fmt: skip
        read_only_fields = fields


class NoticeSerializer(serializers.ModelSerializer[WitnessNotice]):
    given_by = PersonSerializer(read_only=True)

    class Meta:
        model = WitnessNotice
        fields = [
            "id", "line", "planned_for", "given_by", "given_at", "words",
            "sequence", "withdrawn_at", "withdrawn_reason",
        ]  # fmt: skip
        read_only_fields = fields


class WitnessingSerializer(serializers.ModelSerializer[Witnessing]):
    by = PersonSerializer(read_only=True)

    class Meta:
        model = Witnessing
        fields = ["id", "line", "by", "role", "at", "recorded_at", "remark"]
        read_only_fields = fields


class ConcessionSerializer(serializers.ModelSerializer[Concession]):
    class Meta:
        model = Concession
        fields = [
            "id", "line", "reading", "reason", "signed_by", "signed_name", "signed_role", "signed_at", "signed_hash",
            "withdrawn_at", "withdrawn_reason",
        ]  # fmt: skip
        read_only_fields = fields


class ReadingSerializer(serializers.ModelSerializer[Reading]):
    """A reading without its working."""

    by = PersonSerializer(read_only=True)
    instruments = serializers.PrimaryKeyRelatedField(many=True, read_only=True)
    verdict_words = serializers.CharField(source="get_verdict_display", read_only=True)

    class Meta:
        model = Reading
        fields = [
            "id", "system", "line", "equipment", "calculation", "edition", "verdict", "verdict_words",
            "conformity_probability", "instruments", "in_calibration", "remark", "by", "taken_at", "recorded_at",
            "superseded_at", "superseded_by", "superseded_reason",
        ]  # fmt: skip
        read_only_fields = fields


class WholeReadingSerializer(ReadingSerializer):
    """A reading with its inputs as typed, and the calculation's whole answer with the working."""

    class Meta(ReadingSerializer.Meta):
        fields = [*ReadingSerializer.Meta.fields, "inputs", "result"]
        read_only_fields = fields


class LineSerializer(serializers.ModelSerializer[CheckLine]):
    """A check line as lists show it."""

    stage_kind = serializers.CharField(source="stage.kind", read_only=True)
    system = serializers.UUIDField(source="stage.system_id", read_only=True)
    tag = serializers.CharField(source="equipment.tag", read_only=True, default="")
    done_by = PersonSerializer(read_only=True, allow_null=True)

    class Meta:
        model = CheckLine
        fields = [
            "id", "system", "stage", "stage_kind", "key", "order", "title", "equipment", "tag", "action", "work",
            "injects_voltage", "point", "party", "required", "calculation", "procedure_key", "procedure_version",
            "state", "done_at", "done_by", "retired_at",
        ]  # fmt: skip
        read_only_fields = fields


class WholeLineSerializer(LineSerializer):
    """A check line with what it says, and all that is on record about it, newest first."""

    energy = EnergySerializer(read_only=True)
    results = ResultSerializer(many=True, read_only=True, source="record.results")
    readings = WholeReadingSerializer(many=True, read_only=True, source="record.readings")
    proofs_of_dead = ProofSerializer(many=True, read_only=True, source="record.proofs")
    notices = NoticeSerializer(many=True, read_only=True, source="record.notices")
    witnessings = WitnessingSerializer(many=True, read_only=True, source="record.witnessings")
    concessions = ConcessionSerializer(many=True, read_only=True, source="record.concessions")

    class Meta(LineSerializer.Meta):
        fields = [
            *LineSerializer.Meta.fields, "how", "accept", "caution", "timer_seconds", "inputs", "limits", "energy",
            "results", "readings", "proofs_of_dead", "notices", "witnessings", "concessions",
        ]  # fmt: skip
        read_only_fields = fields


class RecordResultSerializer(serializers.Serializer[Any]):
    """What was found on a line; `values` are what the line keeps on record, as typed, by input."""

    id = NewId()
    outcome = serializers.ChoiceField(choices=[one for one in Outcome.choices if one[0] != Outcome.REOPENED])
    remark = Words()
    values = serializers.DictField(child=TypedText(), required=False)
    at = Moment(required=False)


class ReopenLineSerializer(serializers.Serializer[Any]):
    id = NewId()
    reason = Words()


class TypedSerializer(serializers.Serializer[Any]):
    """Each input as typed, by name, and what measured it; the instrument of `""` measured whatever is not named."""

    typed = serializers.DictField(child=TypedText())
    instruments = serializers.DictField(child=serializers.UUIDField(), required=False)


class RecordReadingSerializer(TypedSerializer):
    id = NewId()
    taken_at = Moment(required=False)
    remark = Words()


class AttachReadingSerializer(RecordReadingSerializer):
    """A calculation's result kept against a tag, outside any check line."""

    calculation = serializers.CharField(max_length=60)


class ProveDeadSerializer(serializers.Serializer[Any]):
    """A proof of dead: where, and with a voltage detector that was proved before and after."""

    id = NewId()
    point_of_work = serializers.CharField(max_length=200)
    detector = serializers.CharField(max_length=120, help_text="Voltage detector, with its serial number.")
    proved_before = serializers.BooleanField()
    proved_after = serializers.BooleanField()
    at = Moment(required=False)


class GiveNoticeSerializer(serializers.Serializer[Any]):
    id = NewId()
    planned_for = Moment()
    words = Words()


class SignConcessionSerializer(serializers.Serializer[Any]):
    id = NewId()
    reason = Words(required=True, allow_blank=False)
    password = serializers.CharField(max_length=4096, trim_whitespace=False)


class SetPointSerializer(serializers.Serializer[Any]):
    point = serializers.ChoiceField(choices=Point.choices)
    party = serializers.ChoiceField(choices=Role.choices, required=False, allow_blank=True, default="")
