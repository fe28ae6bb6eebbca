"""How punch items, their steps and photos are written in the API, and what it takes to make them."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from commissioning.api.shapes.common import PersonSerializer
from punchlist.models import Category, ItemStep, Photo, PunchItem
from punchlist.services.common import COMPANY_LIMIT, TEXT_LIMIT

LARGEST_KEY = 2**31 - 1


class StepSerializer(serializers.ModelSerializer[ItemStep]):
    by = PersonSerializer(read_only=True)

    class Meta:
        model = ItemStep
        fields = ["id", "step", "by", "at", "recorded_at", "remark", "changes"]
        read_only_fields = fields


class PhotoSerializer(serializers.ModelSerializer[Photo]):
    taken_by = PersonSerializer(read_only=True)

    class Meta:
        model = Photo
        fields = [
            *("id", "sha256", "width", "height", "bytes", "caption", "taken_at", "taken_by", "recorded_at"),
            *("withdrawn_at", "withdrawn_reason"),
        ]
        read_only_fields = fields


class ItemSerializer(serializers.ModelSerializer[PunchItem]):
    """An item as lists show it."""

    site = serializers.CharField(source="system.site.code", read_only=True)
    system_tag = serializers.CharField(source="system.tag", read_only=True)
    stage_kind = serializers.CharField(source="stage.kind", read_only=True)
    tag = serializers.SerializerMethodField()
    raised_by = PersonSerializer(read_only=True)
    owes = PersonSerializer(read_only=True, allow_null=True)
    rectified_by = PersonSerializer(read_only=True, allow_null=True)
    closed_by = PersonSerializer(read_only=True, allow_null=True)

    class Meta:
        model = PunchItem
        fields = [
            "id", "number", "label", "category", "state", "text", "site", "system", "system_tag", "stage", "stage_kind",
            "equipment", "tag", "line", "alarm", "raised_by", "raised_at", "recorded_at", "owes", "owes_company",
            "due_on", "changed_at", "rectified_by", "rectified_at", "closed_by", "closed_at",
        ]  # fmt: skip
        read_only_fields = fields

    def get_tag(self, item: PunchItem) -> str:
        """Tag of the equipment, or of the system as a whole."""
        return item.equipment.tag if item.equipment else item.system.tag


class WholeItemSerializer(ItemSerializer):
    """An item with its life and its photos."""

    steps = StepSerializer(many=True, read_only=True)
    photos = PhotoSerializer(many=True, read_only=True)

    class Meta(ItemSerializer.Meta):
        fields = [*ItemSerializer.Meta.fields, "steps", "photos"]
        read_only_fields = fields


class RaiseSerializer(serializers.Serializer[Any]):
    """A new item. `id` is made by the client, so that sending it again is safe.

    Its place is a `line`, an `alarm`, a piece of `equipment` or a `system`; without a `stage` it is the one in hand.
    """

    id = serializers.UUIDField(required=False)
    category = serializers.ChoiceField(choices=Category.choices)
    text = serializers.CharField(max_length=TEXT_LIMIT)
    system = serializers.UUIDField(required=False)
    stage = serializers.UUIDField(required=False)
    equipment = serializers.UUIDField(required=False)
    line = serializers.UUIDField(required=False)
    alarm = serializers.UUIDField(required=False)
    owes = serializers.IntegerField(
        required=False, allow_null=True, min_value=1, max_value=LARGEST_KEY, help_text="Key of a member of the project."
    )
    owes_company = serializers.CharField(required=False, allow_blank=True, max_length=COMPANY_LIMIT)
    due_on = serializers.DateField(required=False, allow_null=True)
    at = serializers.DateTimeField(required=False, help_text="When it was found, by the person's clock.")

    def validate(self, given: dict[str, Any]) -> dict[str, Any]:
        if not any(given.get(word) for word in ("line", "alarm", "equipment", "system")):
            raise serializers.ValidationError(
                {"system": "Say where: a system, or equipment, a line or an alarm of it."}
            )
        return given


class ChangeSerializer(serializers.Serializer[Any]):
    """What is to be changed; what is left out stays as it is."""

    id = serializers.UUIDField(required=False, help_text="Of this change, made by the client.")
    category = serializers.ChoiceField(choices=Category.choices, required=False)
    text = serializers.CharField(max_length=TEXT_LIMIT, required=False)
    equipment = serializers.UUIDField(required=False, allow_null=True)
    owes = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=LARGEST_KEY)
    owes_company = serializers.CharField(required=False, allow_blank=True, max_length=COMPANY_LIMIT)
    due_on = serializers.DateField(required=False, allow_null=True)
    reason = serializers.CharField(required=False, allow_blank=True, max_length=TEXT_LIMIT)


class RemarkSerializer(serializers.Serializer[Any]):
    """A step with what is to be said about it."""

    id = serializers.UUIDField(required=False, help_text="Of this step, made by the client.")
    remark = serializers.CharField(required=False, allow_blank=True, max_length=TEXT_LIMIT)
    at = serializers.DateTimeField(required=False)


class ReasonSerializer(serializers.Serializer[Any]):
    """A step that needs its reason."""

    id = serializers.UUIDField(required=False, help_text="Of this step, made by the client.")
    reason = serializers.CharField(max_length=TEXT_LIMIT)
    at = serializers.DateTimeField(required=False)


class AssignSerializer(serializers.Serializer[Any]):
    """Who owes these items, and until when; what is left out stays as it is, null takes it off."""

    id = serializers.UUIDField(required=False, help_text="Of this assignment, made by the client.")
    items = serializers.ListField(child=serializers.UUIDField(), allow_empty=False)
    owes = serializers.IntegerField(required=False, allow_null=True, min_value=1, max_value=LARGEST_KEY)
    owes_company = serializers.CharField(required=False, allow_blank=True, max_length=COMPANY_LIMIT)
    due_on = serializers.DateField(required=False, allow_null=True)


class AssignmentSerializer(serializers.Serializer[Any]):
    """What an assignment did; `batch` takes it back."""

    batch = serializers.UUIDField()
    numbers = serializers.ListField(child=serializers.IntegerField())


class AddPhotoSerializer(serializers.Serializer[Any]):
    """A picture as a file; JPEG, PNG or WebP by its content."""

    id = serializers.UUIDField(required=False, help_text="Of this photo, made by the client.")
    file = serializers.FileField()
    caption = serializers.CharField(required=False, allow_blank=True, max_length=200)
    taken_at = serializers.DateTimeField(required=False)
