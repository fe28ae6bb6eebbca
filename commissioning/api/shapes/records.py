"""Supplies, permissions to energise, alarms and signals."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from commissioning.api.parsing import Moment, NewId, Words
from commissioning.api.shapes.common import PersonSerializer
from commissioning.models import (
    AlarmOutcome,
    AlarmSighting,
    PermissionToEnergise,
    SignalPoint,
    SignalProof,
    SupplyChange,
    SupplyPoint,
)
from commissioning.selectors.signals import proof_state, standing_proof


class SupplySerializer(serializers.ModelSerializer[SupplyPoint]):
    """A way in for energy, and what was recorded of it; never what is so."""

    system_tag = serializers.CharField(source="system.tag", read_only=True)
    changed_by = PersonSerializer(read_only=True, allow_null=True)

    class Meta:
        model = SupplyPoint
        fields = [
            "id", "system", "system_tag", "tag", "description", "kind", "state", "lock_number", "changed_at",
            "changed_by",
        ]  # fmt: skip
        read_only_fields = fields


class SupplyChangeSerializer(serializers.ModelSerializer[SupplyChange]):
    """One isolation or release as it was recorded."""

    by = PersonSerializer(read_only=True)

    class Meta:
        model = SupplyChange
        fields = ["id", "supply", "state", "lock_number", "permission", "by", "at", "recorded_at", "remark"]
        read_only_fields = fields


class IsolateSerializer(serializers.Serializer[Any]):
    """An isolation with its lock. It is a record; dead is proved at the point of work."""

    id = NewId()
    lock_number = serializers.CharField(max_length=40)
    remark = Words()
    at = Moment(required=False)


class ReleaseSerializer(serializers.Serializer[Any]):
    """A release under a permission to energise that names the supply."""

    id = NewId()
    permission = serializers.UUIDField()
    remark = Words()


class PermissionSerializer(serializers.ModelSerializer[PermissionToEnergise]):
    """A permission to energise, as the authorised person signed it."""

    system_tag = serializers.CharField(source="system.tag", read_only=True)
    stage_kind = serializers.CharField(source="stage.kind", read_only=True)
    supplies = serializers.PrimaryKeyRelatedField(many=True, read_only=True)

    class Meta:
        model = PermissionToEnergise
        fields = [
            "id", "system", "system_tag", "stage", "stage_kind", "supplies", "valid_from", "valid_until", "precautions",
            "signed_by", "signed_name", "signed_role", "signed_at", "signed_hash", "withdrawn_at", "withdrawn_by",
            "withdrawn_reason",
        ]  # fmt: skip
        read_only_fields = fields


class SignPermissionSerializer(serializers.Serializer[Any]):
    """The supplies that may be released, until when, and the password again."""

    id = NewId()
    stage = serializers.UUIDField()
    supplies = serializers.ListField(child=serializers.UUIDField(), allow_empty=False, max_length=200)
    valid_from = Moment(required=False)
    valid_until = Moment()
    precautions = Words()
    password = serializers.CharField(max_length=4096, trim_whitespace=False)


class AlarmSerializer(serializers.ModelSerializer[AlarmSighting]):
    """An alarm as somebody saw it, and what it turned out to be."""

    system_tag = serializers.CharField(source="system.tag", read_only=True)
    stage_kind = serializers.CharField(source="stage.kind", read_only=True)
    tag = serializers.CharField(source="equipment.tag", read_only=True, default="")
    seen_by = PersonSerializer(read_only=True)
    decided_by = PersonSerializer(read_only=True, allow_null=True)
    cleared_by = PersonSerializer(read_only=True, allow_null=True)

    class Meta:
        model = AlarmSighting
        fields = [
            "id", "system", "system_tag", "stage", "stage_kind", "equipment", "tag", "text", "seen_by", "seen_at",
            "recorded_at", "outcome", "explanation", "decided_by", "decided_at", "expected_until", "cleared_at",
            "cleared_by", "cleared_remark",
        ]  # fmt: skip
        read_only_fields = fields


class LogAlarmSerializer(serializers.Serializer[Any]):
    id = NewId()
    stage = serializers.UUIDField(help_text="The stage in which it was seen.")
    text = serializers.CharField(max_length=200, help_text="The alarm as the display words it.")
    equipment = serializers.UUIDField(required=False, allow_null=True)
    seen_at = Moment(required=False)


class DecideAlarmSerializer(serializers.Serializer[Any]):
    outcome = serializers.ChoiceField(choices=[one for one in AlarmOutcome.choices if one[0] != "unexplained"])
    explanation = Words()
    expected_until = serializers.UUIDField(required=False, allow_null=True, help_text="A later stage of its system.")


class ClearAlarmSerializer(serializers.Serializer[Any]):
    remark = Words()
    at = Moment(required=False)


class SignalProofSerializer(serializers.ModelSerializer[SignalProof]):
    """One attempt at a point: forced, seen at the far end, restored; or failed."""

    state = serializers.SerializerMethodField()
    forced_by = PersonSerializer(read_only=True)
    seen_by = PersonSerializer(read_only=True, allow_null=True)
    restored_by = PersonSerializer(read_only=True, allow_null=True)

    class Meta:
        model = SignalProof
        fields = [
            "id", "point", "state", "forced_by", "forced_at", "seen_by", "seen_at", "response_seconds", "restored_by",
            "restored_at", "failed_at", "failed_reason", "superseded_at",
        ]  # fmt: skip
        read_only_fields = fields

    def get_state(self, proof: SignalProof) -> str:
        return proof_state(proof)


class SignalSerializer(serializers.ModelSerializer[SignalPoint]):
    """A signal point with its standing proof."""

    system_tag = serializers.CharField(source="system.tag", read_only=True)
    stage_state = serializers.CharField(read_only=True, allow_null=True)
    state = serializers.SerializerMethodField(help_text="not forced, forced, seen, proved or failed.")
    proof = serializers.SerializerMethodField()

    class Meta:
        model = SignalPoint
        fields = [
            "id", "system", "system_tag", "equipment", "stage_kind", "stage_state", "tag", "description", "direction",
            "far_end", "order", "state", "proof",
        ]  # fmt: skip
        read_only_fields = fields

    def get_state(self, point: SignalPoint) -> str:
        return proof_state(standing_proof(point))

    @extend_schema_field(SignalProofSerializer(allow_null=True))
    def get_proof(self, point: SignalPoint) -> dict[str, Any] | None:
        proof = standing_proof(point)
        return dict(SignalProofSerializer(proof).data) if proof else None


class ForceSignalSerializer(serializers.Serializer[Any]):
    id = NewId()
    at = Moment(required=False)


class SeeSignalSerializer(serializers.Serializer[Any]):
    at = Moment(required=False)
    response_seconds = serializers.FloatField(required=False, allow_null=True, min_value=0, max_value=86400)


class RestoreSignalSerializer(serializers.Serializer[Any]):
    at = Moment(required=False)


class FailSignalSerializer(serializers.Serializer[Any]):
    reason = Words(required=True, allow_blank=False)
    at = Moment(required=False)
