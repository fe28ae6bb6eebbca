"""Test recordings that a person may see."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404

from commissioning.models import CheckLine, System, TestRecording
from commissioning.selectors.access import Access


def recordings_for(access: Access) -> QuerySet[TestRecording]:
    """Recordings of the sites that the person sees, newest first."""
    rows = TestRecording.objects.filter(access.limit("system__site"), project=access.project)
    return rows.order_by("-uploaded_at", "-id")


def recordings_wanted(
    access: Access, *, text: str = "", system: System | None = None, kind: str = "", state: str = ""
) -> QuerySet[TestRecording]:
    """The list, narrowed; without what is large on a row."""
    rows = recordings_for(access).select_related("system", "line", "reading", "uploaded_by")
    rows = rows.defer("column_map", "findings", "summary", "plot", "reading__inputs", "reading__result")
    for word in text.split():
        rows = rows.filter(
            Q(raw_name__icontains=word)
            | Q(system__tag__icontains=word)
            | Q(equipment__tag__icontains=word)
            | Q(line__title__icontains=word)
        )
    if system is not None:
        rows = rows.filter(system=system)
    if kind:
        rows = rows.filter(kind=kind)
    if state == "superseded":
        return rows.filter(superseded_at__isnull=False)
    return rows.filter(state=state, superseded_at__isnull=True) if state else rows


def recording_or_404(*, access: Access, id: UUID) -> TestRecording:
    rows = recordings_for(access).select_related(
        "system__site__project", "system__project", "project", "line__stage__system", "line__equipment", "equipment",
        "reading", "uploaded_by",
    )  # fmt: skip
    found = rows.filter(pk=id).first()
    if found is None:
        raise Http404("There is no such test recording, or you are not a member of its project.")
    return found


def lines_for(access: Access) -> QuerySet[CheckLine]:
    """Check lines of the systems that the person sees, with what a recording needs of them."""
    rows = CheckLine.objects.filter(access.limit("stage__system__site"), stage__system__project=access.project)
    return rows.select_related("stage__system__site__project", "stage__system__project", "equipment")
