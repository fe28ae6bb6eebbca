"""What a phone sends after a time without signal, and what it is answered."""

from __future__ import annotations

import json
from typing import Any

from rest_framework import serializers

from commissioning.api.parsing import Moment, Words
from commissioning.api.shapes.calculations import Anything
from commissioning.api.shapes.common import PersonSerializer
from commissioning.models import OutboxItem
from commissioning.services.outbox import BATCH_LIMIT

NOT_KEPT = "This holds a character or a number that cannot be kept. Record it anew."


class AnyObject(serializers.DictField):
    """A JSON object that is kept as it came, as far as every database can keep it."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        if not isinstance(data, dict):
            self.fail("not_a_dict", input_type=type(data).__name__)
        try:
            text = json.dumps(data, allow_nan=False, ensure_ascii=False)
            text.encode()
        except ValueError as error:
            raise serializers.ValidationError(NOT_KEPT) from error
        if "\\u0000" in text:
            raise serializers.ValidationError(NOT_KEPT)
        return data


class SentItemSerializer(serializers.Serializer[Any]):
    """One deed. `id` is made by the phone: sent again, it is answered as the first time and done once."""

    id = serializers.UUIDField()
    system = serializers.UUIDField(required=False, allow_null=True)
    kind = serializers.CharField(max_length=40, help_text="reading, check_result, punch_item, photo …")
    made_at = Moment(help_text="When it was done, by the phone's clock.")
    body = AnyObject(help_text="As the address that does the same online, and the id of what it is done to.")
    seen = AnyObject(required=False, help_text="What the phone knew: taken_at, head, line {state, changed, edition}.")
    mends = serializers.UUIDField(required=False, allow_null=True, help_text="The refused item that it replaces.")


class SendOutboxSerializer(serializers.Serializer[Any]):
    """A batch, in the order in which it was recorded."""

    sent_at = Moment(help_text="The phone's clock as it sends.")
    items = serializers.ListField(child=SentItemSerializer(), max_length=BATCH_LIMIT)


class MadeRecordSerializer(serializers.Serializer[Any]):
    """The record that an item made."""

    kind = serializers.CharField()
    id = serializers.UUIDField()
    url = serializers.CharField(help_text="Its page; empty where it has none of its own.")


class OutcomeSerializer(serializers.Serializer[Any]):
    """What became of an item."""

    id = serializers.UUIDField()
    state = serializers.CharField(help_text="arrived, needs you, or again: a passing trouble, send it again.")
    known = serializers.BooleanField(help_text="It was sent before; this is the answer of the first time.")
    record = MadeRecordSerializer(allow_null=True)
    sentences = serializers.ListField(child=serializers.CharField(), help_text="What its person is told.")
    refusal = Anything(help_text="The problem document of the refusal, or null.")
    reading = Anything(
        help_text="The server's verdict with its working, where it is a reading; `phone_verdict` is what the phone had "
        "said, `differs` whether that was something else. The server's counts."
    )


class ReceivedSerializer(serializers.Serializer[Any]):
    """The answers, in the order of the items."""

    received_at = serializers.DateTimeField()
    skew_seconds = serializers.FloatField(help_text="What was added to the phone's times; 0 when its clock was right.")
    results = OutcomeSerializer(many=True)


class OutboxItemSerializer(serializers.ModelSerializer[OutboxItem]):
    """An item that was refused, as it was recorded, with the reason."""

    by = PersonSerializer(read_only=True)
    body = Anything(read_only=True)
    refusal = Anything(read_only=True)
    sentences = serializers.ListField(child=serializers.CharField(), read_only=True)
    waits_for = serializers.UUIDField(read_only=True, help_text="The item that it leans on; dropped, this goes too.")
    state = serializers.CharField(source="get_state_display", read_only=True)

    class Meta:
        model = OutboxItem
        fields = [
            "id", "system", "by", "kind", "made_at", "device_at", "skew_seconds", "received_at", "body", "state",
            "refusal", "sentences", "waits_for", "mends", "dropped_reason",
        ]  # fmt: skip
        read_only_fields = fields


class DropItemSerializer(serializers.Serializer[Any]):
    reason = Words(required=True, allow_blank=False)


class HeldFileSerializer(serializers.Serializer[Any]):
    """How much of a file is there."""

    have = serializers.IntegerField()
    size = serializers.IntegerField(help_text="0 while nothing of it is known.")
