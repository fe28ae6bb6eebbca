"""Projects, their settings, people and sites, and the audit log."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import ApiView, DeedView, ListView, ProjectView
from commissioning.api.filters import TextFilter
from commissioning.api.schema import operation
from commissioning.api.shapes.projects import (
    AuditEntrySerializer,
    ChainSerializer,
    ChangeSettingsSerializer,
    MemberSerializer,
    MineSerializer,
    ProjectSerializer,
    SetMemberSerializer,
    SiteSerializer,
)
from commissioning.api.shapes.work import JobSerializer
from commissioning.errors import NotAllowed
from commissioning.models import ApiToken, AuditEntry, Membership, Site, TokenScope
from commissioning.selectors.access import memberships_of, sites_for
from commissioning.selectors.audit import chain_standing, entries_of
from commissioning.selectors.members import member_or_404, members_of, user_named
from commissioning.services.audit_walk import ask_walk, is_long
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.projects import change_settings, remove_member, set_member


class Mine(ApiView):
    """My projects."""

    serializer_class = MineSerializer
    filter_backends: Sequence[Any] = []
    pagination_class = None

    @operation("projects_list", MineSerializer(many=True))
    def get(self, request: Request) -> Response:
        """The projects that you are a member of, and your role in each."""
        rows = memberships_of(self.actor)
        if isinstance(request.auth, ApiToken) and request.auth.project_id:
            rows = rows.filter(project=request.auth.project_id)
        return Response(MineSerializer(rows, many=True).data)


class OneProject(DeedView):
    """A project and what it decides for itself."""

    serializer_class = ProjectSerializer

    @operation("projects_retrieve")
    def get(self, request: Request, code: str) -> Response:
        """The project and its settings."""
        return self.answer(self.access.project)

    @operation("projects_change_settings", ProjectSerializer, request=ChangeSettingsSerializer)
    def patch(self, request: Request, code: str) -> Response:
        """Change settings; the audit keeps both values. A manager's decision."""
        given = self.parsed(ChangeSettingsSerializer)
        return self.answer(change_settings(actor=self.actor, project=self.access.project, changes=given))


class Members(ListView):
    """The people of a project."""

    model = Membership
    serializer_class = MemberSerializer
    filter_backends: Sequence[Any] = []

    def rows(self) -> QuerySet[Membership]:
        return members_of(self.access)

    @operation("members_list", MemberSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Everybody in the project, and those who left it."""
        return self.listed()

    @operation("members_set", MemberSerializer, request=SetMemberSerializer, filters=False)
    def put(self, request: Request, code: str) -> Response:
        """Give somebody who can sign in a place in the project, or change it. A manager's decision."""
        given = self.parsed(SetMemberSerializer)
        wanted = given.pop("sites", None)
        sites = None if wanted is None else [self.named(sites_for(self.access), id, field="sites") for id in wanted]
        # Asked before the name is looked up, so that nobody else learns who can sign in.
        require(actor=self.actor, project=self.access.project, roles=MANAGERS, site=None, to="change who is a member")
        user = user_named(given.pop("who"))
        member = set_member(actor=self.actor, project=self.access.project, user=user, sites=sites, **given)
        return self.answer(member)


class Member(DeedView):
    """One person's place in a project."""

    serializer_class = MemberSerializer

    @operation("members_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One member."""
        return self.answer(member_or_404(access=self.access, id=id))

    @operation("members_remove", {204: None})
    def delete(self, request: Request, code: str, id: UUID) -> Response:
        """The person leaves the project; what they recorded stays theirs. A manager's decision."""
        remove_member(actor=self.actor, membership=member_or_404(access=self.access, id=id))
        return Response(status=status.HTTP_204_NO_CONTENT)


class SiteFilter(django_filters.FilterSet):
    text = TextFilter("code", "name")

    class Meta:
        model = Site
        fields: list[str] = []


class Sites(ListView):
    """The sites of a project."""

    model = Site
    serializer_class = SiteSerializer
    filterset_class = SiteFilter

    def rows(self) -> QuerySet[Site]:
        return sites_for(self.access)

    @operation("sites_list", SiteSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """The sites that you see."""
        return self.listed()


class OneSite(DeedView):
    """A site."""

    serializer_class = SiteSerializer

    @operation("sites_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One site."""
        return self.answer(self.one(sites_for(self.access), id))


class AuditFilter(django_filters.FilterSet):
    action = django_filters.CharFilter(max_length=60)
    actor = django_filters.NumberFilter(field_name="actor_id", min_value=1, max_value=2**31 - 1)
    system = django_filters.UUIDFilter(field_name="system_id")
    object = django_filters.UUIDFilter(field_name="object_id", label="Key of the record that it is about.")
    text = TextFilter("words")

    class Meta:
        model = AuditEntry
        fields: list[str] = []


class Audit(ListView):
    """The audit log of a project, for its managers."""

    model = AuditEntry
    serializer_class = AuditEntrySerializer
    filterset_class = AuditFilter
    page_order = ("-sequence",)

    def rows(self) -> QuerySet[AuditEntry]:
        managers_only(self)
        return entries_of(self.access)

    @operation("audit_list", AuditEntrySerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Who did what, newest first."""
        return self.listed()


class AuditChainCheck(DeedView):
    """Proof that nobody has changed the audit log."""

    write_scope = TokenScope.READ
    serializer_class = ChainSerializer

    @operation("audit_verify", {200: ChainSerializer, 202: JobSerializer}, request=None)
    def post(self, request: Request, code: str) -> Response:
        """Walk the chain from its first entry to its last; a long one in the background, as the job answered."""
        managers_only(self)
        if is_long(self.access.project):
            job = ask_walk(actor=self.actor, project=self.access.project)
            return Response(JobSerializer(job).data, status=status.HTTP_202_ACCEPTED)
        return self.answer(chain_standing(self.access.project))


def managers_only(view: ProjectView) -> None:
    if not view.access.is_manager:
        raise NotAllowed("The audit log of the whole project is for its managers.")
