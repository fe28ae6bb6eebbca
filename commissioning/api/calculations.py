"""The catalogue of calculations over the API: the same definitions and the same JSON as the shell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import Http404
from rest_framework.request import Request
from rest_framework.response import Response

import calcs
from calcs.definition import Definition
from commissioning.api.base import ApiView
from commissioning.api.schema import operation
from commissioning.api.shapes.calculations import (
    CalculationResultSerializer,
    CalculationSerializer,
    DefinitionSerializer,
    RunSerializer,
)
from commissioning.errors import InvalidInput
from commissioning.models import TokenScope

WORDS = {
    "scalar": "a number, or a text such as 0.52 MΩ",
    "choice": "one of its words",
    "list": "a list of numbers",
    "pairs": "a list of pairs of numbers",
    "table": "time, voltage and current as lists in its place",
}


class CatalogueView(ApiView):
    """An address of the catalogue; it belongs to no project."""

    filter_backends: Sequence[Any] = []
    pagination_class = None


class Catalogue(CatalogueView):
    """The catalogue."""

    serializer_class = CalculationSerializer

    @operation("calculations_list", CalculationSerializer(many=True))
    def get(self, request: Request) -> Response:
        """Every calculation, by name: `python -m calcs list --json`."""
        found = [calcs.get(name) for name in calcs.names()]
        return Response([{"calculation": one.name, "edition": one.edition, "title": one.title} for one in found])


class OneCalculation(CatalogueView):
    """One calculation."""

    serializer_class = DefinitionSerializer

    @operation("calculations_retrieve")
    def get(self, request: Request, name: str) -> Response:
        """What the calculation takes and gives, and on whose authority: `python -m calcs show NAME --json`."""
        return Response(definition_or_404(name).as_json())


class RunCalculation(CatalogueView):
    """A calculation run."""

    write_scope = TokenScope.READ
    serializer_class = RunSerializer

    @operation("calculations_run", CalculationResultSerializer, request=RunSerializer)
    def post(self, request: Request, name: str) -> Response:
        """Calculate; nothing is kept: `python -m calcs run NAME input=value … --json`."""
        definition = definition_or_404(name)
        try:
            return Response(calcs.run(definition.name, checked(definition, self.parsed()["inputs"])).as_json())
        except calcs.InputError as error:
            raise InvalidInput({error.input or "inputs": str(error)}) from error


def checked(definition: Definition, given: Mapping[str, Any]) -> Mapping[str, Any]:
    """The inputs, each of a shape that its kind of input is read from; names are the calculation's own affair."""
    kinds = {one.name: one.kind for one in definition.inputs}
    if wrong := [name for name, value in given.items() if name in kinds and not _fits(kinds[name], value)]:
        raise InvalidInput({name: f"{name}: give {WORDS[kinds[name]]}." for name in wrong})
    return given


def _fits(kind: str, value: Any) -> bool:
    if kind == "table":  # the shell reads it from a file; here nothing opens one
        return value is None
    if value is None or isinstance(value, str):
        return True
    if kind == "pairs":
        return _mapping(value) or (isinstance(value, list) and all(isinstance(one, str) or _pair(one) for one in value))
    if kind == "list" and isinstance(value, list):
        return all(map(_plain, value))
    return _plain(value)


def _plain(value: Any) -> bool:
    """A text or a number as JSON has it; true and false are neither."""
    return isinstance(value, str | int | float) and not isinstance(value, bool)


def _pair(value: Any) -> bool:
    return isinstance(value, list) and len(value) == 2 and all(map(_plain, value))


def _mapping(value: Any) -> bool:
    return isinstance(value, dict) and all(map(_plain, value.values()))


def definition_or_404(name: str) -> Definition:
    try:
        return calcs.get(name)
    except calcs.UnknownCalculation:
        raise Http404("There is no calculation of this name.") from None
