"""Instruments with their ranges and calibrations."""

from __future__ import annotations

from datetime import date
from typing import Any

from rest_framework import serializers

from commissioning.api.parsing import NewId, Words
from commissioning.models import Calibration, Instrument, InstrumentRange
from commissioning.selectors.instruments import due_words, today_of

_NUMBER = {"required": False, "min_value": -1e15, "max_value": 1e15}


class InstrumentSerializer(serializers.ModelSerializer[Instrument]):
    """An instrument, and until when its calibration holds."""

    due_on = serializers.DateField(read_only=True, allow_null=True, default=None)
    calibration = serializers.SerializerMethodField(help_text="How the calibration stands today, in words.")

    class Meta:
        model = Instrument
        fields = [
            "id",
            "serial_number",
            "description",
            "maker",
            "model",
            "retired_at",
            "retired_reason",
            "due_on",
            "calibration",
        ]
        read_only_fields = fields

    def get_calibration(self, instrument: Instrument) -> str:
        due: date | None = getattr(instrument, "due_on", None)
        return due_words(due, today_of(self.context["view"].access.project))


class RangeSerializer(serializers.ModelSerializer[InstrumentRange]):
    class Meta:
        model = InstrumentRange
        fields = [
            "id", "instrument", "unit", "lower", "upper", "percent_of_reading", "percent_of_range", "counts",
            "resolution", "temperature_coefficient", "calibration_uncertainty",
        ]  # fmt: skip
        read_only_fields = fields


class CalibrationSerializer(serializers.ModelSerializer[Calibration]):
    class Meta:
        model = Calibration
        fields = [
            "id", "instrument", "calibrated_on", "due_on", "certificate_number", "certificate_sha256", "withdrawn_at",
            "withdrawn_reason",
        ]  # fmt: skip
        read_only_fields = fields


class WholeInstrumentSerializer(InstrumentSerializer):
    ranges = RangeSerializer(many=True, read_only=True)
    calibrations = CalibrationSerializer(many=True, read_only=True)

    class Meta(InstrumentSerializer.Meta):
        fields = [*InstrumentSerializer.Meta.fields, "ranges", "calibrations"]
        read_only_fields = fields


class NewInstrumentSerializer(serializers.Serializer[Any]):
    id = NewId()
    serial_number = serializers.CharField(max_length=80)
    description = serializers.CharField(max_length=200)
    maker = Words(max_length=120)
    model = Words(max_length=120)


class ChangeInstrumentSerializer(serializers.Serializer[Any]):
    """What is to be changed; what is left out stays as it is."""

    serial_number = Words(max_length=80, allow_blank=False)
    description = Words(max_length=200, allow_blank=False)
    maker = Words(max_length=120)
    model = Words(max_length=120)


class AccuracySerializer(serializers.Serializer[Any]):
    """A range's accuracy as the maker states it: ±(% of reading + % of range + counts × resolution)."""

    percent_of_reading = serializers.FloatField(**_NUMBER)  # type: ignore[arg-type]
    percent_of_range = serializers.FloatField(**_NUMBER)  # type: ignore[arg-type]
    counts = serializers.FloatField(**_NUMBER)  # type: ignore[arg-type]
    resolution = serializers.FloatField(**_NUMBER)  # type: ignore[arg-type]
    temperature_coefficient = serializers.FloatField(**_NUMBER)  # type: ignore[arg-type]
    calibration_uncertainty = serializers.FloatField(**_NUMBER)  # type: ignore[arg-type]


class NewRangeSerializer(AccuracySerializer):
    id = NewId()
    unit = serializers.CharField(max_length=20)
    lower = serializers.FloatField(**_NUMBER)  # type: ignore[arg-type]
    upper = serializers.FloatField(min_value=-1e15, max_value=1e15)


class NewCalibrationSerializer(serializers.Serializer[Any]):
    """A calibration; its certificate is sent as a PDF, in a form of several parts."""

    id = NewId()
    calibrated_on = serializers.DateField()
    due_on = serializers.DateField()
    certificate_number = Words(max_length=80)
    certificate = serializers.FileField(required=False)
