"""The catalogue of calculations and its results, as the shell writes them."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers


@extend_schema_field(OpenApiTypes.ANY)
class Anything(serializers.JSONField):
    """A number, a text, a list or a mapping: as the calculation has it."""


class CalculationSerializer(serializers.Serializer[Any]):
    """One entry of the catalogue."""

    calculation = serializers.CharField()
    edition = serializers.CharField()
    title = serializers.CharField()


class InputSpecSerializer(serializers.Serializer[Any]):
    name = serializers.CharField()
    symbol = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)
    lower = serializers.FloatField(allow_null=True)
    upper = serializers.FloatField(allow_null=True)
    help = serializers.CharField(allow_blank=True)
    kind = serializers.CharField()
    default = Anything(allow_null=True)
    required = serializers.BooleanField()
    measured = serializers.BooleanField()
    whole = serializers.BooleanField()
    choices = serializers.ListField(child=Anything())
    second_unit = serializers.CharField(allow_blank=True)


class OutputSpecSerializer(serializers.Serializer[Any]):
    name = serializers.CharField()
    symbol = serializers.CharField()
    unit = serializers.CharField(allow_blank=True)
    help = serializers.CharField(allow_blank=True)
    kind = serializers.CharField()


class LimitSpecSerializer(serializers.Serializer[Any]):
    output = serializers.CharField()
    lower = Anything(allow_null=True)
    upper = Anything(allow_null=True)
    source = serializers.CharField(allow_blank=True)
    role = serializers.CharField()
    optional = serializers.BooleanField()


class DefinitionSerializer(CalculationSerializer):
    """A calculation, complete: what it takes and gives, its formulas, limits, cautions and sources."""

    inputs = InputSpecSerializer(many=True)
    outputs = OutputSpecSerializer(many=True)
    formulas = serializers.ListField(child=serializers.CharField())
    limits = LimitSpecSerializer(many=True)
    attention = serializers.ListField(child=serializers.CharField())
    cautions = serializers.ListField(child=serializers.CharField())
    sources = serializers.ListField(child=serializers.CharField())


class ValueSerializer(serializers.Serializer[Any]):
    value = Anything(allow_null=True)
    unit = serializers.CharField(allow_blank=True)
    expanded_uncertainty = Anything(allow_null=True)


class AppliedLimitSerializer(serializers.Serializer[Any]):
    output = serializers.CharField()
    lower = serializers.FloatField(allow_null=True)
    upper = serializers.FloatField(allow_null=True)
    unit = serializers.CharField(allow_blank=True)
    source = serializers.CharField(allow_blank=True)


class WorkingSerializer(serializers.Serializer[Any]):
    formula = serializers.CharField()
    substituted = serializers.CharField(allow_blank=True)
    result = serializers.CharField()


class CalculationResultSerializer(serializers.Serializer[Any]):
    """What a calculation answers: the JSON of `python -m calcs run NAME … --json`."""

    calculation = serializers.CharField()
    edition = serializers.CharField()
    inputs = serializers.DictField(child=ValueSerializer())
    outputs = serializers.DictField(child=ValueSerializer())
    limits = AppliedLimitSerializer(many=True)
    verdict = serializers.CharField()
    conformity_probability = serializers.FloatField(allow_null=True)
    working = WorkingSerializer(many=True)
    cautions = serializers.ListField(child=serializers.CharField())
    sources = serializers.ListField(child=serializers.CharField())


class RunSerializer(serializers.Serializer[Any]):
    """Inputs by name: numbers in the unit of the input, or text as it is typed (`0.52 MΩ`, `122.7+-0.13`)."""

    inputs = serializers.DictField(child=Anything())
