"""Shapes that several subjects share."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from commissioning.api.parsing import Moment, NewId, Words
from commissioning.models import User
from commissioning.rules.gate import Rule

Fields = dict[str, Any]


class PersonSerializer(serializers.ModelSerializer[User]):
    class Meta:
        model = User
        fields = ["id", "name"]
        read_only_fields = fields


class BlockerSerializer(serializers.Serializer[Any]):
    """One thing that holds a stage: what, where, whose turn it is, and which record to look at."""

    rule = serializers.IntegerField(min_value=min(Rule), max_value=max(Rule), help_text="Number of the gate's rule.")
    code = serializers.CharField()
    words = serializers.CharField()
    where = serializers.CharField()
    turn = serializers.CharField(help_text="A role, or authorised_person.")
    link_kind = serializers.CharField(help_text="Kind of the record that it is about.")
    link_id = serializers.CharField()
    owner = serializers.CharField(allow_blank=True)
    since = serializers.DateTimeField(allow_null=True)


class EnergySerializer(serializers.Serializer[Any]):
    """What is recorded of the supplies, never what is so: dead is proved at the point of work."""

    state = serializers.CharField(help_text="live, recorded_isolated or not_recorded.")
    words = serializers.CharField()
    battery = serializers.CharField(allow_blank=True, help_text="What has to be said where there is a battery.")


class GiveReasonSerializer(serializers.Serializer[Any]):
    """A deed that needs its reason."""

    reason = Words(required=True, allow_blank=False)


class GiveRemarkSerializer(serializers.Serializer[Any]):
    """A record with a remark, and when it was done by the person's clock."""

    id = NewId()
    remark = Words()
    at = Moment(required=False)
