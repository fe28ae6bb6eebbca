"""What a phone takes along."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers


def _rows(help_text: str) -> serializers.ListField:
    return serializers.ListField(child=serializers.DictField(), help_text=help_text)


class TakenPersonSerializer(serializers.Serializer[Any]):
    id = serializers.IntegerField()
    name = serializers.CharField()
    role = serializers.CharField()


class TakenSystemSerializer(serializers.Serializer[Any]):
    id = serializers.UUIDField()
    tag = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.CharField()
    kind_words = serializers.CharField()
    site = serializers.DictField()
    time_zone = serializers.CharField()
    energy = serializers.DictField(help_text="What is recorded of its supplies, in a word and in words.")
    battery = serializers.DictField(allow_null=True)
    nameplate = serializers.DictField()
    stages = _rows("Stages in order, each with its lines in order.")
    tags = _rows("Equipment.")
    punch_items = _rows("Punch items that are not closed.")
    supplies = _rows("Ways in which energy gets in, as recorded.")
    alarms = _rows("Alarm sightings that nobody has explained, and those that must be seen to clear.")
    signals = _rows("Signal points with the proof that stands.")


class TakeAlongSerializer(serializers.Serializer[Any]):
    """Some systems of a project as they stood when they were taken along."""

    project = serializers.DictField(help_text="Code, name and the settings that decide a verdict.")
    code = serializers.CharField()
    person = TakenPersonSerializer()
    taken_at = serializers.DateTimeField()
    server_time = serializers.DateTimeField()
    head = serializers.IntegerField(help_text="Number of the project's last audit entry that this holds.")
    instruments = _rows("Instruments in use with their ranges and calibrations.")
    systems = TakenSystemSerializer(many=True)
    missing = serializers.ListField(child=serializers.UUIDField(), help_text="Asked for, and not there to be seen.")
