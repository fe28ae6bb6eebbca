"""Changing by hand what the register holds: a site, a system, equipment, a supply point, a signal point."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse

from commissioning.errors import InvalidInput
from commissioning.forms.fields import OFFERED
from commissioning.forms.register_edit import (
    ANOTHER,
    EditForm,
    EquipmentEdit,
    NameplateForm,
    SignalEdit,
    SiteEdit,
    SupplyEdit,
    SystemEdit,
)
from commissioning.models import Equipment, System
from commissioning.procedures.nameplate import NAMEPLATE_KEYS
from commissioning.selectors.access import sites_for
from commissioning.selectors.register import equipment_tags, has_standing_readings
from commissioning.selectors.signals import point_or_404
from commissioning.selectors.system import equipment_or_404, supply_or_404, system_or_404
from commissioning.services.permissions import MANAGERS, WORKERS
from commissioning.services.register import (
    change_equipment,
    change_signal_point,
    change_site,
    change_supply_point,
    change_system,
)
from commissioning.views.base import ProjectRequest, page, project_view, submit, use_site_zone

SUPPLY_STAYS = (
    "This changes what the supply point is called and how energy gets in. What is recorded of its isolation stays as "
    "it is, and proves nothing: prove dead at the point of work."
)


@dataclass(frozen=True)
class Editing:
    """What one page changes: its form, who may, the service that does it, and the page of the record."""

    name: str
    form: type[EditForm]
    roles: frozenset[str]
    change: Callable[..., Any]
    page: str
    section: str = "portfolio"
    caution: str = ""


SITE = Editing("site", SiteEdit, MANAGERS, change_site, "site")
SYSTEM = Editing("system", SystemEdit, MANAGERS, change_system, "system")
EQUIPMENT = Editing("equipment", EquipmentEdit, WORKERS, change_equipment, "tag")
SUPPLY = Editing("supply", SupplyEdit, WORKERS, change_supply_point, "supply", caution=SUPPLY_STAYS)
SIGNAL = Editing("point", SignalEdit, WORKERS, change_signal_point, "signal", section="signals")


def _edit(request: ProjectRequest, editing: Editing, record: Any, system: System | None) -> HttpResponse:
    access = request.access
    back = reverse(editing.page, args=[access.project.code, record.pk])
    form = editing.form(request.POST or None, access=access, record=record)
    if form.is_bound and ANOTHER in request.POST and isinstance(form, NameplateForm):
        # One more line was asked for: what was typed is shown again, and nothing is judged before it is saved.
        form.errors.clear()
        return _edit_page(request, editing, form, system, back=back, status=200)
    if form.is_valid() and (done := submit(form, lambda: _save(request, editing, form))):
        for words in said_of(form, done):
            messages.success(request, words)
        return redirect(back)
    return _edit_page(request, editing, form, system, back=back, status=422 if form.is_bound else 200)


def _save(request: ProjectRequest, editing: Editing, form: EditForm) -> Any:
    try:
        return editing.change(actor=request.access.user, **{editing.name: form.record}, **form.changes())
    except InvalidInput as error:
        raise InvalidInput({form.place_of(name): words for name, words in error.fields.items()}) from None


def _edit_page(
    request: ProjectRequest, editing: Editing, form: EditForm, system: System | None, *, back: str, status: int
) -> HttpResponse:
    access = request.access
    wanted = {"equipment", "parent"} & set(form.fields)
    context = {
        "form": form,
        "record": form.record,
        "caution": editing.caution,
        "allowed": access.role in editing.roles,
        "who": "A manager changes this."
        if editing.roles == MANAGERS
        else "A manager or a field engineer changes this.",
        "has_nameplate": isinstance(form, NameplateForm),
        "equipment_tags": equipment_tags(access, system=system, most=OFFERED) if wanted else [],
        "back": back,
        "another": ANOTHER,
    }
    template = "commissioning/register/edit.html"
    return page(request, template, context, section=editing.section, system=system, status=status)


def said_of(form: EditForm, done: Any) -> list[str]:
    """What was changed, what becomes of an old tag, and what a changed nameplate sets going."""
    was = form.record
    changed = [(form[name].label or name).lower() for name in form.own if getattr(was, name) != getattr(done, name)]
    entries = _entries_changed(was, done)
    if not changed and not entries:
        return [f"Nothing was changed: {done} is recorded like this already."]
    said = [f"Changed {done}: {', '.join([*changed, *entries])}."]
    if isinstance(done, Equipment) and was.tag != done.tag:
        said.append(f"The former tag {was.tag} is kept: an old label still leads here.")
    if entries:
        said.append(_verification_words(done))
    return said


def _entries_changed(was: Any, done: Any) -> list[str]:
    before, after = getattr(was, "nameplate", {}), getattr(done, "nameplate", {})
    keys = [key for key in dict.fromkeys([*NAMEPLATE_KEYS, *before]) if before.get(key) != after.get(key)]
    return [NAMEPLATE_KEYS[key].words if key in NAMEPLATE_KEYS else key.replace("_", " ") for key in keys]


def _verification_words(done: System | Equipment) -> str:
    if not has_standing_readings(done.system_id if isinstance(done, Equipment) else done.pk):
        return "The system has no reading yet, so nothing rests on the nameplate that was changed."
    return (
        "The nameplate was changed, so the readings of the system are being verified again. What comes out otherwise "
        "is listed under Calculations, readings verified again, until a manager decides."
    )


@project_view
def site(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Change what a site is called, its zone or its notes."""
    record = get_object_or_404(sites_for(request.access).select_related("project"), pk=id)
    return _edit(request, SITE, record, None)


@project_view
def system(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Change what a system is called, where it stands or its nameplate."""
    record = system_or_404(access=request.access, id=id)
    use_site_zone(record.site)
    return _edit(request, SYSTEM, record, record)


@project_view
def equipment(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Change what is recorded of a piece of equipment."""
    record = equipment_or_404(access=request.access, id=id)
    use_site_zone(record.system.site)
    return _edit(request, EQUIPMENT, record, record.system)


@project_view
def supply(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Change what a supply point is called; its isolation is recorded elsewhere."""
    record = supply_or_404(access=request.access, id=id)
    use_site_zone(record.system.site)
    return _edit(request, SUPPLY, record, record.system)


@project_view
def signal(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Change what is recorded of a signal point."""
    record = point_or_404(access=request.access, id=id)
    use_site_zone(record.system.site)
    return _edit(request, SIGNAL, record, record.system)
