"""Adding to the register by hand: a site, a system, equipment, a supply or signal point, a dependency."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from commissioning.forms.fields import OFFERED
from commissioning.forms.register import (
    AddForm,
    DependencyForm,
    EquipmentForm,
    SignalForm,
    SiteForm,
    SupplyForm,
    SystemForm,
)
from commissioning.models import Stage, StageDependency, System
from commissioning.selectors.register import dependencies_of, dependency_or_404, equipment_tags
from commissioning.services.permissions import MANAGERS, WORKERS
from commissioning.services.register import (
    add_dependency,
    create_equipment,
    create_signal_point,
    create_site,
    create_supply_point,
    create_system,
)
from commissioning.services.register import remove_dependency as take_away
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.finding import system_named, tags_offered

BATTERY_AND_SUPPLY = (
    "A new supply point is not recorded: treat it as LIVE until somebody isolates it, locks it and proves dead at the "
    "point of work."
)


@dataclass(frozen=True)
class Adding:
    """What one page adds: its words, its form, who may, and the service that does it."""

    what: str
    question: str
    form: type[AddForm]
    roles: frozenset[str]
    save: Callable[[ProjectRequest, AddForm], Any]
    caution: str = ""


def _add(request: ProjectRequest, adding: Adding) -> HttpResponse:
    access = request.access
    here = system_named(access, request.GET.get("system", ""))
    form = adding.form(request.POST or None, access=access, initial=_initial(request, here))
    if form.is_valid() and (done := submit(form, lambda: adding.save(request, form))):
        messages.success(request, f"Added: {done}.")
        return redirect(_next(request, here, done))
    context = {
        "adding": adding,
        "form": form,
        "allowed": access.role in adding.roles,
        "who": "A manager adds this." if adding.roles == MANAGERS else "A manager or a field engineer adds this.",
        "back": _back(request, here),
        "for_system": here,
        "tags": tags_offered(access) if {"system", "requires"} & set(form.fields) else [],
        "equipment_tags": _equipment_tags(request, form, here),
        "dependencies": dependencies_of(here) if here and adding.form is DependencyForm else [],
        "is_dependency": adding.form is DependencyForm,
    }
    status = 422 if form.is_bound else 200
    return page(
        request, "commissioning/register/add.html", context, section="project-settings", system=here, status=status
    )


def _initial(request: ProjectRequest, here: System | None) -> dict[str, Any]:
    given = {name: request.GET[name] for name in ("site", "tag", "kind", "stage") if name in request.GET}
    return {**given, "system": here.tag} if here else given


def _equipment_tags(request: ProjectRequest, form: AddForm, here: System | None) -> list[str]:
    wanted = {"equipment", "parent"} & set(form.fields)
    return equipment_tags(request.access, system=here, most=OFFERED) if wanted else []


def _back(request: ProjectRequest, here: System | None) -> str:
    code = request.access.project.code
    return reverse("system", args=[code, here.pk]) if here else reverse("register", args=[code])


def _next(request: ProjectRequest, here: System | None, done: Any) -> str:
    """Back to the system that the person came from; a new system is looked at; else the same form for the next one."""
    if isinstance(done, System):
        return reverse("system", args=[request.access.project.code, done.pk])
    return _back(request, here) if here else request.get_full_path()


def _given(form: AddForm, *names: str) -> dict[str, Any]:
    return {name: form.cleaned_data[name] for name in names}


def _save_site(request: ProjectRequest, form: AddForm) -> Any:
    given = _given(form, "code", "name", "time_zone", "notes")
    return create_site(actor=request.access.user, project=request.access.project, id=form.record_id, **given)


def _save_system(request: ProjectRequest, form: AddForm) -> Any:
    return create_system(actor=request.access.user, id=form.record_id, **_given(form, "site", "tag", "name", "kind"))


def _save_equipment(request: ProjectRequest, form: AddForm) -> Any:
    names = ("system", "tag", "kind", "parent", "description", "serial_number", "maker", "model")
    return create_equipment(actor=request.access.user, id=form.record_id, **_given(form, *names))


def _save_supply(request: ProjectRequest, form: AddForm) -> Any:
    given = _given(form, "system", "tag", "kind", "description")
    return create_supply_point(actor=request.access.user, id=form.record_id, **given)


def _save_signal(request: ProjectRequest, form: AddForm) -> Any:
    names = ("system", "tag", "description", "direction", "stage_kind", "equipment", "far_end")
    order = form.cleaned_data["order"] or 0
    return create_signal_point(actor=request.access.user, id=form.record_id, order=order, **_given(form, *names))


def _save_dependency(request: ProjectRequest, form: AddForm) -> StageDependency | None:
    given = form.cleaned_data
    stage = _stage(form, given["system"], given["stage"], field="stage")
    requires = _stage(form, given["requires"], given["requires_stage"], field="requires_stage")
    if stage is None or requires is None:
        return None
    return add_dependency(actor=request.access.user, stage=stage, requires=requires, id=form.record_id)


def _stage(form: AddForm, system: System, kind: str, *, field: str) -> Stage | None:
    found = Stage.objects.select_related("system").filter(system=system, kind=kind).first()
    if found is None:
        form.add_error(field, f"{system.tag} has no such stage. Choose another.")
    return found


SITE = Adding("a site", "A place with its own gate, time zone and people.", SiteForm, MANAGERS, _save_site)
SYSTEM = Adding(
    "a system",
    "What is commissioned and handed over as one. Its stages follow from its kind.",
    SystemForm,
    MANAGERS,
    _save_system,
)
EQUIPMENT = Adding("equipment", "A tagged thing in a system.", EquipmentForm, WORKERS, _save_equipment)
SUPPLY = Adding(
    "a supply point", "Every way energy gets in.", SupplyForm, WORKERS, _save_supply, caution=BATTERY_AND_SUPPLY
)
SIGNAL = Adding(
    "a signal point",
    "A relay output or digital input to the plant control system, to be proved end to end.",
    SignalForm,
    WORKERS,
    _save_signal,
)
DEPENDENCY = Adding(
    "a dependency", "A stage that waits for a stage of another system.", DependencyForm, MANAGERS, _save_dependency
)


@project_view
def site(request: ProjectRequest) -> HttpResponse:
    """Add a site."""
    return _add(request, SITE)


@project_view
def system(request: ProjectRequest) -> HttpResponse:
    """Add a system."""
    return _add(request, SYSTEM)


@project_view
def equipment(request: ProjectRequest) -> HttpResponse:
    """Add a piece of equipment."""
    return _add(request, EQUIPMENT)


@project_view
def supply(request: ProjectRequest) -> HttpResponse:
    """Add a way in for energy."""
    return _add(request, SUPPLY)


@project_view
def signal(request: ProjectRequest) -> HttpResponse:
    """Add a signal point."""
    return _add(request, SIGNAL)


@project_view
def dependency(request: ProjectRequest) -> HttpResponse:
    """Make a stage wait for another system's."""
    return _add(request, DEPENDENCY)


@require_POST
@project_view
def remove_dependency(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The stage waits no longer."""
    found = dependency_or_404(access=request.access, id=id)
    if not request.access.covers(found.requires.system.site_id):
        raise Http404("There is no such dependency.")
    take_away(actor=request.access.user, dependency=found)
    messages.success(request, f"{found.stage} waits no longer for {found.requires}.")
    return redirect(f"{reverse('dependency-new', args=[request.access.project.code])}?system={found.stage.system_id}")
