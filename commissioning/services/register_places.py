"""Sites, systems and equipment: created and changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any
from uuid import UUID

from commissioning.errors import InvalidInput
from commissioning.models import Equipment, EquipmentKind, Project, Site, System, User
from commissioning.register_import import sheets
from commissioning.rules.gate_parts import NOTHING
from commissioning.services.counters import rename_site
from commissioning.services.locks import lock_project
from commissioning.services.permissions import MANAGERS, WORKERS, require
from commissioning.services.register_common import (
    KEEP,
    Keep,
    already_added,
    clean,
    refuse_taken,
    save_changes,
    save_new,
)
from commissioning.services.stages import lay_out_stages
from commissioning.services.state_change import state_change
from commissioning.services.verification import verify_what_it_touches


@state_change()
def create_site(
    *,
    actor: User,
    project: Project,
    code: str,
    name: str,
    time_zone: str = "",
    notes: str = "",
    id: UUID | None = None,
) -> Site:
    """A new place. A manager adds it."""
    values = clean(sheets.SITES, {"code": code, "name": name, "time_zone": time_zone, "notes": notes})
    if found := already_added(Site, id, project_id=project.pk, **values):
        return found
    project = lock_project(project.pk)
    require(actor=actor, project=project, roles=MANAGERS, site=None, to="add a site")
    refuse_taken(Site, field="code", project=project, code=values["code"])
    return save_new(Site(project=project, **values), project=project, actor=actor, action="site_added", id=id)


@state_change()
def change_site(
    *,
    actor: User,
    site: Site,
    code: str | Keep = KEEP,
    name: str | Keep = KEEP,
    time_zone: str | Keep = KEEP,
    notes: str | Keep = KEEP,
) -> Site:
    """Change what a site is called, its zone or its notes."""
    project = lock_project(site.project_id)
    require(actor=actor, project=project, roles=MANAGERS, site=site.pk, to="change a site")
    values = clean(sheets.SITES, {"code": code, "name": name, "time_zone": time_zone, "notes": notes})
    site = Site.objects.get(pk=site.pk)
    if "code" in values:
        refuse_taken(Site, field="code", except_pk=site.pk, project=project, code=values["code"])
    site = save_changes(site, values, project=project, actor=actor, action="site_changed")
    if "code" in values:
        rename_site(site)
    return site


@state_change()
def create_system(
    *,
    actor: User,
    site: Site,
    tag: str,
    name: str,
    kind: str,
    nameplate: Mapping[str, Any] | None = None,
    id: UUID | None = None,
) -> System:
    """A new system with the stages of its kind. A manager adds it."""
    values = clean(sheets.SYSTEMS, {"tag": tag, "name": name, "kind": kind, "nameplate": nameplate or {}})
    if found := already_added(System, id, site_id=site.pk, **values):
        return found
    project = lock_project(site.project_id)
    require(actor=actor, project=project, roles=MANAGERS, site=site.pk, to="add a system")
    refuse_taken(System, field="tag", project=project, tag=values["tag"])
    system = System(project=project, site=site, **values)
    save_new(system, project=project, actor=actor, action="system_added", system=id or system.pk, id=id)
    lay_out_stages(system)
    return system


@state_change()
def change_system(
    *,
    actor: User,
    system: System,
    tag: str | Keep = KEEP,
    name: str | Keep = KEEP,
    site: Site | Keep = KEEP,
    nameplate: Mapping[str, Any] | Keep = KEEP,
) -> System:
    """Change what a system is called, where it stands or its nameplate. Its kind stays: its stages follow from it."""
    project = lock_project(system.project_id)
    system = System.objects.select_for_update().get(pk=system.pk)
    require(actor=actor, project=project, roles=MANAGERS, site=system.site_id, to="change a system")
    values = clean(sheets.SYSTEMS, {"tag": tag, "name": name, "nameplate": nameplate})
    if site is not KEEP:
        require(actor=actor, project=project, roles=MANAGERS, site=site.pk, to="move a system there")
        if site.project_id != project.pk:
            raise InvalidInput({"site": "Choose a site of this project."})
        values["site_id"] = site.pk
    if "tag" in values:
        refuse_taken(System, field="tag", except_pk=system.pk, project=project, tag=values["tag"])
    before = system.nameplate
    system = save_changes(system, values, project=project, actor=actor, action="system_changed", system=system.pk)
    _verify_again(actor=actor, project=project, system=system.pk, of=system, before=before)
    return system


@state_change()
def create_equipment(
    *,
    actor: User,
    system: System,
    tag: str,
    kind: str = EquipmentKind.OTHER,
    parent: Equipment | None = None,
    description: str = "",
    serial_number: str = "",
    maker: str = "",
    model: str = "",
    nameplate: Mapping[str, Any] | None = None,
    id: UUID | None = None,
) -> Equipment:
    """A new piece of equipment in a system. A manager or field engineer adds it."""
    typed = {"tag": tag, "kind": kind, "description": description, "serial_number": serial_number}
    values = clean(sheets.EQUIPMENT, {**typed, "maker": maker, "model": model, "nameplate": nameplate or {}})
    if found := already_added(Equipment, id, system_id=system.pk, parent_id=parent.pk if parent else None, **values):
        return found
    project = lock_project(system.project_id)
    require(actor=actor, project=project, roles=WORKERS, site=system.site_id, to="add equipment")
    refuse_taken(Equipment, field="tag", project=project, tag=values["tag"])
    equipment = Equipment(project=project, system=system, parent=parent, **values)
    _check_parent(equipment, parent)
    _check_serial(equipment)
    return save_new(
        equipment, project=project, actor=actor, action="equipment_added", touches=NOTHING, system=system.pk, id=id
    )


@state_change()
def change_equipment(
    *,
    actor: User,
    equipment: Equipment,
    tag: str | Keep = KEEP,
    kind: str | Keep = KEEP,
    parent: Equipment | Keep | None = KEEP,
    description: str | Keep = KEEP,
    serial_number: str | Keep = KEEP,
    maker: str | Keep = KEEP,
    model: str | Keep = KEEP,
    nameplate: Mapping[str, Any] | Keep = KEEP,
) -> Equipment:
    """Change what is recorded of a piece of equipment. A new tag keeps the old one, so that an old label leads here."""
    project = lock_project(equipment.project_id)
    equipment = Equipment.objects.select_related("system").get(pk=equipment.pk)
    site = equipment.system.site_id
    require(actor=actor, project=project, roles=WORKERS, site=site, to="change equipment")
    typed = {"tag": tag, "kind": kind, "description": description, "serial_number": serial_number}
    values = clean(sheets.EQUIPMENT, {**typed, "maker": maker, "model": model, "nameplate": nameplate})
    if values.get("tag", equipment.tag) != equipment.tag:
        refuse_taken(Equipment, field="tag", except_pk=equipment.pk, project=project, tag=values["tag"])
        former = [old for old in equipment.former_tags if old not in (equipment.tag, values["tag"])]
        values["former_tags"] = [*former, equipment.tag]
    if parent is not KEEP:
        _check_parent(equipment, parent)
        values["parent_id"] = parent.pk if parent else None
    if values.keys() & {"serial_number", "maker"}:
        was = (equipment.serial_number, equipment.maker)
        now = (values.get("serial_number", was[0]), values.get("maker", was[1]))
        if now != was:
            _check_serial(Equipment(pk=equipment.pk, project=project, serial_number=now[0], maker=now[1]))
    before = equipment.nameplate
    equipment = save_changes(
        equipment,
        values,
        project=project,
        actor=actor,
        action="equipment_changed",
        touches=NOTHING,
        system=equipment.system_id,
    )
    _verify_again(actor=actor, project=project, system=equipment.system_id, of=equipment, before=before)
    return equipment


def _verify_again(
    *, actor: User, project: Project, system: UUID, of: System | Equipment, before: Mapping[str, Any]
) -> None:
    """Readings of a system rest on the nameplates in it, its own and its equipment's."""
    if of.nameplate != before:
        keys = sorted(key for key in {*of.nameplate, *before} if of.nameplate.get(key) != before.get(key))
        reason = f"Nameplate of {of.tag} changed: {', '.join(key.replace('_', ' ') for key in keys)}"
        verify_what_it_touches(actor=actor, project=project, reason=reason, scope={"system": str(system)})


def _check_parent(equipment: Equipment, parent: Equipment | None) -> None:
    """A parent is of the same project, and nothing is part of itself over any number of steps."""
    if parent is None:
        return
    if parent.project_id != equipment.project_id:
        raise InvalidInput({"parent": "Choose a parent of this project."})
    parents = dict(Equipment.objects.filter(project=equipment.project_id).values_list("pk", "parent_id"))
    at: UUID | None = parent.pk
    seen: set[UUID] = set()
    while at is not None and at not in seen:
        if at == equipment.pk:
            raise InvalidInput({"parent": f"{parent.tag} is itself part of {equipment.tag}. Choose another parent."})
        seen.add(at)
        at = parents.get(at)


def _check_serial(equipment: Equipment) -> None:
    """One maker gives a serial number once; the same one again is a slip, or equipment that was renamed."""
    if not equipment.serial_number:
        return
    same = Equipment.objects.filter(
        project=equipment.project_id,
        serial_number__iexact=equipment.serial_number,
        maker__iexact=equipment.maker,
    ).exclude(pk=equipment.pk)
    if (tag := same.values_list("tag", flat=True).first()) is not None:
        raise InvalidInput({"serial_number": f"{tag} has this serial number. Correct it, or change {tag} instead."})
