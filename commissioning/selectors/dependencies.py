"""Which stages wait for stages of other systems, over all sites that a person may see: two queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import BooleanField, Case, Q, QuerySet, Value, When

from commissioning.models import Stage, StageDependency, StageState
from commissioning.selectors.access import Access


@dataclass(frozen=True, slots=True)
class End:
    """A stage at one end of a dependency."""

    stage: UUID
    system: UUID
    tag: str
    site: str
    kind: str
    accepted: bool


@dataclass(frozen=True, slots=True)
class Waiting:
    """A stage that waits for one of another system; `needs` is nothing where the person may not see its site."""

    stage: End
    needs: End | None
    holds: bool  # the stage is not accepted, and what it needs is not
    passed: bool  # what it needs is accepted


@dataclass(frozen=True, slots=True)
class SystemStages:
    """A system with the state of each of its stages."""

    system: UUID
    tag: str
    site: str
    stages: tuple[tuple[str, str], ...]  # kind, state


def dependencies(*, access: Access, site: UUID | None = None) -> QuerySet[StageDependency]:
    """Dependencies of stages that the person may see, those that hold something now first."""
    rows = StageDependency.objects.filter(
        access.limit("stage__system__site"), stage__system__project=access.project
    ).select_related("stage__system__site", "requires__system__site")
    if site:
        rows = rows.filter(Q(stage__system__site=site) | Q(requires__system__site=site))
    accepted = StageState.ACCEPTED
    met = Q(stage__state=accepted) | Q(requires__state=accepted)
    rows = rows.annotate(settled=Case(When(met, then=Value(True)), default=Value(False), output_field=BooleanField()))
    return rows.order_by(
        "settled", "stage__system__site__code", "stage__system__tag", "stage__order", "requires__system__tag", "pk"
    )


def waiting(rows: Iterable[StageDependency], *, access: Access) -> list[Waiting]:
    """The rows as facts, without what the person may not see."""
    found = []
    for row in rows:
        stage, needs = _end(row.stage), _end(row.requires)
        seen = access.covers(row.requires.system.site_id)
        found.append(Waiting(stage, needs if seen else None, not stage.accepted and not needs.accepted, needs.accepted))
    return found


def stages_of(rows: Iterable[Waiting]) -> list[SystemStages]:
    """The systems at both ends, by site and tag, with all of their stages."""
    ends = {end.system: end for row in rows for end in (row.stage, row.needs) if end}
    states: dict[UUID, list[tuple[str, str]]] = defaultdict(list)
    found = Stage.objects.filter(system__in=list(ends)).order_by("order")
    for system, kind, state in found.values_list("system_id", "kind", "state"):
        states[system].append((kind, state))
    ordered = sorted(ends.values(), key=lambda end: (end.site, end.tag))
    return [SystemStages(end.system, end.tag, end.site, tuple(states[end.system])) for end in ordered]


def _end(stage: Stage) -> End:
    system = stage.system
    return End(stage.pk, system.pk, system.tag, system.site.code, stage.kind, stage.state == StageState.ACCEPTED)
