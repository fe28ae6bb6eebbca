"""What a phone takes along to work without signal."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.utils import timezone
from django.utils.decorators import method_decorator
from django.views.decorators.gzip import gzip_page
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView
from commissioning.api.schema import operation
from commissioning.api.shapes.take_along import TakeAlongSerializer
from commissioning.errors import InvalidInput
from commissioning.phone_files import version
from commissioning.selectors.take_along import SYSTEMS_LIMIT, head_of, mark_of, take_along

SYSTEM = OpenApiParameter("system", OpenApiTypes.UUID, many=True, description="A system to take along; repeat it.")


# Compressed here: it is the one large answer of the API, it is read over poor links, and it echoes nothing secret.
@method_decorator(gzip_page, name="dispatch")
class TakeAlong(DeedView):
    """Systems for a phone."""

    serializer_class = TakeAlongSerializer
    query_words = ("system",)

    @operation("take_along", TakeAlongSerializer, parameters=[SYSTEM])
    def get(self, request: Request, code: str) -> Response:
        """The systems with their lines, limits, instruments, tags, open items, supplies, alarms and signal points.

        An `If-None-Match` with the last answer's `ETag` is answered 304 when nothing has changed since.
        """
        wanted = self._wanted(request)
        head = head_of(self.access)
        mark = f'"{mark_of(self.access, head=head, system_ids=wanted, version=version())}"'
        now = timezone.now()
        if mark in request.headers.get("If-None-Match", "").replace("W/", "").split(", "):
            return Response(status=304, headers={"ETag": mark})
        body: dict[str, Any] = take_along(self.access, system_ids=wanted, head=head)
        return Response({**body, "taken_at": now, "server_time": now}, headers={"ETag": mark})

    def _wanted(self, request: Request) -> list[UUID]:
        asked = request.query_params.getlist("system")
        if len(asked) > SYSTEMS_LIMIT:
            raise InvalidInput({"system": f"A phone takes {SYSTEMS_LIMIT} systems along. Choose those of the day."})
        try:
            return list(dict.fromkeys(UUID(text) for text in asked))
        except ValueError as error:
            raise InvalidInput({"system": "Name each system by its id."}) from error
