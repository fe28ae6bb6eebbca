"""What every address of the API shares: the project in the path, who asks, pages of rows, safe repeats."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar, cast
from uuid import UUID

from django.db import IntegrityError
from django.db.models import Model, QuerySet
from django.http import Http404
from rest_framework import generics, serializers, status
from rest_framework.pagination import CursorPagination
from rest_framework.permissions import IsAuthenticated
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.parsing import BoundedJSONParser, refuse_unknown
from commissioning.errors import InvalidInput, SecondFactorNeeded
from commissioning.models import TokenScope, User
from commissioning.models.base import Record, new_id
from commissioning.selectors.access import Access, access_by_code
from commissioning.selectors.second_factor import lacks_second_factor

RecordT = TypeVar("RecordT", bound=Record)
ModelT = TypeVar("ModelT", bound=Model)


class Pages(CursorPagination):
    """Pages by keyset: quick at any depth, and no row is skipped or shown twice while others are written."""

    page_size = 50
    page_size_query_param = "page_size"
    max_page_size = 500
    ordering = "id"

    def get_page_size(self, request: Request) -> int:
        asked = request.query_params.get(self.page_size_query_param, str(self.page_size))
        if not (asked.isascii() and asked.isdigit() and 1 <= int(asked[:6]) <= self.max_page_size):
            raise InvalidInput({"page_size": f"Ask for 1 to {self.max_page_size} rows a page."})
        return int(asked)

    def get_schema_operation_parameters(self, view: Any) -> list[dict[str, Any]]:
        found = super().get_schema_operation_parameters(view)
        for one in found:
            if one["name"] == self.page_size_query_param:
                one["schema"] = {"type": "integer", "minimum": 1, "maximum": self.max_page_size, "default": 50}
                one["description"] = "Rows a page."
        return found

    def get_ordering(self, request: Request, queryset: QuerySet[Any], view: Any) -> Sequence[str]:
        return tuple(getattr(view, "page_order", ("id",)))


class ApiView(generics.GenericAPIView):
    """An address for anybody who is signed in."""

    permission_classes = [IsAuthenticated]
    pagination_class = Pages
    parser_classes: Sequence[Any] = [BoundedJSONParser]
    #: Words that a query may hold besides the filters and the paging.
    query_words: tuple[str, ...] = ()
    #: What a token has to be made for before it may send anything here (GET and HEAD need only read).
    write_scope: str = TokenScope.WRITE

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        if request.method in ("GET", "HEAD"):
            refuse_unknown(request.query_params, self._query_words(), what="query word")

    def _query_words(self) -> set[str]:
        filters = getattr(self, "filterset_class", None)
        if filters is None:
            return {*self.query_words, *(("cursor", "page_size") if isinstance(self, ListView) else ())}
        return {*self.query_words, *filters.base_filters, "cursor", "page_size"}

    @property
    def actor(self) -> User:
        return cast(User, self.request.user)

    def parsed(self, serializer_class: type[serializers.Serializer] | None = None) -> dict[str, Any]:
        """The request's body as the serializer reads it; wrong and unknown fields are answered as problem details."""
        serializer = (serializer_class or self.get_serializer_class())(
            data=self.request.data, context=self.get_serializer_context()
        )
        refuse_unknown(self.request.data, [name for name, one in serializer.fields.items() if not one.read_only])
        serializer.is_valid(raise_exception=True)
        return dict(serializer.validated_data)

    def answer(self, row: Any, serializer_class: type[serializers.BaseSerializer] | None = None) -> Response:
        """200 with one row."""
        shape = serializer_class or self.get_serializer_class()
        return Response(shape(row, context=self.get_serializer_context()).data)

    def created(self, record: Any, serializer_class: type[serializers.Serializer], *, known: bool) -> Response:
        """201 the first time, 200 when this UUID had been sent before."""
        body = serializer_class(record, context=self.get_serializer_context()).data
        return Response(body, status=status.HTTP_200_OK if known else status.HTTP_201_CREATED)

    def page_of(self, rows: QuerySet[Any]) -> list[Any]:
        """The rows of the page asked for, after the filters."""
        return list(self.paginate_queryset(self.filter_queryset(rows)) or [])

    def paged(self, rows: Iterable[Any], serializer_class: type[serializers.BaseSerializer] | None = None) -> Response:
        """200 with the page's rows, and where the next page is."""
        shape = serializer_class or self.get_serializer_class()
        return self.get_paginated_response(shape(rows, many=True, context=self.get_serializer_context()).data)


class ProjectView(ApiView):
    """An address under /api/v1/projects/{code}/: a stranger finds nothing there."""

    access: Access

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        self.access = access_by_code(user=self.actor, code=kwargs["code"])
        if lacks_second_factor(self.access):
            raise SecondFactorNeeded()

    def one(self, rows: QuerySet[ModelT], id: UUID) -> ModelT:
        """The row of this id among those that the person may see, else 404."""
        found = rows.filter(pk=id).first()
        if found is None:
            raise Http404("There is no such record, or you are not a member of its project.")
        return found

    def named(self, rows: QuerySet[ModelT], id: UUID, *, field: str) -> ModelT:
        """A record that a body names, or a refusal beside its field."""
        found = rows.filter(pk=id).first()
        if found is None:
            raise InvalidInput({field: "There is no such record in this project, or it is not yours to see."})
        return found

    def create(
        self,
        service: Callable[..., RecordT],
        *,
        model: type[RecordT],
        shape: type[serializers.Serializer],
        id: UUID | None,
        then: Callable[[RecordT], Any] = lambda record: record,
        **words: Any,
    ) -> Response:
        """Call a service that creates, safe to repeat: 201 the first time, 200 for the same UUID with the same content.

        `then` loads what the answer shows.
        """
        key = id or new_id()
        known = sent_before(model, id)
        try:
            record = service(id=key, **words)
        except IntegrityError:
            if not sent_before(model, key):
                raise
            # The same UUID arrived twice at the same moment; the second look finds what the first one made.
            record, known = service(id=key, **words), True
        # A service may answer a record that was there already in the place of a new one.
        return self.created(then(record), shape, known=known or record.pk != key)


class ListView(ProjectView):
    """An address that lists rows by pages; `rows` answers those that the person may see."""

    model: type[Model]

    def get_queryset(self) -> QuerySet[Any]:
        if getattr(self, "swagger_fake_view", False):
            return self.model._default_manager.none()
        return self.rows()

    def rows(self) -> QuerySet[Any]:
        raise TypeError(f"{type(self).__name__} says which rows it lists.")

    def listed(self) -> Response:
        return self.paged(self.page_of(self.get_queryset()))


class DeedView(ProjectView):
    """An address for one record or one deed: nothing to filter or to page."""

    filter_backends: Sequence[Any] = []
    pagination_class = None


def sent_before(model: type[Record], id: UUID | None) -> bool:
    """True when a record of this UUID is there already, asked before the service runs."""
    return id is not None and model._default_manager.filter(pk=id).exists()
