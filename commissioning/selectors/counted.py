"""The counters as counting everything now would give them: read and computed, never written here."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from uuid import UUID

from commissioning.models import (
    COUNTED,
    NO_DATE,
    Stage,
    StageCounters,
    StageState,
    System,
    SystemCounters,
)
from commissioning.rules.counting import part_numbers, part_summary
from commissioning.rules.gate import StageFacts
from commissioning.rules.gate_parts import PARTS, SUPPLIES
from commissioning.selectors.facts import facts_to_count
from commissioning.selectors.holds import MOVES, OPEN_WORK, move_from, turns_from

ROLES = ("manager", "field_engineer", "client", "authorised_person")
#: Names of all that is kept of a system.
SYSTEM_FIELDS = tuple(field.name for field in SystemCounters._meta.concrete_fields if not field.primary_key)


def whole_counters(ids: Sequence[UUID], *, now: datetime) -> tuple[list[StageCounters], list[SystemCounters]]:
    """What the counters of these systems are when everything is counted now; nothing is written."""
    found = System.objects.filter(pk__in=ids).select_related("project", "site").order_by("pk")
    systems = {system.pk: system for system in found}
    stages = list(Stage.objects.filter(system__in=ids).order_by("system", "order"))
    facts = facts_to_count(systems=systems, stages=stages, now=now)
    of_system: dict[UUID, list[tuple[Stage, StageCounters]]] = {pk: [] for pk in systems}
    for stage in stages:
        numbers = {name: value for part in PARTS for name, value in part_numbers(facts[stage.pk], part).items()}
        of_system[stage.system_id].append((stage, StageCounters(stage=stage, system_id=stage.system_id, **numbers)))
    rows = []
    for system in systems.values():
        row = SystemCounters(system=system, project_id=system.project_id, site_id=system.site_id)
        row.site_code, row.tag, row.kind = system.site.code, system.tag, system.kind
        take_in(row, of_system[system.pk], facts, PARTS)
        rows.append(row)
    return [counters for pairs in of_system.values() for _, counters in pairs], rows


def take_in(
    row: SystemCounters,
    stages: Sequence[tuple[Stage, StageCounters]],
    facts: Mapping[UUID, StageFacts],
    parts: Iterable[str],
) -> None:
    """Sums over the stages, and what the gate says of the stage in hand."""
    for name in COUNTED:
        setattr(row, name, sum(getattr(counters, name) for _, counters in stages))
    hand = next((pair for pair in stages if pair[0].state != StageState.ACCEPTED), None)
    _take_in_hand(row, hand)
    if SUPPLIES in parts:
        states = [supply.state for supply in facts[stages[0][0].pk].supplies] if stages else []
        row.supplies_total, row.supplies_live = len(states), states.count("released")
        row.supplies_unknown = states.count("not_recorded")
    if hand:
        row.parts = {**row.parts, **{part: part_summary(facts[hand[0].pk], part) for part in sorted(parts)}}
    else:
        row.parts = {}
    moments = [datetime.fromisoformat(part["recheck"]) for part in row.parts.values() if part["recheck"]]
    row.recheck_at = min(moments, default=None)
    _take_in_move(row)


def _take_in_hand(row: SystemCounters, hand: tuple[Stage, StageCounters] | None) -> None:
    if hand is None:
        row.hand_id, row.hand_kind, row.hand_order, row.hand_state, row.planned = None, "", 99, "", NO_DATE
        row.hand_lines_total = row.hand_lines_done = 0
        return
    stage, counters = hand
    row.hand_id, row.hand_kind, row.hand_order, row.hand_state = stage.pk, stage.kind, stage.order, stage.state
    row.planned = stage.planned_for or NO_DATE
    row.hand_lines_total, row.hand_lines_done = counters.lines_total, counters.lines_done


def _take_in_move(row: SystemCounters) -> None:
    holds = [hold for part in row.parts.values() for hold in part["holds"]]
    codes = {hold[0] for hold in holds}
    move = move_from(row.hand_state or None, codes)
    turns = turns_from(move, (hold[1] for hold in holds))
    row.move, row.held = MOVES.index(move), bool(codes - OPEN_WORK)
    for role in ROLES:
        setattr(row, f"turn_{role}", role in turns)
