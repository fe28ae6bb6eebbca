"""A system or a whole site as the template for another: its structure and procedures, and nothing of its record.

Copied are systems, equipment, supply points, signal points, which stage waits for which, and the check lines as the
project's procedures lay them out. Not copied are serial numbers, readings, results, snags, alarms, signatures and
dates: every supply point of the copy is not recorded, which reads LIVE, and every stage is not started.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from commissioning.errors import InvalidInput
from commissioning.models import CheckLine, Equipment, Project, Site, StageDependency, System, User
from commissioning.rules.copying import NewName, new_names
from commissioning.services.audit import record
from commissioning.services.dependencies import add_dependency
from commissioning.services.locks import lock_project
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.procedures import apply_procedure, copy_procedure
from commissioning.services.register_places import create_equipment, create_site, create_system
from commissioning.services.register_points import create_signal_point, create_supply_point
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change

#: A site with more systems than this is copied in parts, by the workbook.
MOST_SYSTEMS = 60
PROBLEMS_SAID = 5


@dataclass(frozen=True, slots=True)
class CopyPlan:
    """What everything would be called."""

    systems: tuple[NewName, ...]
    equipment: tuple[NewName, ...]

    @property
    def problems(self) -> list[str]:
        return [f"{one.new} {one.problem}." for one in (*self.systems, *self.equipment) if one.problem]


def plan_copy(*, project: Project, systems: Sequence[System], find: str, replace: str) -> CopyPlan:
    """The names that a copy would give, in three queries."""
    equipment = Equipment.objects.filter(system__in=systems).order_by("tag").values_list("tag", flat=True)
    of_systems = System.objects.filter(project=project).values_list("tag", flat=True)
    of_equipment = Equipment.objects.filter(project=project).values_list("tag", flat=True)
    return CopyPlan(
        new_names([system.tag for system in systems], find=find, replace=replace, taken=set(of_systems)),
        new_names(equipment, find=find, replace=replace, taken=set(of_equipment)),
    )


@state_change()
def copy_system(*, actor: User, system: System, site: Site, tag: str, name: str = "", id: UUID | None = None) -> System:
    """Another system like this one. In the tags of its equipment the old tag gives way to the new one."""
    if found := already_made(System, id, site_id=site.pk, tag=tag.strip()):
        return found
    project = lock_project(system.project_id)
    for place in (system.site_id, site.pk):
        require(actor=actor, project=project, roles=MANAGERS, site=place, to="copy a system")
    if site.project_id != project.pk:
        raise InvalidInput({"site": "Choose a site of this project."})
    plan = plan_copy(project=project, systems=[system], find=system.tag, replace=tag.strip())
    _refuse_problems(plan, field="tag")
    made = _copy(actor=actor, project=project, systems=[system], site=site, plan=plan, names={system.pk: name}, id=id)
    return made[system.pk]


@state_change()
def copy_site(*, actor: User, site: Site, code: str, name: str, id: UUID | None = None) -> Site:
    """Another site like this one. In all tags the old site's code gives way to the new one."""
    if found := already_made(Site, id, project_id=site.project_id, code=code.strip()):
        return found
    project = lock_project(site.project_id)
    access = require(actor=actor, project=project, roles=MANAGERS, site=site.pk, to="copy a site")
    systems = list(site.systems.order_by("tag")[: MOST_SYSTEMS + 1])
    if len(systems) > MOST_SYSTEMS:
        raise InvalidInput({"code": f"A site of at most {MOST_SYSTEMS} systems can be copied. Use the workbook."})
    plan = plan_copy(project=project, systems=systems, find=site.code, replace=code.strip())
    _refuse_problems(plan, field="code")
    made = create_site(actor=access.user, project=project, code=code, name=name, time_zone=site.time_zone, id=id)
    _copy(actor=actor, project=project, systems=systems, site=made, plan=plan, names={}, id=None)
    return made


