"""The phone's outbox: batches of what was recorded without signal, what was refused of it, and files in parts."""

from __future__ import annotations

from typing import IO, Any
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView, ListView
from commissioning.api.parsing import TooLarge, refuse_unknown
from commissioning.api.problems import SERVICE_PROBLEMS, problem
from commissioning.api.schema import operation
from commissioning.api.shapes.outbox import (
    DropItemSerializer,
    HeldFileSerializer,
    OutboxItemSerializer,
    ReceivedSerializer,
    SendOutboxSerializer,
)
from commissioning.errors import Conflict, InvalidInput
from commissioning.models import OutboxFile, OutboxItem, TokenScope
from commissioning.selectors.outbox import needing_somebody, outbox_item_or_404
from commissioning.services.outbox import Result, receive
from commissioning.services.outbox_deeds import Clock, Deed
from commissioning.services.outbox_files import PART_LIMIT, OtherPlace, add_part, file_of
from commissioning.services.outbox_settling import drop_item
from commissioning.views.links import record_url


class Outbox(ListView):
    """What phones send."""

    write_scope = TokenScope.PHONE
    model = OutboxItem
    serializer_class = OutboxItemSerializer
    filter_backends = []
    page_order = ("received_at", "place", "id")

    def rows(self) -> QuerySet[OutboxItem]:
        return needing_somebody(self.access)

    @operation("outbox_list", OutboxItemSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Items that were refused and need their person: one's own, and for a manager everybody's."""
        return self.listed()

    @operation("outbox_send", ReceivedSerializer, request=SendOutboxSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Send up to 100 items. Each is done once however often it is sent, and answered for itself."""
        given = self.parsed(SendOutboxSerializer)
        clock = Clock(sent_at=given["sent_at"], received_at=timezone.now())
        received = receive(access=self.access, deeds=deeds_of(given["items"], clock), clock=clock)
        return Response(
            {
                "received_at": received.received_at,
                "skew_seconds": received.skew_seconds,
                "results": [said(result, code) for result in received.results],
            }
        )


def deeds_of(items: list[dict[str, Any]], clock: Clock) -> list[Deed]:
    return [
        Deed(
            id=item["id"],
            kind=item["kind"],
            system=item.get("system"),
            made_at=clock.corrected(item["made_at"]),
            device_at=item["made_at"],
            body=item["body"],
            seen=item.get("seen", {}),
            mends=item.get("mends"),
            place=place,
        )
        for place, item in enumerate(items)
    ]


def said(result: Result, code: str) -> dict[str, Any]:
    """One result as JSON."""
    made = None
    if result.record_id is not None:
        url = record_url(code=code, kind=result.record_kind, id=str(result.record_id))
        made = {"kind": result.record_kind, "id": result.record_id, "url": url}
    return {
        "id": result.id,
        "state": result.state,
        "known": result.known,
        "record": made,
        "sentences": result.sentences,
        "refusal": result.refusal,
        "reading": result.reading,
    }


class DropItem(DeedView):
    """Giving up what was refused."""

    write_scope = TokenScope.PHONE
    serializer_class = DropItemSerializer

    @operation("outbox_drop", OutboxItemSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Drop a refused item; it stays on record with the reason. For its person."""
        item = outbox_item_or_404(access=self.access, id=id)
        return self.answer(drop_item(access=self.access, item=item, **self.parsed()), OutboxItemSerializer)


class OctetsParser(BaseParser):
    """A part of a file as it is, up to the limit of a part."""

    media_type = "application/octet-stream"

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: Any = None) -> bytes:
        data = stream.read(PART_LIMIT + 1)
        if len(data) > PART_LIMIT:
            raise TooLarge(f"Send parts of at most {PART_LIMIT // 1024} kB.")
        return data


class OutboxFiles(DeedView):
    """A file in parts."""

    write_scope = TokenScope.PHONE
    serializer_class = HeldFileSerializer
    parser_classes = [OctetsParser]

    @operation("outbox_file_held", HeldFileSerializer)
    def get(self, request: Request, code: str, sha256: str) -> Response:
        """How much of the person's file with this hash is there, so that sending goes on from there."""
        return Response(_held(file_of(access=self.access, sha256=sha256)))

    @operation(
        "outbox_file_send",
        HeldFileSerializer,
        request={"application/octet-stream": OpenApiTypes.BINARY},
        parameters=[
            OpenApiParameter("offset", int, required=True, description="Where in the file this part belongs."),
            OpenApiParameter("size", int, required=True, description="Octets of the whole file."),
        ],
    )
    def put(self, request: Request, code: str, sha256: str) -> Response:
        """Send the next part. 409 with `have` when another one is due; a file with a wrong hash begins anew."""
        refuse_unknown(request.query_params, ("offset", "size"), what="query word")
        offset, size = (_number(request, name) for name in ("offset", "size"))
        data = request.data if isinstance(request.data, bytes) else b""
        try:
            file = add_part(access=self.access, sha256=sha256, offset=offset, size=size, data=data)
        except OtherPlace as error:
            status, name, title = SERVICE_PROBLEMS[Conflict]
            return problem(code=status, name=name, title=title, detail=error.words, have=error.have, size=size)
        return Response(_held(file))


def _held(file: OutboxFile | None) -> dict[str, int]:
    return {"have": file.have, "size": file.size} if file else {"have": 0, "size": 0}


def _number(request: Request, name: str) -> int:
    text = request.query_params.get(name, "")
    if not (text.isascii() and text.isdigit() and len(text) < 10):
        raise InvalidInput({name: "Give a whole number of octets."})
    return int(text)
