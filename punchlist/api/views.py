"""Punch items over the API: the same filter, services and refusals as the pages."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.http import HttpResponseBase
from django_filters.rest_framework import DjangoFilterBackend
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import extend_schema, extend_schema_view
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import Serializer

from commissioning.api.base import ProjectView, sent_before
from commissioning.models import TokenScope
from punchlist.api.parsing import equipment_in, place_in, who_and_when
from punchlist.api.serializers import (
    AddPhotoSerializer,
    AssignmentSerializer,
    AssignSerializer,
    ChangeSerializer,
    ItemSerializer,
    PhotoSerializer,
    RaiseSerializer,
    ReasonSerializer,
    RemarkSerializer,
    WholeItemSerializer,
)
from punchlist.models import ItemStep, Photo, PunchItem
from punchlist.selectors.filters import ItemFilter
from punchlist.selectors.items import item_or_404, items_for, photo_or_404
from punchlist.services.items import (
    assign_items,
    change_item,
    close_item,
    raise_item,
    rectify_item,
    reopen_item,
    send_back_item,
    undo_assignment,
)
from punchlist.services.photos import add_photo
from punchlist.views.photo import photo_response

PEOPLE = ("raised_by", "owes", "rectified_by", "closed_by")


class ApiItemFilter(ItemFilter):
    """The list's own filter; pages of the API keep one order, so that no row is skipped."""

    sort = None


class ItemFilterBackend(DjangoFilterBackend):
    """Says to the filter who asks; closed items are in unless a state is asked for."""

    def get_filterset_kwargs(self, request: Request, queryset: QuerySet[Any], view: Any) -> dict[str, Any]:
        return {
            "data": request.query_params,
            "queryset": queryset,
            "access": view.access,
            "everything": True,
        }