def _refuse_problems(plan: CopyPlan, *, field: str) -> None:
    if problems := plan.problems:
        more = f" And {len(problems) - PROBLEMS_SAID} more." if len(problems) > PROBLEMS_SAID else ""
        raise InvalidInput({field: " ".join(problems[:PROBLEMS_SAID]) + more})


def _copy(
    *,
    actor: User,
    project: Project,
    systems: Sequence[System],
    site: Site,
    plan: CopyPlan,
    names: dict[UUID, str],
    id: UUID | None,
) -> dict[UUID, System]:
    """The systems by the key of what each was copied from."""
    tags = {one.old: one.new for one in plan.systems}
    made = {
        one.pk: create_system(
            actor=actor,
            site=site,
            tag=tags[one.tag],
            name=names.get(one.pk) or one.name,
            kind=one.kind,
            nameplate=one.nameplate,
            id=id,
        )
        for one in systems
    }
    equipment = _copy_equipment(actor, made, {one.old: one.new for one in plan.equipment})
    for old in systems:
        _copy_points(actor, old, made[old.pk], equipment)
        _lay_out(actor, old, made[old.pk])
        words = f"Copied {made[old.pk].tag} from {old.tag}: structure and procedures, no records."
        new = made[old.pk]
        record(
            project=project,
            actor=actor,
            action="system_copied",
            on=new,
            system=new.pk,
            words=words,
            data={"from": old.pk},
        )
    _copy_dependencies(actor, made)
    return made


def _copy_equipment(actor: User, made: dict[UUID, System], tags: dict[str, str]) -> dict[UUID, Equipment]:
    """Every piece, parents before their parts. A parent outside of what is copied is left out."""
    waiting = {one.pk: one for one in Equipment.objects.filter(system__in=made).order_by("tag")}
    copied: dict[UUID, Equipment] = {}
    while waiting:
        ready = [one for one in waiting.values() if one.parent_id not in waiting]
        for one in ready:
            copied[one.pk] = create_equipment(
                actor=actor,
                system=made[one.system_id],
                tag=tags[one.tag],
                kind=one.kind,
                parent=copied.get(one.parent_id) if one.parent_id else None,
                description=one.description,
                maker=one.maker,
                model=one.model,
                nameplate=one.nameplate,
            )
            del waiting[one.pk]
    return copied


def _copy_points(actor: User, old: System, new: System, equipment: dict[UUID, Equipment]) -> None:
    def tag(text: str) -> str:
        return text.replace(old.tag, new.tag)

    for supply in old.supplies.order_by("tag"):
        create_supply_point(
            actor=actor, system=new, tag=tag(supply.tag), kind=supply.kind, description=tag(supply.description)
        )
    for point in old.signals.order_by("order", "tag"):
        create_signal_point(
            actor=actor,
            system=new,
            tag=tag(point.tag),
            description=tag(point.description),
            direction=point.direction,
            stage_kind=point.stage_kind,
            equipment=equipment.get(point.equipment_id) if point.equipment_id else None,
            far_end=point.far_end,
            order=point.order,
        )


def _lay_out(actor: User, old: System, new: System) -> None:
    """Check lines as the project's procedure has them, where the one that is copied has any."""
    if CheckLine.objects.filter(stage__system=old, retired_at__isnull=True).exists():
        procedure = copy_procedure(actor=actor, project=new.project, key=new.kind)
        apply_procedure(actor=actor, system=new, procedure=procedure)


def _copy_dependencies(actor: User, made: dict[UUID, System]) -> None:
    """Which stage waits for which, among what was copied."""
    rows = StageDependency.objects.filter(stage__system__in=made, requires__system__in=made)
    for row in rows.select_related("stage", "requires"):
        stage = made[row.stage.system_id].stages.get(kind=row.stage.kind)
        requires = made[row.requires.system_id].stages.get(kind=row.requires.kind)
        add_dependency(actor=actor, stage=stage, requires=requires)
