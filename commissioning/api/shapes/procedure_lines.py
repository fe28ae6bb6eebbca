"""What a body says of a line of a project's procedure."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from commissioning.api.parsing import NewId, Words, refuse_unknown
from commissioning.api.shapes.calculations import Anything
from commissioning.models import EquipmentKind, Role, StageKind
from commissioning.models.procedures import Action, Point, Work
from commissioning.procedures.terms import INPUT_KINDS, REPEATS

_NUMBER = {"required": False, "allow_null": True, "min_value": -1e15, "max_value": 1e15}


class LimitSerializer(serializers.Serializer[Any]):
    """A limit of the project's own on what the line calculates, in the output's unit, and who says so."""

    output = serializers.CharField(max_length=60)
    lower = serializers.FloatField(**_NUMBER)  # type: ignore[arg-type]
    upper = serializers.FloatField(**_NUMBER)  # type: ignore[arg-type]
    source = serializers.CharField(max_length=200, help_text="A document with its revision, or a person.")

    def validate(self, limit: dict[str, Any]) -> dict[str, Any]:
        return {"output": limit["output"], "source": limit["source"], **{s: limit.get(s) for s in ("lower", "upper")}}


class InputSourceSerializer(serializers.Serializer[Any]):
    """Where an input of the calculation comes from: measured, a nameplate, set by the procedure, or a recording."""

    kind = serializers.ChoiceField(choices=[(word, word) for word in INPUT_KINDS])
    label = Words(max_length=200, help_text="Of a measured value: what is measured.")
    unit = Words(max_length=20)
    many = serializers.BooleanField(required=False, help_text="Of a measured value: a list of them.")
    optional = serializers.BooleanField(required=False, help_text="It may be left empty.")
    key = Words(max_length=60, help_text="Entry of the nameplate.")
    of = Words(max_length=30, help_text="Whose nameplate: system, or a kind of equipment.")
    value = Anything(required=False)
    source = Words(max_length=200, help_text="Of a value that is set: who says so.")

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        refuse_unknown(data, self.fields)
        found = super().to_internal_value(data)
        return {name: value for name, value in found.items() if value not in ("", None) and value is not False}


class _LineSerializer(serializers.Serializer[Any]):
    how = Words()
    accept = Words(help_text="Good enough when.")
    caution = Words(help_text="What can hurt somebody.")
    action = serializers.ChoiceField(choices=Action.choices, required=False)
    work = serializers.ChoiceField(
        choices=Work.choices, required=False, help_text="Dead work is refused on a system not recorded isolated."
    )
    injects_voltage = serializers.BooleanField(required=False, help_text="Dead has to be proved on the line first.")
    point = serializers.ChoiceField(choices=Point.choices, required=False)
    party = serializers.ChoiceField(choices=Role.choices, required=False, allow_blank=True, help_text="Empty: client.")
    required = serializers.BooleanField(required=False, help_text="Required for the gate.")
    timer_seconds = serializers.IntegerField(min_value=1, max_value=86400, required=False, allow_null=True)
    equipment_kind = serializers.ChoiceField(
        choices=EquipmentKind.choices, required=False, allow_blank=True, help_text="Empty: the system as a whole."
    )
    repeat = serializers.ChoiceField(
        choices=[(word, word) for word in REPEATS], required=False, allow_blank=True, help_text="Empty: once."
    )
    calculation = Words(max_length=60, help_text="Empty: the line calculates nothing.")
    inputs = serializers.DictField(
        child=InputSourceSerializer(), required=False, help_text="All of the inputs, by name: where each comes from."
    )
    limits = LimitSerializer(many=True, required=False, help_text="All of the line's own limits.")

    def validate(self, line: dict[str, Any]) -> dict[str, Any]:
        return {**line, "party": ""} if line.get("point") == Point.NONE else line


class ChangeProcedureLineSerializer(_LineSerializer):
    """What is to be changed; what is left out stays as it is."""

    title = Words(max_length=160, allow_blank=False)


class NewProcedureLineSerializer(_LineSerializer):
    """A line of the project's own."""

    id = NewId()
    stage_kind = serializers.ChoiceField(choices=StageKind.choices)
    after = Words(max_length=40, help_text="Key of the line that it follows; left out: at the end of its stage.")
    title = serializers.CharField(max_length=160)


class PlaceLineSerializer(serializers.Serializer[Any]):
    after = Words(max_length=40, help_text="Key of the line of the same stage that it follows; left out: first.")