class Items(ProjectView):
    """The punch list, and new items."""

    write_scope = TokenScope.PHONE
    queryset = PunchItem.objects.none()
    serializer_class = ItemSerializer
    filter_backends = [ItemFilterBackend]
    filterset_class = ApiItemFilter

    def get_queryset(self) -> QuerySet[PunchItem]:
        return items_for(self.access).select_related("system__site", "stage", "equipment", *PEOPLE)

    @extend_schema(operation_id="punch_items_list", responses=ItemSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Punch items, by pages; closed ones too unless `state` says otherwise."""
        rows = self.paginate_queryset(self.filter_queryset(self.get_queryset()))
        return self.get_paginated_response(self.get_serializer(rows, many=True).data)

    @extend_schema(
        operation_id="punch_items_raise",
        request=RaiseSerializer,
        responses={201: WholeItemSerializer, 200: WholeItemSerializer},
        filters=False,
    )
    def post(self, request: Request, code: str) -> Response:
        """Raise an item: 201 the first time, 200 when this `id` was sent before."""
        given = self.parsed(RaiseSerializer)
        known = sent_before(PunchItem, given.get("id"))
        place = place_in(self.access, given)
        item = raise_item(
            actor=self.actor,
            system=place.system,
            stage=place.stage,
            equipment=place.equipment,
            line=place.line,
            alarm=place.alarm,
            category=given["category"],
            text=given["text"],
            at=given.get("at"),
            id=given.get("id"),
            **who_and_when(self.access, given),
        )
        return self.created(item_or_404(self.access, id=item.pk), WholeItemSerializer, known=known)


class Item(ProjectView):
    """One item with its life and photos."""

    serializer_class = WholeItemSerializer
    filter_backends: list[Any] = []

    @extend_schema(operation_id="punch_items_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One item with its steps and photos."""
        return Response(self.get_serializer(item_or_404(self.access, id=id)).data)

    @extend_schema(operation_id="punch_items_change", request=ChangeSerializer, responses=WholeItemSerializer)
    def patch(self, request: Request, code: str, id: UUID) -> Response:
        """Change what an item says; its history keeps what it said before."""
        item = item_or_404(self.access, id=id)
        given = self.parsed(ChangeSerializer)
        wanted: dict[str, Any] = {word: given[word] for word in ("category", "text", "reason", "id") if word in given}
        if "equipment" in given:
            wanted["equipment"] = equipment_in(self.access, given["equipment"])
        change_item(actor=self.actor, item=item, **wanted, **who_and_when(self.access, given))
        return Response(self.get_serializer(item_or_404(self.access, id=id)).data)


class TakeStep(ProjectView):
    """One step of an item's life; each kind of step has its own address below."""

    filter_backends: list[Any] = []
    deed: Callable[..., PunchItem]
    serializer_class: type[Serializer[Any]] = RemarkSerializer

    def post(self, request: Request, code: str, id: UUID) -> Response:
        item = item_or_404(self.access, id=id)
        given = self.parsed()
        known = sent_before(ItemStep, given.get("id"))
        self.deed(actor=self.actor, item=item, **given)
        return self.created(item_or_404(self.access, id=id), WholeItemSerializer, known=known)


def _step(name: str, words: str) -> Any:
    answers = {201: WholeItemSerializer, 200: WholeItemSerializer}
    return extend_schema_view(post=extend_schema(operation_id=f"punch_items_{name}", responses=answers, summary=words))


@_step("rectify", "Record an item rectified.")
class Rectify(TakeStep):
    deed = staticmethod(rectify_item)


@_step("close", "Close a rectified item: a manager or the client, and nobody who rectified it.")
class Close(TakeStep):
    deed = staticmethod(close_item)


@_step("send_back", "Send a rectified item back, with the reason.")
class SendBack(TakeStep):
    deed = staticmethod(send_back_item)
    serializer_class = ReasonSerializer


@_step("reopen", "Reopen a closed item, with the reason.")
class Reopen(TakeStep):
    deed = staticmethod(reopen_item)
    serializer_class = ReasonSerializer


class Assign(ProjectView):
    """Who owes many items at once."""

    serializer_class = AssignSerializer
    filter_backends: list[Any] = []

    @extend_schema(operation_id="punch_items_assign", responses=AssignmentSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Set who owes the items and until when, all of them or none."""
        given = self.parsed()
        done = assign_items(
            actor=self.actor,
            project=self.access.project,
            items=given["items"],
            id=given.get("id"),
            **who_and_when(self.access, given),
        )
        return Response(AssignmentSerializer(done).data)


class UndoAssignment(ProjectView):
    """Taking an assignment back."""

    serializer_class = AssignmentSerializer
    filter_backends: list[Any] = []

    @extend_schema(operation_id="punch_items_assign_undo", request=None)
    def post(self, request: Request, code: str, batch: UUID) -> Response:
        """Give each item that was not changed since what it had before."""
        done = undo_assignment(actor=self.actor, project=self.access.project, batch=batch)
        return Response(self.get_serializer(done).data)


class Photos(ProjectView):
    """Pictures of an item."""

    write_scope = TokenScope.PHONE
    serializer_class = AddPhotoSerializer
    filter_backends: list[Any] = []
    parser_classes = [MultiPartParser]

    @extend_schema(operation_id="punch_items_add_photo", responses={201: PhotoSerializer, 200: PhotoSerializer})
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Add a picture: 201 when it is new, 200 when the item has it already."""
        item = item_or_404(self.access, id=id)
        given = self.parsed()
        before = {photo.pk for photo in item.photos.all()}
        photo = add_photo(actor=self.actor, item=item, **given)
        return self.created(photo, PhotoSerializer, known=photo.pk in before)


class PhotoFile(ProjectView):
    """A picture's bytes."""

    queryset = Photo.objects.none()
    filter_backends: list[Any] = []

    @extend_schema(operation_id="punch_photos_file", responses={(200, "image/jpeg"): OpenApiTypes.BINARY})
    def get(self, request: Request, code: str, photo: UUID) -> HttpResponseBase:
        """The picture itself, a JPEG."""
        return photo_response(photo_or_404(self.access, id=photo), known=request.headers.get("If-None-Match", ""))
