"""Comments on dossiers: those on any revision of one, and the one that an address names."""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404

from commissioning.models import Dossier
from commissioning.selectors.access import Access
from commissioning.selectors.dossiers import dossiers_for, systems_of
from punchlist.models import DossierComment


def comments_on(dossier: Dossier) -> QuerySet[DossierComment]:
    """Comments on this dossier, whichever revision they were made on, oldest first."""
    rows = DossierComment.objects.filter(project=dossier.project_id, dossier__number=dossier.number)
    return rows.select_related("dossier__project", "item__system", "item__equipment", "by", "settled_by")


def comment_or_404(access: Access, *, id: UUID) -> DossierComment:
    """A comment on a dossier that the person may see."""
    rows = DossierComment.objects.filter(dossier__in=dossiers_for(access).values("pk"))
    found = rows.select_related("dossier__project", "dossier__system", "dossier__site").filter(pk=id).first()
    if found is None:
        raise Http404("There is no such comment, or it is not yours to see.")
    return found


def only_tag_of(dossier: Dossier) -> str:
    """The tag of the only system that the dossier covers; empty where it covers several."""
    systems = systems_of(project=dossier.project, site=dossier.site, system=dossier.system)
    tags = list(systems.values_list("tag", flat=True)[:2])
    return tags[0] if len(tags) == 1 else ""
