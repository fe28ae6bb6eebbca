"""The whole project to take away: asked for here, made in the background, downloaded."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.core.files.storage import default_storage
from django.http import FileResponse, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_safe

from commissioning.errors import NotAllowed, ServiceError
from commissioning.models import JobState
from commissioning.models.base import new_id
from commissioning.selectors.access import Access
from commissioning.selectors.jobs import job_or_404, jobs_for
from commissioning.services.project_export import KEPT, KIND, ask_export, exported_file
from commissioning.views.base import ProjectRequest, page, project_view
from commissioning.views.jobs import progress_of, tabs

#: Exports that the page lists.
LISTED = 20


@project_view
def show(request: ProjectRequest) -> HttpResponseBase:
    """What an export holds, the last ones, and asking for another."""
    access = request.access
    _require_whole(access)
    if request.method == "POST":
        ask_export(actor=access.user, project=access.project, id=_key(request))
        messages.success(request, "It is being put together. This can take some minutes; the page need not stay open.")
        return redirect("project-export", code=access.project.code)
    found = list(jobs_for(access).filter(kind=KIND)[:LISTED])
    going_on = [job for job in found if job.state in (JobState.WAITING, JobState.RUNNING)]
    context = {
        "rows": [{"job": job, "here": _is_here(job.state, job.finished_at)} for job in found],
        "going_on": [{"job": job, "progress": progress_of(job)} for job in going_on],
        "client_uuid": new_id(),
        "days": KEPT.days,
        "tabs": tabs(access, "project-export"),
    }
    return page(request, "commissioning/settings/export.html", context, section="project-settings")


@require_safe
@project_view
def download(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """The archive that one export made."""
    _require_whole(request.access)
    job = job_or_404(access=request.access, id=id)
    try:
        name = exported_file(job)
    except ServiceError as error:
        return HttpResponse(f"{error.words}\n", status=404, content_type="text/plain; charset=utf-8")
    answer = FileResponse(
        default_storage.open(name), as_attachment=True, filename=name.rsplit("/", 1)[-1], content_type="application/zip"
    )
    answer["Cache-Control"] = "private, no-store"
    return answer


def _require_whole(access: Access) -> None:
    if not access.manages_every_site:
        raise NotAllowed("The whole project is exported by a manager of all its sites.")


def _key(request: ProjectRequest) -> UUID:
    """The form's own key, so that a button pressed twice asks once."""
    try:
        return UUID(request.POST.get("id", ""))
    except ValueError:
        return new_id()


def _is_here(state: str, finished_at: object) -> bool:
    return state == JobState.DONE and finished_at is not None and finished_at > timezone.now() - KEPT  # type: ignore[operator]
