"""What is counted of a stage and of a system, from the facts that the gate decides on: facts in, numbers out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import UTC, datetime
from typing import TypedDict

from commissioning.rules.gate import Blocker, Rule, StageFacts
from commissioning.rules.gate_parts import (
    ALARMS,
    ITEMS,
    LINES,
    SIGNALS,
    STAGES,
    SUPPLIES,
    line_rules,
    part_exceptions,
    part_holds,
)

DONE_STATES = ("passed", "not_applicable")

#: Where the words on a page name the place of the first blocker.
NAMES_PLACE = frozenset(
    {
        "previous_not_accepted",
        "dependency_not_accepted",
        "supply_not_recorded",
        "supply_not_isolated",
        "released_without_permission",
    }
)
#: A line on a page for all blockers of one code and turn: code, turn, how many, and where the first of them leads.
SummedUp = tuple[str, str, int, int, str, str, str]


class PartSummary(TypedDict):
    """One part of the gate for the stage in hand, as it is stored: JSON only."""

    holds: list[list[str | int]]
    recheck: str | None


def part_numbers(facts: StageFacts, part: str) -> dict[str, int]:
    """The counters of one stage that this part of the gate feeds."""
    if part == LINES:
        return _line_numbers(facts)
    if part == ITEMS:
        here = Counter(item.category for item in facts.items if item.stage_order == facts.order)
        numbers = {f"open_{category.lower()}": here[category] for category in "ABC"}
        return {**numbers, "exceptions_items": part_exceptions(facts, ITEMS)}
    if part == ALARMS:
        unexplained = sum(a.stage_order == facts.order and a.outcome == "unexplained" for a in facts.alarms)
        return {"alarms_unexplained": unexplained}
    if part == SIGNALS:
        unproved = sum(s.failed or not (s.forced and s.seen and s.restored) for s in facts.signals)
        return {"signals_total": len(facts.signals), "signals_unproved": unproved}
    return {"exceptions_stages": part_exceptions(facts, STAGES)} if part == STAGES else {}


def _line_numbers(facts: StageFacts) -> dict[str, int]:
    codes = Counter(blocker.code for blocker in line_rules(facts))
    return {
        "lines_total": len(facts.lines),
        "lines_done": sum(line.state in DONE_STATES or line.conceded for line in facts.lines),
        "lines_failed": sum(line.state == "failed" and not line.conceded for line in facts.lines),
        "readings_missing": sum(
            bool(line.calculation) and line.required and line.reading is None and line.state != "not_applicable"
            for line in facts.lines
        ),
        "readings_rejected": codes["reading_not_accepted"],
        "readings_changed": codes["reading_changed"],
        "readings_uncalibrated": codes["out_of_calibration"],
        "hold_points_open": codes["hold_point_open"],
        "witness_points_open": codes["witness_not_notified"] + codes["witness_time_not_passed"],
        "exceptions_lines": part_exceptions(facts, LINES),
    }


def part_summary(facts: StageFacts, part: str) -> PartSummary:
    """What this part says of the stage in hand, and when it will say otherwise though nobody does anything."""
    recheck = _next_moment(facts, part)
    return {
        "holds": [list(one) for one in summed(part_holds(facts, part))],
        "recheck": recheck.astimezone(UTC).isoformat() if recheck else None,
    }


def summed(blockers: Iterable[Blocker]) -> list[SummedUp]:
    """Like blockers as one, with the first of them."""
    groups: dict[tuple[str, str], list[Blocker]] = {}
    for blocker in blockers:
        groups.setdefault((blocker.code, blocker.turn), []).append(blocker)
    return [
        (
            code,
            turn,
            len(found),
            int(found[0].rule),
            found[0].where if code in NAMES_PLACE else "",
            found[0].link_kind,
            found[0].link_id,
        )
        for (code, turn), found in groups.items()
    ]


def first_of(one: Iterable[str | int]) -> tuple[Blocker, int]:
    """The first blocker of a summed-up line again, as far as lists need it, and how many there are."""
    code, turn, count, rule, where, kind, id = one
    return Blocker(Rule(int(rule)), str(code), "", str(where), str(turn), str(kind), str(id)), int(count)


def _next_moment(facts: StageFacts, part: str) -> datetime | None:
    moments: list[datetime] = []
    if part == LINES:
        moments = [
            when for line in facts.lines if line.point == "witness" and not line.witnessed for when in line.notices
        ]
    elif part == SUPPLIES and any(supply.state == "released" for supply in facts.supplies):
        for permission in facts.permissions:
            if not permission.withdrawn:
                moments += [permission.valid_from, permission.valid_until]
    return min((when for when in moments if when > facts.now), default=None)
