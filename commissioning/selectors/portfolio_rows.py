"""One system as a row of a list: its counters, its stages, and what the gate says of the stage in hand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date
from uuid import UUID

from django.utils import timezone

from commissioning.models import NO_DATE, Stage, StageCounters, System, SystemCounters
from commissioning.rules.counting import first_of
from commissioning.rules.safety import EnergyState
from commissioning.selectors.access import Access
from commissioning.selectors.counted import ROLES, whole_counters
from commissioning.selectors.holds import MOVES, READING_ORDER, Hold, Move, hold_of


@dataclass(frozen=True, slots=True)
class StageCell:
    """One stage of a row: its kind, state, and what may be wrong with it."""

    id: UUID
    kind: str
    state: str
    exceptions: int


@dataclass(frozen=True, slots=True)
class InHand:
    """The stage in hand of a row."""

    id: UUID
    kind: str
    state: str


@dataclass(frozen=True, slots=True)
class SystemRow:
    """One system of the portfolio."""

    system: System
    cells: tuple[StageCell, ...]
    in_hand: InHand | None
    planned: date | None
    move: Move
    holds: tuple[Hold, ...]
    turns: frozenset[str]
    energy: EnergyState
    items: Counter[str] = field(hash=False)
    done: int
    total: int
    held: bool
    counters: SystemCounters

    def is_for(self, access: Access) -> bool:
        return access.role in self.turns or (access.authorised_person and "authorised_person" in self.turns)

    @property
    def blocker_count(self) -> int:
        return sum(hold.count for hold in self.holds)


def rows_of(kept: Sequence[SystemCounters]) -> list[SystemRow]:
    """The rows of these systems, in their order, each with `system.site` loaded: one query for all their stages.

    Where the clock, or a rule that the project changed, may have moved what the gate says, it is asked on the spot.
    """
    stages: dict[UUID, list[tuple[Stage, StageCounters | None]]] = {row.pk: [] for row in kept}
    found = Stage.objects.filter(system__in=list(stages)).select_related("counters").order_by("system", "order")
    for stage in found:
        stages[stage.system_id].append((stage, getattr(stage, "counters", None)))
    now = timezone.now()
    if due := [row.pk for row in kept if row.recheck_at and row.recheck_at <= now]:
        of_stages, of_systems = whole_counters(due, now=now)
        by_stage = {counters.pk: counters for counters in of_stages}
        for pk in due:
            stages[pk] = [(stage, by_stage.get(stage.pk)) for stage, _ in stages[pk]]
        fresh = {row.pk: row for row in of_systems}
        return [_row(row.system, fresh.get(row.pk, row), stages[row.pk]) for row in kept]
    return [_row(row.system, row, stages[row.pk]) for row in kept]


def _row(system: System, kept: SystemCounters, stages: Sequence[tuple[Stage, StageCounters | None]]) -> SystemRow:
    holds = [hold_of(*first_of(one)) for part in kept.parts.values() for one in part["holds"]]
    holds.sort(key=lambda hold: READING_ORDER.index(int(hold.first.rule)))
    return SystemRow(
        system=system,
        cells=tuple(
            StageCell(stage.pk, stage.kind, stage.state, counters.exceptions if counters else 0)
            for stage, counters in stages
        ),
        in_hand=InHand(kept.hand_id, kept.hand_kind, kept.hand_state) if kept.hand_id else None,
        planned=None if kept.planned == NO_DATE else kept.planned,
        move=MOVES[kept.move],
        holds=tuple(holds),
        turns=frozenset(role for role in ROLES if getattr(kept, f"turn_{role}")),
        energy=energy_of(kept),
        items=Counter({"A": kept.open_a, "B": kept.open_b, "C": kept.open_c}),
        done=kept.hand_lines_done,
        total=kept.hand_lines_total,
        held=kept.held,
        counters=kept,
    )


def energy_of(kept: SystemCounters) -> EnergyState:
    """LIVE when any supply is released; recorded isolated only when there are supplies and each is isolated."""
    if kept.supplies_live:
        return EnergyState.LIVE
    if kept.supplies_total and not kept.supplies_unknown:
        return EnergyState.RECORDED_ISOLATED
    return EnergyState.NOT_RECORDED
