"""The rows counted one by one, without the product's own counting: what its counters have to equal."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from commissioning.models import CheckLine, Stage, System, SystemCounters
from commissioning.rules.counting import first_of
from commissioning.rules.gate import exceptions
from commissioning.selectors.facts import load_facts
from commissioning.selectors.holds import MOVES, hold_of, move_of, stage_holds, summed_up, turns_of


def counted_lines(stage: Stage) -> dict[str, int]:
    """Check lines and readings of a stage, looked at row by row."""
    found = dict.fromkeys(
        ("lines_total", "lines_done", "lines_failed", "readings_missing", "readings_rejected", "hold_points_open"), 0
    )
    guarded = stage.system.project.decision_rule == "guarded"
    for line in CheckLine.objects.filter(stage=stage, retired_at__isnull=True):
        reading = line.readings.filter(superseded_at__isnull=True).first()
        conceded = line.concessions.filter(withdrawn_at__isnull=True, reading=reading).exists()
        good = reading and (reading.verdict == "accept" or (not guarded and reading.verdict.startswith("accept")))
        applies = line.state != "not_applicable"
        found["lines_total"] += 1
        found["lines_done"] += line.state == "passed" or not applies or conceded
        found["lines_failed"] += line.state == "failed" and not conceded
        if line.calculation and applies:
            found["readings_missing"] += line.required and reading is None
            found["readings_rejected"] += reading is not None and not good and not conceded
        seen = line.witnessings.filter(role=line.party or "client").exists()
        found["hold_points_open"] += line.point == "hold" and applies and not seen
    return found


def counted_rest(stage: Stage) -> dict[str, int]:
    items = stage.punch_items.exclude(state="closed")
    points = stage.system.signals.filter(stage_kind=stage.kind)
    proved = points.filter(
        proofs__superseded_at__isnull=True, proofs__seen_at__isnull=False, proofs__restored_at__isnull=False
    )
    return {
        **{f"open_{letter.lower()}": items.filter(category=letter).count() for letter in "ABC"},
        "alarms_unexplained": stage.alarms.filter(outcome="unexplained").count(),
        "signals_total": points.count(),
        "signals_unproved": points.count() - proved.count(),
    }


def wrong_counters(systems: Iterable[System]) -> list[str]:
    """Each counter of these systems that is not what its rows and the gate say."""
    found: list[str] = []
    for system in systems:
        kept = SystemCounters.objects.get(pk=system.pk)
        facts = load_facts(system_ids=[system.pk])
        sums: dict[str, int] = {}
        for stage in system.stages.select_related("system__project", "counters"):
            counted = {**counted_lines(stage), **counted_rest(stage)}
            excepted = len(exceptions(facts[stage.pk]))
            found += _unlike(f"{stage}", stage.counters, {**counted, "exceptions": excepted})
            for name, value in counted.items():
                sums[name] = sums.get(name, 0) + value
        found += _unlike(system.tag, kept, {**sums, **_of_gate(system, facts.values()), **_energy(system)})
        found += _holds_unlike(kept, facts.values())
    return found


def _unlike(where: str, kept: Any, counted: dict[str, Any]) -> list[str]:
    return [
        f"{where}: {name} is {getattr(kept, name)}, counted {value}"
        for name, value in counted.items()
        if getattr(kept, name) != value
    ]


def _energy(system: System) -> dict[str, int]:
    return {
        "supplies_total": system.supplies.count(),
        "supplies_live": system.supplies.filter(state="released").count(),
        "supplies_unknown": system.supplies.filter(state="not_recorded").count(),
    }


def _of_gate(system: System, facts: Iterable[Any]) -> dict[str, Any]:
    in_hand = next((stage for stage in facts if stage.state != "accepted"), None)
    blockers = stage_holds(in_hand) if in_hand else ()
    move = move_of(in_hand, blockers)
    turns = turns_of(move, blockers)
    return {
        "hand_kind": in_hand.kind if in_hand else "",
        "hand_state": in_hand.state if in_hand else "",
        "move": MOVES.index(move),
        "held": any(blocker.code not in ("line_open", "no_lines") for blocker in blockers),
        **{f"turn_{role}": role in turns for role in ("manager", "field_engineer", "client", "authorised_person")},
    }


def _holds_unlike(kept: SystemCounters, facts: Iterable[Any]) -> list[str]:
    """The words on the page and where they lead, against what the gate's own blockers sum up to."""
    in_hand = next((stage for stage in facts if stage.state != "accepted"), None)
    said = {(hold.words, hold.turn, hold.first.link_id) for hold in summed_up(stage_holds(in_hand) if in_hand else ())}
    stored = [hold_of(*first_of(one)) for part in kept.parts.values() for one in part["holds"]]
    shown = {(hold.words, hold.turn, hold.first.link_id) for hold in stored}
    return [f"{kept.tag}: {hold} on one side only" for hold in said ^ shown]
