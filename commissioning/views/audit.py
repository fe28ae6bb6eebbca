"""The audit log of a project, and proof that nobody has changed it."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from commissioning.errors import NotAllowed
from commissioning.forms.member import AuditFilter
from commissioning.selectors.audit import actions_of, chain_standing, entries_wanted
from commissioning.selectors.members import members_of
from commissioning.services.audit_walk import ask_walk, is_long
from commissioning.views.base import ProjectRequest, page, project_view
from commissioning.views.finding import system_named, tags_offered
from commissioning.views.history import entry_rows
from commissioning.views.jobs import tabs

PAGE_SIZE = 50


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """Who did what, and when."""
    return _audit_page(request)


def _audit_page(request: ProjectRequest, **more: Any) -> HttpResponse:
    access = request.access
    if not access.is_manager:
        raise NotAllowed("The audit log of the whole project is for its managers. Each system's page has its history.")
    form = AuditFilter(_with_tag(request), members=members_of(access), actions=actions_of(access))
    given = form.given()
    found = Paginator(entries_wanted(access=access, given=given), PAGE_SIZE).get_page(request.GET.get("page", 1))
    context = {
        "form": form,
        "narrowed": bool(given),
        "page_obj": found,
        "entries": entry_rows(found, access.project.code),
        "tags": tags_offered(access),
        "tabs": tabs(access, "audit"),
        **more,
    }
    return page(request, "commissioning/settings/audit.html", context, section="project-settings")


def _with_tag(request: ProjectRequest) -> Any:
    """The address's own words; a system named by its key is shown by its tag."""
    data = request.GET.copy()
    if system := system_named(request.access, data.get("system", "")):
        data["system"] = system.tag
    return data


@require_POST
@project_view
def verify(request: ProjectRequest) -> HttpResponse:
    """Walk the chain from its first entry to its last, and say whether each is bound to the one before it."""
    access = request.access
    if not access.is_manager:
        raise NotAllowed("A manager of the project has the audit log verified.")
    if is_long(access.project):
        job = ask_walk(actor=access.user, project=access.project)
        return redirect("job", code=access.project.code, id=job.pk)
    return _audit_page(request, chain=chain_standing(access.project))
