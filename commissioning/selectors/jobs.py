"""Background work that a person may look at."""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404

from commissioning.models import Job
from commissioning.selectors.access import Access


def jobs_for(access: Access) -> QuerySet[Job]:
    """A manager of every site sees all of the project's background work; everybody else what they asked for."""
    rows = Job.objects.filter(project=access.project).select_related("asked_by", "project")
    if not (access.is_manager and access.site_ids is None):
        rows = rows.filter(asked_by=access.user)
    return rows.order_by("-asked_at", "-id")


def job_or_404(*, access: Access, id: UUID) -> Job:
    found = jobs_for(access).filter(pk=id).first()
    if found is None:
        raise Http404("There is no such background work, or somebody else asked for it.")
    return found
