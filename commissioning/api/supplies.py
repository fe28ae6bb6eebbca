"""Supplies: isolated and released; and the permissions to energise that name them."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView, ListView
from commissioning.api.filters import StandingFilter, TextFilter, site_filter, system_filter
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.common import GiveReasonSerializer
from commissioning.api.shapes.records import (
    IsolateSerializer,
    PermissionSerializer,
    ReleaseSerializer,
    SignPermissionSerializer,
    SupplyChangeSerializer,
    SupplySerializer,
)
from commissioning.models import (
    PermissionToEnergise,
    Stage,
    SupplyChange,
    SupplyKind,
    SupplyPoint,
    SupplyState,
    TokenScope,
)
from commissioning.selectors.access import Access
from commissioning.selectors.supplies import changes_of
from commissioning.selectors.system import permission_or_404, supply_or_404
from commissioning.services.supplies import isolate_supply, release_supply, sign_permission, withdraw_permission


class SupplyFilter(django_filters.FilterSet):
    site = site_filter()
    system = system_filter()
    kind = django_filters.ChoiceFilter(choices=SupplyKind.choices)
    state = django_filters.ChoiceFilter(choices=SupplyState.choices)
    text = TextFilter("tag", "description", "lock_number")

    class Meta:
        model = SupplyPoint
        fields: list[str] = []


class Supplies(ListView):
    """The ways in for energy."""

    model = SupplyPoint
    serializer_class = SupplySerializer
    filterset_class = SupplyFilter

    def rows(self) -> QuerySet[SupplyPoint]:
        rows = SupplyPoint.objects.filter(self.access.limit("system__site"), system__project=self.access.project)
        return rows.select_related("system", "changed_by")

    @operation("supplies_list", SupplySerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Supplies with what is recorded of each."""
        return self.listed()


class OneSupply(DeedView):
    """A supply."""

    serializer_class = SupplySerializer

    @operation("supplies_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One supply with what is recorded of it."""
        return self.answer(supply_or_404(access=self.access, id=id))


class SupplyChanges(ListView):
    """The log of a supply."""

    model = SupplyChange
    serializer_class = SupplyChangeSerializer
    filter_backends = []
    page_order = ("-recorded_at", "-id")

    def rows(self) -> QuerySet[SupplyChange]:
        return changes_of(supply=supply_or_404(access=self.access, id=self.kwargs["id"]))

    @operation("supplies_changes", SupplyChangeSerializer(many=True))
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """Isolations and releases as they were recorded, newest first."""
        return self.listed()


class IsolateSupply(DeedView):
    """Isolation of a supply."""

    write_scope = TokenScope.PHONE
    serializer_class = IsolateSerializer

    @creates("supplies_isolate", IsolateSerializer, SupplyChangeSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Record that the supply was isolated and locked. Dead is proved at the point of work."""
        supply, given = supply_or_404(access=self.access, id=id), self.parsed()
        return self.create(
            isolate_supply,
            model=SupplyChange,
            shape=SupplyChangeSerializer,
            id=given.pop("id", None),
            actor=self.actor,
            supply=supply,
            **given,
        )


class ReleaseSupply(DeedView):
    """Release of a supply."""

    serializer_class = ReleaseSerializer

    @creates("supplies_release", ReleaseSerializer, SupplyChangeSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Release the supply under a standing permission that names it; the system is recorded LIVE from then on."""
        supply, given = supply_or_404(access=self.access, id=id), self.parsed()
        rows = permissions_for(self.access).filter(system=supply.system_id)
        given["permission"] = self.named(rows, given["permission"], field="permission")
        return self.create(
            release_supply,
            model=SupplyChange,
            shape=SupplyChangeSerializer,
            id=given.pop("id", None),
            actor=self.actor,
            supply=supply,
            **given,
        )


class PermissionFilter(django_filters.FilterSet):
    site = site_filter()
    system = system_filter()
    stage = django_filters.UUIDFilter(field_name="stage_id")
    standing = StandingFilter(field_name="withdrawn_at", label="Not withdrawn, or withdrawn; it may have lapsed.")

    class Meta:
        model = PermissionToEnergise
        fields: list[str] = []


def permissions_for(access: Access) -> QuerySet[PermissionToEnergise]:
    rows = PermissionToEnergise.objects.filter(access.limit("system__site"), system__project=access.project)
    return rows.select_related("system", "stage").prefetch_related("supplies").defer("signed_content")


class Permissions(ListView):
    """Permissions to energise."""

    model = PermissionToEnergise
    serializer_class = PermissionSerializer
    filterset_class = PermissionFilter

    def rows(self) -> QuerySet[PermissionToEnergise]:
        return permissions_for(self.access)

    @operation("permissions_list", PermissionSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Permissions to energise, lapsed and withdrawn ones too."""
        return self.listed()

    @creates("permissions_sign", SignPermissionSerializer, PermissionSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Sign a permission to release the supplies that are named. For the authorised person only."""
        given = self.parsed(SignPermissionSerializer)
        stages = Stage.objects.filter(self.access.limit("system__site"), system__project=self.access.project)
        stage = self.named(stages.select_related("system__project"), given.pop("stage"), field="stage")
        here = SupplyPoint.objects.filter(system=stage.system_id)
        supplies = [self.named(here, key, field="supplies") for key in dict.fromkeys(given.pop("supplies"))]
        words: dict[str, Any] = {"signed_by": self.actor, "stage": stage, "supplies": supplies, **given}
        words["id"] = given.get("id")
        return self.create(sign_permission, model=PermissionToEnergise, shape=PermissionSerializer, **words)


class OnePermission(DeedView):
    """A permission to energise."""

    serializer_class = PermissionSerializer

    @operation("permissions_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """One permission to energise."""
        return self.answer(self.one(permissions_for(self.access), id))


class WithdrawPermission(DeedView):
    """Taking a permission back."""

    serializer_class = GiveReasonSerializer

    @operation("permissions_withdraw", PermissionSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Withdraw the permission. What was released under it stays recorded LIVE until it is isolated."""
        permission = permission_or_404(access=self.access, id=id)
        done = withdraw_permission(actor=self.actor, permission=permission, **self.parsed())
        return self.answer(done, PermissionSerializer)
