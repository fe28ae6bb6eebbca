"""A system or a site as the template for another: first what everything would be called, then the copy."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse

from commissioning.forms.base import RepeatSafeForm
from commissioning.forms.copying import SiteCopyForm, SystemCopyForm
from commissioning.selectors.access import sites_for
from commissioning.selectors.system import system_or_404
from commissioning.services.copying import CopyPlan, copy_site, copy_system, plan_copy
from commissioning.views.base import ProjectRequest, page, project_view, submit

LOOK = "look"


@project_view
def system(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Another system like this one."""
    access, old = request.access, system_or_404(access=request.access, id=id)
    form = SystemCopyForm(request.POST or None, access=access, system=old)

    def plan(given: dict[str, Any]) -> CopyPlan:
        return plan_copy(project=access.project, systems=[old], find=old.tag, replace=given["tag"].strip())

    def make(given: dict[str, Any]) -> Any:
        wanted = {name: given[name] for name in ("site", "tag", "name")}
        return copy_system(actor=access.user, system=old, id=form.record_id, **wanted)

    return _copy(request, form, plan, make, what=f"{old.tag} {old.name}", noun="system", old=old)


@project_view
def site(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Another site like this one."""
    access = request.access
    old = get_object_or_404(sites_for(access), pk=id)
    form = SiteCopyForm(request.POST or None, access=access, site=old)

    def plan(given: dict[str, Any]) -> CopyPlan:
        systems = list(old.systems.order_by("tag"))
        return plan_copy(project=access.project, systems=systems, find=old.code, replace=given["code"].strip())

    def make(given: dict[str, Any]) -> Any:
        return copy_site(actor=access.user, site=old, code=given["code"], name=given["name"], id=form.record_id)

    return _copy(request, form, plan, make, what=f"{old.code} {old.name}", noun="site", old=old)


def _copy(
    request: ProjectRequest,
    form: RepeatSafeForm,
    plan: Callable[[dict[str, Any]], CopyPlan],
    make: Callable[[dict[str, Any]], Any],
    *,
    what: str,
    noun: str,
    old: Any,
) -> HttpResponse:
    access = request.access
    code, shown = access.project.code, None
    if form.is_valid():
        if LOOK not in request.POST and (made := submit(form, lambda: make(form.cleaned_data))):
            messages.success(request, f"Copied: {made}. Nothing of the record came along.")
            return redirect(noun, code=code, id=made.pk)
        shown = plan(form.cleaned_data)
    context = {
        "form": form,
        "what": what,
        "noun": noun,
        "plan": shown,
        "allowed": access.is_manager and (noun == "system" or access.manages_every_site),
        "back": reverse(noun, args=[code, old.pk]),
    }
    return page(
        request, "commissioning/register/copy.html", context, section="portfolio", status=422 if form.errors else 200
    )
