"""What a person may see. A stranger finds nothing; views and API turn that into 404."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404

from commissioning.models import Equipment, Membership, Project, Role, Site, System, User


@dataclass(frozen=True, slots=True)
class Access:
    """A person's standing in a project, loaded once per request (two queries)."""

    project: Project
    user: User
    role: str
    membership: Membership
    site_ids: frozenset[UUID] | None  # None: every site of the project

    @property
    def is_manager(self) -> bool:
        return self.role == Role.MANAGER

    @property
    def manages_every_site(self) -> bool:
        """What concerns the whole project, such as who is in it, is for a manager of all of it."""
        return self.is_manager and self.site_ids is None

    @property
    def is_engineer(self) -> bool:
        return self.role == Role.FIELD_ENGINEER

    @property
    def is_client(self) -> bool:
        return self.role == Role.CLIENT

    @property
    def authorised_person(self) -> bool:
        return self.membership.authorised_person

    def covers(self, site_id: UUID) -> bool:
        return self.site_ids is None or site_id in self.site_ids

    def limit(self, prefix: str = "") -> Q:
        """A filter for rows whose site is reached by `prefix` (for example ``system__site``)."""
        return Q() if self.site_ids is None else Q(**{f"{prefix}_id__in" if prefix else "id__in": self.site_ids})


def memberships_of(user: User) -> QuerySet[Membership]:
    return (
        Membership.objects.filter(user=user, left_at__isnull=True).select_related("project").order_by("project__code")
    )


def access_or_none(*, user: User, project: Project | UUID) -> Access | None:
    if not user.is_authenticated or not user.is_active:
        return None
    project_id = project if isinstance(project, UUID) else project.pk
    membership = (
        Membership.objects.filter(user=user, project_id=project_id, left_at__isnull=True)
        .select_related("project")
        .first()
    )
    if membership is None:
        return None
    sites = None if membership.all_sites else frozenset(membership.sites.values_list("id", flat=True))
    return Access(membership.project, user, membership.role, membership, sites)


def access_or_404(*, user: User, project: Project | UUID) -> Access:
    access = access_or_none(user=user, project=project)
    if access is None:
        raise Http404("There is no such project, or you are not a member of it.")
    return access


def access_by_code(*, user: User, code: str) -> Access:
    project_id = Project.objects.filter(code=code).values_list("id", flat=True).first()
    if project_id is None:
        raise Http404("There is no such project, or you are not a member of it.")
    return access_or_404(user=user, project=project_id)


def sites_for(access: Access) -> QuerySet[Site]:
    return Site.objects.filter(access.limit(), project=access.project)


def systems_for(access: Access) -> QuerySet[System]:
    return System.objects.filter(access.limit("site"), project=access.project)


def equipment_for(access: Access) -> QuerySet[Equipment]:
    return Equipment.objects.filter(access.limit("system__site"), project=access.project)
