"""Each rule of the gate blocks alone, and each lets go."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from commissioning.rules.gate import (
    AlarmFact,
    ItemFact,
    LineFact,
    PermissionFact,
    Policy,
    ReadingFact,
    Rule,
    SignalFact,
    Signer,
    StageFacts,
    StageRef,
    SupplyFact,
    acceptance_blockers,
    entry_blockers,
    exceptions,
    signer_blockers,
)

NOW = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
ACCEPTED_BEFORE = StageRef("s1", "GUB10 mechanical completion", accepted=True)
LINE = LineFact(id="l1", title="Check labels", where="T1", state="passed")
MEASURED = LineFact(
    id="l2",
    title="Measure the supply",
    where="T1",
    state="passed",
    calculation="ac_supply_tolerance",
    reading=ReadingFact("r1", "accept", in_calibration=True),
)
ISOLATED = SupplyFact("q1", "Q1", "temporary", "isolated")
RELEASED = replace(ISOLATED, state="released")
PERMISSION = PermissionFact("p1", "energisation", frozenset({"q1"}), NOW - timedelta(hours=1), NOW + timedelta(hours=8))
ITEM = ItemFact("i1", "P-1", "A", "open", 2, "cable off a fuse detector", "F2")
ALARM = AlarmFact("a1", "Battery fuse failure", "F2", "explained", 3)
SIGNAL = SignalFact("k1", "K1", "common alarm", forced=True, seen=True, restored=True)

DEAD = StageFacts(
    stage_id="s2",
    system_id="sys",
    system_tag="GUB10",
    kind="pre_energisation",
    order=2,
    state="started",
    is_last=False,
    now=NOW,
    previous=ACCEPTED_BEFORE,
    lines=(LINE, MEASURED),
    supplies=(ISOLATED,),
)
LIVE = replace(DEAD, stage_id="s3", kind="energisation", order=3, permissions=(PERMISSION,), supplies=(RELEASED,))
LAST = replace(LIVE, stage_id="s4", kind="battery_connected", order=4, is_last=True,
               permissions=(replace(PERMISSION, stage_kind="battery_connected"),))  # fmt: skip


def codes(facts: StageFacts) -> list[tuple[int, str]]:
    return [(int(blocker.rule), blocker.code) for blocker in acceptance_blockers(facts)]


def line(**changes: object) -> LineFact:
    return replace(LINE, **changes)


def measured(**changes: object) -> LineFact:
    return replace(MEASURED, **changes)


def dead(**changes: object) -> StageFacts:
    return replace(DEAD, **changes)


def live(**changes: object) -> StageFacts:
    return replace(LIVE, **changes)


def last(**changes: object) -> StageFacts:
    return replace(LAST, **changes)


def permission(**changes: object) -> PermissionFact:
    return replace(PERMISSION, **changes)


def read(verdict: str, in_calibration: bool = True) -> ReadingFact:
    return ReadingFact("r", verdict, in_calibration)


@pytest.mark.parametrize("facts", [DEAD, LIVE, LAST], ids=["dead", "live", "last"])
def test_a_stage_with_nothing_against_it_is_let_through(facts: StageFacts) -> None:
    assert codes(facts) == []


@pytest.mark.parametrize(
    ("facts", "expected"),
    [
        (dead(state="not_started"), (1, "not_started")),
        (dead(previous=replace(ACCEPTED_BEFORE, accepted=False)), (1, "previous_not_accepted")),
        (dead(dependencies=(StageRef("d", "B1 mechanical completion", False),)), (2, "dependency_not_accepted")),
        (dead(lines=()), (3, "no_lines")),
        (dead(lines=(line(state="open"),)), (3, "line_open")),
        (dead(lines=(line(state="failed"),)), (3, "line_failed")),
        (dead(lines=(line(state="not_applicable", reason="  "),)), (3, "no_reason")),
        (dead(lines=(measured(reading=None),)), (4, "reading_missing")),
        (dead(lines=(measured(state="failed", reading=read("reject")),)), (4, "reading_not_accepted")),
        (dead(lines=(measured(state="failed", reading=read("reject_within_guard_band")),)),
         (4, "reading_not_accepted")),
        (dead(lines=(measured(state="failed", reading=read("cannot_say")),)), (4, "reading_not_accepted")),
        (dead(policy=Policy("guarded"), lines=(measured(reading=read("accept_within_guard_band")),)),
         (4, "reading_not_accepted")),
        (dead(items=(ITEM,)), (5, "item_a_open")),
        (dead(items=(replace(ITEM, stage_order=1),)), (5, "item_a_open")),
        (dead(items=(replace(ITEM, state="rectified"),)), (5, "item_a_open")),
        (dead(items=(replace(ITEM, state="sent_back"),)), (5, "item_a_open")),
        (replace(LAST, items=(replace(ITEM, category="B"),)), (5, "item_b_open")),
        (dead(policy=Policy(b_blocks_stage=True), items=(replace(ITEM, category="B"),)), (5, "item_b_open")),
        (last(policy=Policy(c_blocks_handover=True), items=(replace(ITEM, category="C"),)), (5, "item_c_open")),
        (dead(lines=(line(point="hold", party="client"),)), (6, "hold_point_open")),
        (dead(lines=(line(point="witness", party="client"),)), (6, "witness_not_notified")),
        (dead(lines=(line(point="witness", notices=(NOW + timedelta(hours=1),)),)), (6, "witness_time_not_passed")),
        (dead(supplies=()), (7, "no_supplies")),
        (dead(supplies=(replace(ISOLATED, state="not_recorded"),)), (7, "supply_not_recorded")),
        (dead(supplies=(RELEASED,), permissions=(PERMISSION,)), (7, "supply_not_isolated")),
        (live(supplies=(replace(ISOLATED, state="not_recorded"),)), (7, "supply_not_recorded")),
        (live(permissions=(replace(PERMISSION, supply_ids=frozenset({"q9"})),)), (7, "released_without_permission")),
        (live(permissions=(replace(PERMISSION, valid_until=NOW),)), (7, "released_without_permission")),
        (live(permissions=(permission(valid_from=NOW + timedelta(hours=1)),)), (7, "released_without_permission")),
        (live(supplies=(ISOLATED,), permissions=()), (7, "no_permission")),
        (live(supplies=(ISOLATED,), permissions=(replace(PERMISSION, withdrawn=True),)), (7, "no_permission")),
        (live(alarms=(replace(ALARM, outcome="unexplained"),)), (8, "alarm_unexplained")),
        (live(alarms=(replace(ALARM, outcome="genuine"),)), (8, "alarm_without_item")),
        (last(alarms=(replace(ALARM, outcome="expected", expected_until_order=4),)), (8, "alarm_not_seen_clear")),
        (live(signals=(replace(SIGNAL, forced=False, seen=False, restored=False),)), (9, "signal_not_proved")),
        (live(signals=(replace(SIGNAL, seen=False, restored=False),)), (9, "signal_not_proved")),
        (live(signals=(replace(SIGNAL, restored=False),)), (9, "signal_not_proved")),
        (live(signals=(replace(SIGNAL, seen=False, failed=True),)), (9, "signal_not_proved")),
        (dead(lines=(measured(reading=read("accept", False)),)), (10, "out_of_calibration")),
    ],
)  # fmt: skip
def test_the_rule_blocks_alone(facts: StageFacts, expected: tuple[int, str]) -> None:
    assert codes(facts) == [expected]


@pytest.mark.parametrize(
    "facts",
    [
        dead(dependencies=(StageRef("d", "B1 mechanical completion", True),)),
        dead(lines=(line(state="not_applicable", reason="no eye wash needed for VRLA"),)),
        dead(lines=(line(state="failed", conceded=True),)),
        dead(lines=(measured(state="failed", reading=read("reject"), conceded=True),)),
        dead(lines=(measured(state="not_applicable", reading=None, reason="single phase"),)),
        dead(lines=(measured(required=False, reading=None),)),
        dead(lines=(measured(reading=read("accept_within_guard_band")),)),
        dead(lines=(measured(reading=read("accept", False), conceded=True),)),
        dead(items=(replace(ITEM, stage_order=3),)),
        dead(items=(replace(ITEM, category="B"),)),
        replace(LAST, items=(replace(ITEM, category="C"),)),
        dead(lines=(line(point="hold", witnessed=True),)),
        dead(lines=(line(point="witness", notices=(NOW,)),)),
        dead(lines=(line(point="witness", witnessed=True),)),
        dead(lines=(line(point="review"),)),
        live(supplies=(ISOLATED,)),
        live(supplies=(ISOLATED,), permissions=(replace(PERMISSION, valid_until=NOW - timedelta(minutes=1)),)),
        live(alarms=(ALARM,)),
        live(alarms=(replace(ALARM, outcome="genuine", has_item=True),)),
        live(alarms=(replace(ALARM, outcome="expected", expected_until_order=4),)),
        replace(LAST, alarms=(replace(ALARM, outcome="expected", expected_until_order=4, cleared=True),)),
        dead(alarms=(replace(ALARM, outcome="unexplained", stage_order=3),)),
        live(signals=(SIGNAL,)),
    ],
)
def test_the_rule_lets_go(facts: StageFacts) -> None:
    assert codes(facts) == []


def test_rule_11_whoever_did_the_work_does_not_accept_it() -> None:
    facts = replace(DEAD, workers=frozenset({"7"}))
    assert [b.code for b in signer_blockers(facts, Signer("7", "manager"))] == ["did_the_work"]
    assert signer_blockers(facts, Signer("8", "manager")) == ()
    assert signer_blockers(facts, Signer("9", "client")) == ()
    assert [b.code for b in signer_blockers(facts, Signer("9", "field_engineer"))] == ["role_cannot_accept"]


def test_a_stage_starts_only_when_its_entry_rules_hold() -> None:
    fresh = replace(LIVE, state="not_started")
    assert entry_blockers(fresh) == ()
    assert [b.code for b in entry_blockers(replace(fresh, previous=replace(ACCEPTED_BEFORE, accepted=False)))] == [
        "previous_not_accepted"
    ]
    waiting = replace(fresh, dependencies=(StageRef("d", "B1 mechanical completion", False),))
    assert [b.code for b in entry_blockers(waiting)] == ["dependency_not_accepted"]


def test_a_later_a_item_against_an_accepted_stage_stops_the_next_and_shows_as_an_exception() -> None:
    raised_late = replace(ITEM, stage_order=2)
    assert [b.code for b in exceptions(replace(DEAD, state="accepted", items=(raised_late,)))] == ["item_a_open"]
    assert [b.code for b in entry_blockers(replace(LIVE, state="not_started", items=(raised_late,)))] == ["item_a_open"]
    assert exceptions(replace(DEAD, items=(raised_late,))) == ()


def test_a_blocker_says_what_where_whose_turn_and_where_to_go() -> None:
    (blocker,) = acceptance_blockers(replace(DEAD, items=(replace(ITEM, owner="Tobin Ashgrove"),)))
    assert (blocker.rule, blocker.where, blocker.turn, blocker.owner) == (
        Rule.PUNCH_ITEMS,
        "F2",
        "field_engineer",
        "Tobin Ashgrove",
    )
    assert (blocker.link_kind, blocker.link_id) == ("item", "i1")
    assert "cable off a fuse detector" in blocker.words
    (waits,) = acceptance_blockers(replace(DEAD, items=(replace(ITEM, state="rectified", owner="Tobin Ashgrove"),)))
    assert (waits.turn, waits.owner) == ("manager", "")


def test_all_that_blocks_is_listed_at_once() -> None:
    facts = replace(
        LIVE,
        previous=replace(ACCEPTED_BEFORE, accepted=False),
        lines=(line(state="open"), measured(reading=None)),
        items=(ITEM,),
        alarms=(replace(ALARM, outcome="unexplained"),),
        signals=(replace(SIGNAL, restored=False),),
        supplies=(RELEASED, replace(ISOLATED, id="q2", tag="Q2", state="not_recorded")),
    )
    assert [rule for rule, _ in codes(facts)] == [1, 3, 4, 5, 7, 8, 9]
