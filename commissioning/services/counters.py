"""The counters: the one place that writes them, always by counting, never by adding or taking away.

A change that touches one part of the gate has that part of its system counted again, over indexes, under the lock of
the counters' own row and after taking it: whoever comes last has seen what everybody before has committed. That holds
however many write at once, and also for those that take no other lock in common.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from commissioning.models import (
    COUNTED,
    Project,
    Site,
    Stage,
    StageCounters,
    StageDependency,
    StageState,
    SystemCounters,
)
from commissioning.rules.counting import part_numbers
from commissioning.rules.gate_parts import LINES, PARTS, STAGES
from commissioning.selectors.counted import SYSTEM_FIELDS, take_in, whole_counters
from commissioning.selectors.facts import facts_to_count
from commissioning.services.state_change import Touched

#: So many systems are counted in one go.
BATCH = 200
#: With more systems than this it is quicker to count all of each in columns than a part of each by itself.
FEW = 4
STAGE_FIELDS = ("system_id", *COUNTED)
#: What counting a part of a system again may change in its row.
_DERIVED = tuple(name for name in SYSTEM_FIELDS if name not in ("project", "site", "site_code", "tag", "kind", "hand"))


def recount_touched(touched: Mapping[UUID, Touched]) -> None:
    """Count again what a change touched, in the change's own transaction."""
    if not touched:
        return
    whole = {system for system, what in touched.items() if what.everything}
    if len(touched) > FEW:
        whole = set(touched)
    parts = {system: what for system, what in touched.items() if system not in whole}
    for system in _waiting_for(whole) - whole:
        parts.setdefault(system, Touched()).parts.add(STAGES)
    now = timezone.now()
    locked = _lock({*whole, *parts})
    whole |= parts.keys() - locked.keys()
    _count_whole(whole, now=now)
    for system, row in locked.items():
        if system in parts and system not in whole:
            _count_parts(row, parts[system], now=now)


def recount(systems: Collection[UUID]) -> None:
    """Count these systems again, whatever stands in their rows."""
    whole = Touched(parts=set(PARTS))
    ids = sorted(systems)
    for start in range(0, len(ids), BATCH):
        with transaction.atomic():
            recount_touched(dict.fromkeys(ids[start : start + BATCH], whole))


def refresh_due(*, project: Project, most: int = BATCH) -> int:
    """Ask the gate again about systems whose answer may have changed by the clock; how many there were.

    Called before a list is read that sorts or chooses by what the gate says.
    """
    due = due_systems(project).values_list("system_id", flat=True)[:most]
    if ids := list(due):
        recount(ids)
    return len(ids)


def due_systems(project: Project) -> Any:
    return SystemCounters.objects.filter(project=project, recheck_at__lte=timezone.now()).order_by("recheck_at")


def ask_again(*, project: Project) -> None:
    """The project changed what holds a gate: what was counted of its systems holds no longer. One statement."""
    SystemCounters.objects.filter(project=project).update(recheck_at=timezone.now())


def rename_site(site: Site) -> None:
    """A site's code is kept beside its systems, because lists are sorted by it."""
    SystemCounters.objects.filter(site=site).update(site_code=site.code)


def _waiting_for(systems: Collection[UUID]) -> set[UUID]:
    """Systems with a stage that waits for one of these."""
    if not systems:
        return set()
    rows = StageDependency.objects.filter(requires__system__in=systems)
    return set(rows.values_list("stage__system_id", flat=True).distinct())


def _lock(systems: Collection[UUID]) -> dict[UUID, SystemCounters]:
    rows = SystemCounters.objects.select_for_update(of=("self",), no_key=True).filter(pk__in=systems)
    return {row.pk: row for row in rows.select_related("system__project").order_by("pk")}


def _count_whole(systems: Collection[UUID], *, now: datetime) -> None:
    ids = sorted(systems)
    for start in range(0, len(ids), BATCH):
        _count_batch(ids[start : start + BATCH], now=now)


def _count_batch(ids: Sequence[UUID], *, now: datetime) -> None:
    stages, systems = whole_counters(ids, now=now)
    StageCounters.objects.bulk_create(
        stages, update_conflicts=True, unique_fields=["stage"], update_fields=STAGE_FIELDS, batch_size=BATCH
    )
    SystemCounters.objects.bulk_create(
        systems, update_conflicts=True, unique_fields=["system"], update_fields=SYSTEM_FIELDS, batch_size=BATCH
    )


def _count_parts(row: SystemCounters, touched: Touched, *, now: datetime) -> None:
    """Count some parts of one system again; the row is locked."""
    stages = list(Stage.objects.filter(system=row.pk).select_related("counters").order_by("order"))
    hand = next((stage.pk for stage in stages if stage.state != StageState.ACCEPTED), None)
    if hand != row.hand_id or any(not hasattr(stage, "counters") for stage in stages):
        _count_batch([row.pk], now=now)
        return
    lines_of = {stage.pk for stage in stages if stage.pk == row.hand_id} | touched.line_stages
    facts = facts_to_count(
        systems={row.pk: row.system}, stages=stages, now=now, parts=touched.parts, line_stages=lines_of
    )
    pairs = [(stage, stage.counters) for stage in stages]
    for stage, counters in pairs:
        parts = touched.parts if stage.pk in lines_of else touched.parts - {LINES}
        numbers = {name: value for part in parts for name, value in part_numbers(facts[stage.pk], part).items()}
        _save_changed(counters, numbers)
    before = {name: getattr(row, name) for name in _DERIVED}
    take_in(row, pairs, facts, touched.parts)
    changed = [name for name in _DERIVED if getattr(row, name) != before[name]]
    if changed:
        row.save(update_fields=changed)


def _save_changed(counters: StageCounters, numbers: Mapping[str, int]) -> None:
    changed = [name for name, value in numbers.items() if getattr(counters, name) != value]
    for name in changed:
        setattr(counters, name, numbers[name])
    if changed:
        counters.save(update_fields=changed)
