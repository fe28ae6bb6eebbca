"""Comments on dossiers over the API: the same services as the pages."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView, ListView, sent_before
from commissioning.api.parsing import NewId, Words
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.common import PersonSerializer
from commissioning.models import Dossier
from commissioning.selectors.dossiers import built_or_404, dossier_or_404
from punchlist.api.parsing import place_in
from punchlist.api.serializers import WholeItemSerializer
from punchlist.models import Category, DossierComment, PunchItem
from punchlist.selectors.comments import comment_or_404, comments_on
from punchlist.selectors.items import item_or_404
from punchlist.services.comments import COMMENT_LIMIT, answer_comment, comment_on_dossier, put_on_punch_list


class CommentSerializer(serializers.ModelSerializer[DossierComment]):
    """A comment, and what became of it: `item` when it is on the punch list, `answer` when it was answered."""

    by = PersonSerializer(read_only=True)
    settled_by = PersonSerializer(read_only=True, allow_null=True)
    item_state = serializers.CharField(source="item.state", default="", read_only=True)

    class Meta:
        model = DossierComment
        fields = [
            *("id", "dossier", "tag", "text", "by", "at", "item", "item_state", "answer"),
            *("settled_by", "settled_at"),
        ]
        read_only_fields = fields


class MakeCommentSerializer(serializers.Serializer[Any]):
    id = NewId()
    text = serializers.CharField(max_length=COMMENT_LIMIT)
    tag = Words(max_length=60, help_text="Of the equipment or system that it is about.")


class PutCommentSerializer(serializers.Serializer[Any]):
    id = NewId()
    system = serializers.UUIDField(help_text="One that the dossier covers.")
    equipment = serializers.UUIDField(required=False)
    stage = serializers.UUIDField(required=False, help_text="Left out: the stage in hand.")
    category = serializers.ChoiceField(choices=Category.choices)


class AnswerCommentSerializer(serializers.Serializer[Any]):
    answer = serializers.CharField(max_length=COMMENT_LIMIT)


class Comments(ListView):
    """Comments on a dossier."""

    model = DossierComment
    serializer_class = CommentSerializer
    page_order = ("-at", "-id")

    def rows(self) -> QuerySet[DossierComment]:
        return comments_on(dossier_or_404(access=self.access, id=self.kwargs["id"]))

    @operation("dossier_comments_list", CommentSerializer(many=True))
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """Comments on any revision of this dossier, newest first."""
        return self.listed()

    @creates("dossier_comments_make", MakeCommentSerializer, CommentSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """The client comments on this revision: 201 the first time, 200 when this `id` was sent before."""
        found: Dossier = built_or_404(access=self.access, id=id)
        given = self.parsed(MakeCommentSerializer)
        return self.create(
            comment_on_dossier,
            model=DossierComment,
            shape=CommentSerializer,
            id=given.pop("id", None),
            actor=self.actor,
            dossier=found,
            **given,
        )


class PutComment(DeedView):
    """A comment becomes a punch item."""

    serializer_class = PutCommentSerializer

    @extend_schema(
        operation_id="dossier_comments_put",
        request=PutCommentSerializer,
        responses={201: WholeItemSerializer, 200: WholeItemSerializer},
    )
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Put it on the punch list: 201 the first time, 200 when this `id` was sent before."""
        comment = comment_or_404(self.access, id=id)
        given = self.parsed(PutCommentSerializer)
        place, known = place_in(self.access, given), sent_before(PunchItem, given.get("id"))
        item = put_on_punch_list(
            actor=self.actor,
            comment=comment,
            system=place.system,
            stage=place.stage,
            equipment=place.equipment,
            category=given["category"],
            id=given.get("id"),
        )
        return self.created(item_or_404(self.access, id=item.pk), WholeItemSerializer, known=known)


class AnswerComment(DeedView):
    """A comment is answered."""

    serializer_class = AnswerCommentSerializer

    @extend_schema(operation_id="dossier_comments_answer", request=AnswerCommentSerializer, responses=CommentSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """A manager says why nothing is left to do."""
        comment = comment_or_404(self.access, id=id)
        answered = answer_comment(actor=self.actor, comment=comment, **self.parsed(AnswerCommentSerializer))
        return self.answer(answered, CommentSerializer)
