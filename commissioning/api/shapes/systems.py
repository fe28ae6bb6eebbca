"""Systems with where they stand, their stages with what holds each, and equipment."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from commissioning.api.parsing import NewId, Words
from commissioning.api.shapes.common import BlockerSerializer, EnergySerializer, PersonSerializer
from commissioning.models import Acceptance, CheckLine, Equipment, Reading, SignalPoint, Stage, System
from commissioning.rules.gate import SupplyFact
from commissioning.rules.safety import BATTERY_WORDS, ENERGY_WORDS, energy_state


def energy_of(supplies: Sequence[SupplyFact]) -> dict[str, str]:
    """What is recorded of the supplies, in the words that the pages use."""
    state = energy_state(supply.state for supply in supplies)
    battery = BATTERY_WORDS if any(supply.kind == "battery" for supply in supplies) else ""
    return {"state": state.value, "words": ENERGY_WORDS[state], "battery": battery}


class SystemSerializer(serializers.ModelSerializer[System]):
    """A system and its place."""

    site_code = serializers.CharField(source="site.code", read_only=True)
    kind_words = serializers.CharField(source="get_kind_display", read_only=True)

    class Meta:
        model = System
        fields = ["id", "tag", "name", "kind", "kind_words", "site", "site_code", "nameplate", "created_at"]
        read_only_fields = fields


class SystemChangeSerializer(serializers.Serializer[Any]):
    """How far the record of a system has come."""

    change = serializers.IntegerField(help_text="Grows with every change of state in the system.")


class StageBriefSerializer(serializers.Serializer[Any]):
    """A stage as a list of systems shows it."""

    id = serializers.UUIDField()
    kind = serializers.CharField()
    state = serializers.CharField()
    exceptions = serializers.IntegerField(help_text="What stands against it since it was accepted.")


class SystemRowSerializer(serializers.Serializer[Any]):
    """A system in the list: where it stands, what it needs next, and how many things hold it."""

    id = serializers.UUIDField(source="system.id")
    tag = serializers.CharField(source="system.tag")
    name = serializers.CharField(source="system.name")
    kind = serializers.CharField(source="system.kind")
    site = serializers.UUIDField(source="system.site_id")
    site_code = serializers.CharField(source="system.site.code")
    stages = StageBriefSerializer(many=True, source="cells")
    stage_in_hand = serializers.CharField(source="in_hand.kind", default=None, allow_null=True)
    planned_for = serializers.DateField(source="planned", allow_null=True)
    move = serializers.CharField(help_text="What the stage in hand needs next.")
    held = serializers.BooleanField(help_text="Something other than work not done yet keeps it where it is.")
    blockers = serializers.SerializerMethodField(help_text="How many things hold it.")
    turns = serializers.SerializerMethodField(help_text="Whose turn it is: roles, or authorised_person.")
    energy = serializers.CharField(source="energy.value", help_text="live, recorded_isolated or not_recorded.")
    energy_words = serializers.SerializerMethodField()
    lines_done = serializers.IntegerField(source="done")
    lines = serializers.IntegerField(source="total")

    def get_blockers(self, row: Any) -> int:
        return int(row.blocker_count)

    def get_turns(self, row: Any) -> list[str]:
        return sorted(row.turns)

    def get_energy_words(self, row: Any) -> str:
        return ENERGY_WORDS[row.energy]


class AcceptanceSerializer(serializers.ModelSerializer[Acceptance]):
    """A gate passed: who signed, in which role, when, and the hash of what was signed."""

    class Meta:
        model = Acceptance
        fields = [
            "id", "stage", "signed_by", "signed_name", "signed_role", "signed_at", "signed_hash", "remark",
            "withdrawn_at", "withdrawn_reason",
        ]  # fmt: skip
        read_only_fields = fields


class StageSerializer(serializers.ModelSerializer[Stage]):
    """A stage, without what the gate says about it."""

    started_by = PersonSerializer(read_only=True, allow_null=True)

    class Meta:
        model = Stage
        fields = ["id", "system", "kind", "order", "state", "started_at", "started_by", "planned_for"]
        read_only_fields = fields


class StageStandingSerializer(serializers.Serializer[Any]):
    """A stage with what the gate says about it."""

    id = serializers.UUIDField(source="stage.id")
    kind = serializers.CharField(source="stage.kind")
    words = serializers.CharField(source="facts.words")
    order = serializers.IntegerField(source="stage.order")
    state = serializers.CharField(source="stage.state")
    started_at = serializers.DateTimeField(source="stage.started_at", allow_null=True)
    planned_for = serializers.DateField(source="stage.planned_for", allow_null=True)
    lines_done = serializers.IntegerField(source="done")
    lines = serializers.IntegerField(source="total")
    acceptance = AcceptanceSerializer(allow_null=True)
    withdrawn = serializers.BooleanField(help_text="It was accepted once, and that was withdrawn.")
    entry_blockers = BlockerSerializer(many=True, source="entry", help_text="What keeps it from being started.")
    blockers = BlockerSerializer(many=True, help_text="What keeps it from being accepted.")
    exceptions = BlockerSerializer(many=True, help_text="What stands against it since it was accepted.")


class WholeSystemSerializer(serializers.Serializer[Any]):
    """A system with its stages, what holds each, and what is recorded of its supplies."""

    system = SystemSerializer()
    energy = serializers.SerializerMethodField()
    stages = StageStandingSerializer(many=True)
    stage_in_hand = serializers.UUIDField(source="in_hand.stage.id", default=None, allow_null=True)
    open_items = serializers.DictField(child=serializers.IntegerField(), help_text="Standing items by category.")

    @extend_schema_field(EnergySerializer)
    def get_energy(self, standing: Any) -> dict[str, str]:
        facts = standing.stages[0].facts if standing.stages else None
        return energy_of(facts.supplies if facts else ())


class AcceptStageSerializer(serializers.Serializer[Any]):
    """A signature: the password is asked again, so that a phone left on a bench signs nothing."""

    id = NewId()
    password = serializers.CharField(max_length=4096, trim_whitespace=False)
    remark = Words()


class PlanStageSerializer(serializers.Serializer[Any]):
    planned_for = serializers.DateField(allow_null=True, help_text="Null: no date.")


class EquipmentSerializer(serializers.ModelSerializer[Equipment]):
    kind_words = serializers.CharField(source="get_kind_display", read_only=True)
    system_tag = serializers.CharField(source="system.tag", read_only=True)

    class Meta:
        model = Equipment
        fields = [
            "id", "tag", "description", "kind", "kind_words", "system", "system_tag", "parent", "serial_number",
            "maker", "model", "nameplate", "former_tags",
        ]  # fmt: skip
        read_only_fields = fields


class TagLineSerializer(serializers.ModelSerializer[CheckLine]):
    stage_kind = serializers.CharField(source="stage.kind", read_only=True)

    class Meta:
        model = CheckLine
        fields = ["id", "stage", "stage_kind", "key", "title", "action", "state", "done_at"]
        read_only_fields = fields


class TagReadingSerializer(serializers.ModelSerializer[Reading]):
    class Meta:
        model = Reading
        fields = ["id", "line", "calculation", "verdict", "taken_at"]
        read_only_fields = fields


class TagSignalSerializer(serializers.ModelSerializer[SignalPoint]):
    class Meta:
        model = SignalPoint
        fields = ["id", "tag", "description", "direction", "stage_kind"]
        read_only_fields = fields


class WholeEquipmentSerializer(EquipmentSerializer):
    """A tag with all that is on record about it."""

    energy = EnergySerializer(read_only=True)
    lines = TagLineSerializer(many=True, read_only=True, source="lines_on_it")
    readings = TagReadingSerializer(many=True, read_only=True, source="last_readings", help_text="The last that stand.")
    signals = TagSignalSerializer(many=True, read_only=True, source="signals_of_it")

    class Meta(EquipmentSerializer.Meta):
        fields = [*EquipmentSerializer.Meta.fields, "energy", "lines", "readings", "signals"]
        read_only_fields = fields
