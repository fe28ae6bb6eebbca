"""Which stage waits for which stage of another system."""

from __future__ import annotations

from uuid import UUID

from commissioning.errors import InvalidInput
from commissioning.models import Stage, StageDependency, User
from commissioning.rules.dependencies import cycle_words, find_cycle, stage_order
from commissioning.rules.gate_parts import STAGES
from commissioning.services.audit import record
from commissioning.services.locks import lock_project
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change


@state_change()
def add_dependency(*, actor: User, stage: Stage, requires: Stage, id: UUID | None = None) -> StageDependency:
    """`stage` waits for `requires`. A cycle is refused with the cycle written out."""
    if found := already_made(StageDependency, id, stage_id=stage.pk, requires_id=requires.pk):
        return found
    project = lock_project(stage.system.project_id)
    require(actor=actor, project=project, roles=MANAGERS, site=stage.system.site_id, to="make a stage wait for another")
    if requires.system.project_id != project.pk:
        raise InvalidInput({"requires": "Choose a stage of this project."})
    if requires.system_id == stage.system_id:
        raise InvalidInput({"requires": "Within a system the stages follow in order by themselves."})
    if there := StageDependency.objects.filter(stage=stage, requires=requires).first():
        return there
    _refuse_cycle(stage, requires)
    dependency = StageDependency(stage=stage, requires=requires)
    if id is not None:
        dependency.pk = id
    dependency.save(force_insert=True)
    record(
        project=project,
        actor=actor,
        action="dependency_added",
        touches={STAGES},
        on=dependency,
        system=stage.system_id,
        words=f"{stage} waits for {requires}.",
        data={"stage": stage.pk, "requires": requires.pk},
    )
    return dependency


def _refuse_cycle(stage: Stage, requires: Stage) -> None:
    """Two queries, however large the project is."""
    project = stage.system.project_id
    plans: dict[str, list[str]] = {}
    found = Stage.objects.filter(system__project=project).order_by("system__tag", "order")
    for tag, kind in found.values_list("system__tag", "kind"):
        plans.setdefault(tag, []).append(kind)
    recorded = StageDependency.objects.filter(stage__system__project=project).values_list(
        "stage__system__tag", "stage__kind", "requires__system__tag", "requires__kind"
    )
    new = ((stage.system.tag, stage.kind), (requires.system.tag, requires.kind))
    edges = [new, *(((a, b), (c, d)) for a, b, c, d in recorded), *stage_order(plans)]
    if cycle := find_cycle(edges):
        raise InvalidInput({"requires": f"It would make a stage wait for itself: {cycle_words(cycle)}."})


@state_change()
def remove_dependency(*, actor: User, dependency: StageDependency) -> None:
    """The stage waits no longer; the audit keeps that it did."""
    stage = dependency.stage
    project = lock_project(stage.system.project_id)
    require(actor=actor, project=project, roles=MANAGERS, site=stage.system.site_id, to="stop a stage from waiting")
    found = StageDependency.objects.select_related("stage__system", "requires__system").filter(pk=dependency.pk).first()
    if found is None:
        return
    record(
        project=project,
        actor=actor,
        action="dependency_removed",
        touches={STAGES},
        on=found,
        system=stage.system_id,
        words=f"{found.stage} waits no longer for {found.requires}.",
        data={"stage": found.stage_id, "requires": found.requires_id},
    )
    found.delete()
