"""What a body says of a site, a system, equipment, a supply point, a signal point or a dependency of the register."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from commissioning.api.parsing import NewId, TypedText, Words
from commissioning.models import Direction, EquipmentKind, StageDependency, StageKind, SupplyKind, SystemKind

#: The last place in a list of signal points.
LAST_PLACE = 2_000_000


class Nameplate(serializers.DictField):
    """A nameplate as typed, by entry; values may carry their unit."""

    child = TypedText(max_length=200)

    def __init__(self, **more: Any) -> None:
        words = (
            "The whole nameplate, by entry, as typed: units are understood. A calculation names the entries it reads."
        )
        super().__init__(**{"required": False, "help_text": words, **more})


class ChangeSiteSerializer(serializers.Serializer[Any]):
    """What is to be changed; what is left out stays as it is."""

    code = Words(max_length=20, allow_blank=False)
    name = Words(max_length=200, allow_blank=False)
    time_zone = Words(max_length=64, help_text="A name of the IANA list; empty: the project's.")
    notes = Words(max_length=8000)


class NewSiteSerializer(ChangeSiteSerializer):
    """A place with its own gate, time zone and people."""

    id = NewId()
    code = serializers.CharField(max_length=20)
    name = serializers.CharField(max_length=200)


class ChangeSystemSerializer(serializers.Serializer[Any]):
    """What is to be changed; what is left out stays as it is. A system's kind stays: its stages follow from it."""

    tag = Words(max_length=60, allow_blank=False)
    name = Words(max_length=200, allow_blank=False)
    site = serializers.UUIDField(required=False)
    nameplate = Nameplate()


class NewSystemSerializer(serializers.Serializer[Any]):
    """What is commissioned and handed over as one."""

    id = NewId()
    site = serializers.UUIDField()
    tag = serializers.CharField(max_length=60)
    name = serializers.CharField(max_length=200)
    kind = serializers.ChoiceField(choices=SystemKind.choices)
    nameplate = Nameplate()


class ChangeEquipmentSerializer(serializers.Serializer[Any]):
    """What is to be changed; what is left out stays as it is. A new tag keeps the old one: labels lead here."""

    tag = Words(max_length=60, allow_blank=False)
    kind = serializers.ChoiceField(choices=EquipmentKind.choices, required=False)
    parent = serializers.UUIDField(required=False, allow_null=True, help_text="Null: part of nothing.")
    description = Words(max_length=200)
    serial_number = Words(max_length=80)
    maker = Words(max_length=120)
    model = Words(max_length=120)
    nameplate = Nameplate()


class NewEquipmentSerializer(ChangeEquipmentSerializer):
    """Something tagged in a system."""

    id = NewId()
    system = serializers.UUIDField()
    tag = serializers.CharField(max_length=60)


class ChangeSupplySerializer(serializers.Serializer[Any]):
    """What a supply point is called and how energy gets in. Its isolation is recorded elsewhere, never here."""

    tag = Words(max_length=60, allow_blank=False)
    kind = serializers.ChoiceField(choices=SupplyKind.choices, required=False)
    description = Words(max_length=200)


class NewSupplySerializer(ChangeSupplySerializer):
    """A way in for energy. It starts as not recorded: treat as LIVE."""

    id = NewId()
    system = serializers.UUIDField()
    tag = serializers.CharField(max_length=60)
    kind = serializers.ChoiceField(choices=SupplyKind.choices)


class ChangeSignalSerializer(serializers.Serializer[Any]):
    """What is to be changed; what is left out stays as it is."""

    tag = Words(max_length=60, allow_blank=False)
    description = Words(max_length=200, allow_blank=False)
    direction = serializers.ChoiceField(choices=Direction.choices, required=False)
    stage_kind = serializers.ChoiceField(choices=StageKind.choices, required=False)
    equipment = serializers.UUIDField(required=False, allow_null=True, help_text="Null: of no equipment.")
    far_end = Words(max_length=120)
    order = serializers.IntegerField(min_value=0, max_value=LAST_PLACE, required=False)


class NewSignalSerializer(ChangeSignalSerializer):
    """A signal to be proved end to end in one of its system's stages."""

    id = NewId()
    system = serializers.UUIDField()
    tag = serializers.CharField(max_length=60)
    description = serializers.CharField(max_length=200)


class DependencySerializer(serializers.ModelSerializer[StageDependency]):
    """A stage that waits for a stage of another system."""

    system = serializers.UUIDField(source="stage.system_id", read_only=True)
    system_tag = serializers.CharField(source="stage.system.tag", read_only=True)
    stage_kind = serializers.CharField(source="stage.kind", read_only=True)
    requires_system = serializers.UUIDField(source="requires.system_id", read_only=True)
    requires_system_tag = serializers.CharField(source="requires.system.tag", read_only=True)
    requires_stage_kind = serializers.CharField(source="requires.kind", read_only=True)

    class Meta:
        model = StageDependency
        fields = [
            "id", "stage", "stage_kind", "system", "system_tag", "requires", "requires_stage_kind", "requires_system",
            "requires_system_tag",
        ]  # fmt: skip
        read_only_fields = fields


class NewDependencySerializer(serializers.Serializer[Any]):
    id = NewId()
    stage = serializers.UUIDField(help_text="The stage that waits.")
    requires = serializers.UUIDField(help_text="The stage of another system that has to be accepted first.")
