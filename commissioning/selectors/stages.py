"""Which stages rest on which: what a withdrawal takes with it."""

from __future__ import annotations

from uuid import UUID

from commissioning.models import Stage, StageDependency


def rests_on(stage: Stage) -> list[Stage]:
    """The stage and all that rest on it: later ones of its system and dependents elsewhere, each once."""
    project_id = stage.system.project_id
    stages = {s.pk: s for s in Stage.objects.filter(system__project=project_id).select_related("system__project")}
    followers: dict[UUID, set[UUID]] = {pk: set() for pk in stages}
    by_place = {(s.system_id, s.order): s.pk for s in stages.values()}
    for found in stages.values():
        if before := by_place.get((found.system_id, found.order - 1)):
            followers[before].add(found.pk)
    for stage_id, requires_id in StageDependency.objects.filter(stage__system__project=project_id).values_list(
        "stage_id", "requires_id"
    ):
        followers[requires_id].add(stage_id)
    reached, waiting = [stage.pk], [stage.pk]
    while waiting:
        for follower in sorted(followers[waiting.pop(0)] - set(reached)):
            reached.append(follower)
            waiting.append(follower)
    return [stages[pk] for pk in reached]
