"""One system as its page shows it: stages with what holds each, in a fixed number of queries."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import NoReturn
from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404

from commissioning.models import (
    Acceptance,
    AuditEntry,
    CheckLine,
    Concession,
    Equipment,
    PermissionToEnergise,
    Stage,
    SupplyPoint,
    System,
)
from commissioning.rules.gate import Blocker, ItemFact, StageFacts, acceptance_blockers, entry_blockers, exceptions
from commissioning.selectors.access import Access, equipment_for, systems_for
from commissioning.selectors.facts import load_facts
from commissioning.selectors.holds import stage_holds

DONE_STATES = ("passed", "not_applicable")


@dataclass(frozen=True, slots=True)
class StageStanding:
    """A stage with what the gate says about it."""

    stage: Stage
    facts: StageFacts
    acceptance: Acceptance | None
    withdrawn: bool  # it was accepted once, and that was withdrawn

    @property
    def entry(self) -> tuple[Blocker, ...]:
        return entry_blockers(self.facts)

    @property
    def blockers(self) -> tuple[Blocker, ...]:
        return acceptance_blockers(self.facts)

    @property
    def holds(self) -> tuple[Blocker, ...]:
        return () if self.facts.state == "accepted" else stage_holds(self.facts)

    @property
    def exceptions(self) -> tuple[Blocker, ...]:
        return exceptions(self.facts)

    @property
    def done(self) -> int:
        return sum(line.state in DONE_STATES or line.conceded for line in self.facts.lines)

    @property
    def total(self) -> int:
        return len(self.facts.lines)


@dataclass(frozen=True, slots=True)
class SystemStanding:
    """A system with all its stages as they stand."""

    system: System
    stages: tuple[StageStanding, ...]

    @property
    def in_hand(self) -> StageStanding | None:
        """The first stage that is not accepted."""
        return next((row for row in self.stages if row.facts.state != "accepted"), None)

    @property
    def open_items(self) -> Counter[str]:
        """Standing punch items by category."""
        return Counter(item.category for item in (self.stages[0].facts.items if self.stages else ()))


def system_or_404(*, access: Access, id: UUID) -> System:
    """The system, if the person may see it."""
    found = systems_for(access).select_related("site__project", "project").filter(pk=id).first()
    return found or _nothing("system")


def stage_or_404(*, access: Access, id: UUID) -> Stage:
    rows = Stage.objects.filter(access.limit("system__site"), system__project=access.project)
    found = rows.select_related("system__site__project", "system__project", "started_by").filter(pk=id).first()
    return found or _nothing("stage")


def supply_or_404(*, access: Access, id: UUID) -> SupplyPoint:
    rows = SupplyPoint.objects.filter(access.limit("system__site"), system__project=access.project)
    found = rows.select_related("system__site__project", "system__project", "changed_by").filter(pk=id).first()
    return found or _nothing("supply point")


def permission_or_404(*, access: Access, id: UUID) -> PermissionToEnergise:
    rows = PermissionToEnergise.objects.filter(access.limit("system__site"), system__project=access.project)
    found = rows.select_related("stage", "system__site__project", "system__project").filter(pk=id).first()
    return found or _nothing("permission to energise")


def equipment_or_404(*, access: Access, id: UUID) -> Equipment:
    rows = equipment_for(access).select_related("system__site__project", "system__project", "parent")
    return rows.filter(pk=id).first() or _nothing("tag")


def equipment_by_tag(*, access: Access, tag: str) -> Equipment | None:
    """The equipment that carries this tag, else the one that carried it before: an old label still leads somewhere."""
    rows = equipment_for(access)
    if found := rows.filter(tag=tag).first() or rows.filter(tag__iexact=tag).first():
        return found
    # A JSON list cannot be searched alike on every database; the text narrows it down, the list decides.
    former = rows.exclude(former_tags=[]).only("id", "tag", "former_tags", "project", "system")
    return next((row for row in former.iterator() if tag in row.former_tags), None)


def _nothing(what: str) -> NoReturn:
    raise Http404(f"There is no such {what} here, or it is not yours to see.")


def system_standing(system: System) -> SystemStanding:
    """The system's stages with their facts and acceptances."""
    facts = load_facts(system_ids=[system.pk])
    acceptances = list(Acceptance.objects.filter(stage__system=system).defer("signed_content").order_by("signed_at"))
    standing = {row.stage_id: row for row in acceptances if row.withdrawn_at is None}
    ever = {row.stage_id for row in acceptances}
    stages = list(system.stages.order_by("order"))
    for stage in stages:
        stage.system = system
    return SystemStanding(
        system=system,
        stages=tuple(
            StageStanding(
                stage=stage,
                facts=facts[stage.pk],
                acceptance=standing.get(stage.pk),
                withdrawn=stage.pk in ever and stage.pk not in standing,
            )
            for stage in stages
        ),
    )


def carried_over(facts: StageFacts) -> list[ItemFact]:
    """Standing punch items that do not hold this stage: they go on with it, by name."""
    holding = {blocker.link_id for blocker in acceptance_blockers(facts) if blocker.link_kind == "item"}
    return [item for item in facts.items if item.id not in holding and item.stage_order <= facts.order]


def lines_of(stage: Stage) -> QuerySet[CheckLine]:
    """The stage's check lines in order, with who did them."""
    rows = CheckLine.objects.filter(stage=stage, retired_at__isnull=True).select_related("equipment", "done_by")
    return rows.defer("how", "accept", "caution", "inputs", "limits").order_by("order")


def concessions_of(stage: Stage) -> QuerySet[Concession]:
    """Concessions that stand on lines of the stage."""
    rows = Concession.objects.filter(line__stage=stage, line__retired_at__isnull=True, withdrawn_at__isnull=True)
    return rows.select_related("line").defer("signed_content").order_by("signed_at")


def history_of(system: System) -> QuerySet[AuditEntry]:
    """What happened on the system, newest first."""
    return AuditEntry.objects.filter(project=system.project_id, system_id=system.pk).order_by("-sequence")
