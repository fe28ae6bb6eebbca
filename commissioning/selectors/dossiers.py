"""Dossiers that a person may see, and the systems that one covers."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet
from django.http import Http404

from commissioning.models import AuditEntry, Dossier, Project, Site, StageKind, System, User
from commissioning.selectors.access import Access, access_or_none
from commissioning.selectors.second_factor import lacks_second_factor


def systems_of(*, project: Project, site: Site | None = None, system: System | None = None) -> QuerySet[System]:
    """The systems of a scope, in printed order."""
    rows = System.objects.filter(project=project)
    if system is not None:
        rows = rows.filter(pk=system.pk)
    elif site is not None:
        rows = rows.filter(site=site)
    return rows.order_by("site__code", "tag")


def same_scope(*, up_to: str, **target: Any) -> QuerySet[Dossier]:
    """Every revision of the dossier of this scope."""
    rows = Dossier.objects.filter(**target).select_related("job", "project")
    return rows.filter(job__arguments__up_to=up_to)


def dossiers_for(access: Access) -> QuerySet[Dossier]:
    """Those of the sites that a person sees; a client sees what is built, and what they asked for themselves."""
    rows = Dossier.objects.filter(project=access.project)
    if access.site_ids is not None:
        rows = rows.filter(Q(site__in=access.site_ids) | Q(system__site__in=access.site_ids))
    if access.is_client:
        rows = rows.filter(Q(built_at__isnull=False) | Q(asked_by=access.user))
    later = Dossier.objects.filter(
        project=OuterRef("project"),
        number=OuterRef("number"),
        revision__gt=OuterRef("revision"),
        built_at__isnull=False,
    )
    rows = rows.annotate(superseded=Exists(later))
    return rows.select_related("project", "site", "system__site", "asked_by", "job", "supersedes").order_by(
        "-number", "-revision"
    )


def dossier_or_404(*, access: Access, id: UUID) -> Dossier:
    found = dossiers_for(access).filter(pk=id).first()
    if found is None:
        raise Http404("There is no such dossier, or it is not yours to see.")
    return found


def built_or_404(*, access: Access, id: UUID) -> Dossier:
    """A dossier whose files are there."""
    found = dossier_or_404(access=access, id=id)
    if found.built_at is None:
        raise Http404("This dossier is not built yet.")
    return found


def revisions_of(dossier: Dossier) -> QuerySet[Dossier]:
    """Built revisions of the same number, oldest first."""
    rows = Dossier.objects.filter(project=dossier.project_id, number=dossier.number, built_at__isnull=False)
    return rows.select_related("project", "asked_by", "job").order_by("revision")


def built_by_number(*, user: User, number: str, revision: int) -> Dossier | None:
    """The dossier whose printed number this is, if it is built and the person may see it."""
    code, mark, digits = number.rpartition("-D-")
    if not mark or not digits.isdigit():
        return None
    project = Project.objects.filter(code=code).first()
    access = access_or_none(user=user, project=project) if project else None
    if access is None or lacks_second_factor(access):
        return None
    rows = dossiers_for(access).filter(number=int(digits), built_at__isnull=False)
    return rows.filter(revision=revision).first()


def receipts_of(dossier: Dossier) -> QuerySet[AuditEntry]:
    """Signed receipts, oldest first."""
    return AuditEntry.objects.filter(
        project=dossier.project_id, object_id=str(dossier.pk), action="dossier_received"
    ).order_by("sequence")


def scope_words(dossier: Dossier) -> str:
    """What it covers, in words."""
    up_to = dossier.job.arguments.get("up_to", "")
    stages = f", up to {StageKind(up_to).label}" if up_to else ""
    if dossier.system:
        return f"system {dossier.system}{stages}"
    return f"site {dossier.site}{stages}" if dossier.site else f"the whole project{stages}"
