"""Dead and live work: what the record allows."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from commissioning.rules.gate import LineFact, SupplyFact
from commissioning.rules.safety import (
    ENERGY_WORDS,
    EnergyState,
    SupplyChanged,
    WorkFact,
    energy_state,
    permission_blockers,
    proof_stands,
    release_blockers,
    work_blockers,
)
from tests.commissioning.rules.test_gate import ACCEPTED_BEFORE, DEAD, ISOLATED, LAST, LIVE, NOW, PERMISSION, RELEASED

DEAD_TEST = WorkFact("l1", "Insulation resistance", "T1", "dead", injects_voltage=True, proved_dead=True)
LIVE_WORK = replace(DEAD_TEST, work="live", injects_voltage=False, proved_dead=False)
HOLD = LineFact("h", "Hold: agree it is ready", "T1", "passed", point="hold", party="client")
OPEN = LineFact("o", "Energise the first module as master", "T1", "open")


def codes(**given: object) -> list[str]:
    values = {"work": DEAD_TEST, "stage": DEAD, "energy": EnergyState.RECORDED_ISOLATED} | given
    return [blocker.code for blocker in work_blockers(**values)]  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("states", "expected"),
    [
        ([], EnergyState.NOT_RECORDED),
        (["not_recorded"], EnergyState.NOT_RECORDED),
        (["isolated", "not_recorded"], EnergyState.NOT_RECORDED),
        (["isolated", "isolated"], EnergyState.RECORDED_ISOLATED),
        (["isolated", "released"], EnergyState.LIVE),
        (["not_recorded", "released"], EnergyState.LIVE),
    ],
)
def test_one_released_supply_makes_it_live_and_only_all_isolated_is_isolated(
    states: list[str], expected: EnergyState
) -> None:
    assert energy_state(states) is expected


def test_the_product_never_says_that_something_is_dead() -> None:
    assert not any(words.strip().lower() == "dead" or " is dead" in words for words in ENERGY_WORDS.values())
    assert ENERGY_WORDS[EnergyState.RECORDED_ISOLATED].endswith("prove dead at the point of work")


def test_a_dead_test_is_refused_while_the_system_is_recorded_live() -> None:
    assert codes(energy=EnergyState.LIVE) == ["dead_work_on_live"]


def test_a_dead_test_is_refused_while_nothing_is_recorded() -> None:
    assert codes(energy=EnergyState.NOT_RECORDED) == ["dead_work_on_live"]


def test_an_injected_voltage_needs_the_proof_of_dead_on_the_line() -> None:
    assert codes(work=replace(DEAD_TEST, proved_dead=False)) == ["proof_of_dead_missing"]
    assert codes() == []


def test_live_work_asks_for_no_isolation() -> None:
    assert codes(work=LIVE_WORK, stage=LIVE, energy=EnergyState.LIVE) == []


def test_nothing_is_recorded_in_a_stage_that_is_not_in_hand() -> None:
    assert codes(stage=replace(DEAD, state="not_started")) == ["stage_not_started"]
    assert codes(stage=replace(DEAD, state="accepted")) == ["stage_accepted"]


def test_work_stops_at_a_hold_point_until_it_is_witnessed() -> None:
    assert codes(before=[HOLD]) == ["hold_point_before"]
    assert codes(before=[replace(HOLD, witnessed=True)]) == []
    assert codes(before=[replace(HOLD, state="not_applicable")]) == []


def test_energisation_goes_line_by_line() -> None:
    assert codes(work=LIVE_WORK, stage=LIVE, energy=EnergyState.LIVE, before=[OPEN]) == ["line_before_open"]
    failed = replace(OPEN, state="failed")
    assert codes(work=LIVE_WORK, stage=LIVE, energy=EnergyState.LIVE, before=[failed]) == ["line_before_open"]
    for done in (replace(OPEN, state="passed"), replace(failed, conceded=True), replace(OPEN, state="not_applicable")):
        assert codes(work=LIVE_WORK, stage=LIVE, energy=EnergyState.LIVE, before=[done]) == []
    assert codes(before=[OPEN]) == [], "other stages go in any order"


def test_no_permission_is_signed_for_a_dead_stage_or_before_the_stage_is_in_hand() -> None:
    named = frozenset({"q1"})
    assert [b.code for b in permission_blockers(stage=DEAD, supply_ids=named)] == ["dead_stage"]
    waiting = replace(LIVE, state="not_started", previous=replace(ACCEPTED_BEFORE, accepted=False))
    assert [b.code for b in permission_blockers(stage=waiting, supply_ids=named)] == [
        "stage_not_started",
        "previous_not_accepted",
    ]
    assert permission_blockers(stage=LIVE, supply_ids=named) == ()


def test_a_battery_is_not_released_before_its_own_stage() -> None:
    battery = SupplyFact("q2", "Q2", "battery", "isolated")
    early = permission_blockers(stage=replace(LIVE, supplies=(ISOLATED, battery)), supply_ids=frozenset({"q2"}))
    assert [b.code for b in early] == ["battery_too_early"]
    assert permission_blockers(stage=replace(LAST, supplies=(ISOLATED, battery)), supply_ids=frozenset({"q2"})) == ()


@pytest.mark.parametrize(
    ("permission", "supply", "expected"),
    [
        (PERMISSION, ISOLATED, []),
        (replace(PERMISSION, supply_ids=frozenset({"q9"})), ISOLATED, ["not_named"]),
        (replace(PERMISSION, withdrawn=True), ISOLATED, ["permission_withdrawn"]),
        (replace(PERMISSION, valid_until=NOW), ISOLATED, ["permission_lapsed"]),
        (replace(PERMISSION, valid_from=NOW + timedelta(minutes=1)), ISOLATED, ["permission_lapsed"]),
        (PERMISSION, replace(ISOLATED, state="not_recorded"), ["supply_not_recorded"]),
    ],
)
def test_a_supply_is_released_only_under_a_standing_permission_that_names_it(
    permission: object, supply: SupplyFact, expected: list[str]
) -> None:
    stage = replace(LIVE, supplies=(supply,))
    found = release_blockers(supply=supply, permission=permission, stage=stage, now=NOW)  # type: ignore[arg-type]
    assert [b.code for b in found] == expected


def test_a_release_waits_for_the_stages_before() -> None:
    stage = replace(LIVE, previous=replace(ACCEPTED_BEFORE, accepted=False), supplies=(RELEASED,))
    found = release_blockers(supply=ISOLATED, permission=PERMISSION, stage=stage, now=NOW)
    assert [b.code for b in found] == ["previous_not_accepted"]


def changed(state: str, minutes: float, recorded: float | None = None, supply: str = "q1") -> SupplyChanged:
    recorded = minutes if recorded is None else recorded
    return SupplyChanged(supply, state, NOW + timedelta(minutes=minutes), NOW + timedelta(minutes=recorded))


@pytest.mark.parametrize(
    ("made", "arrived", "changes", "stands"),
    [
        (10, 10, [changed("isolated", 0)], True),
        (10, 90, [changed("isolated", 0)], True),  # late from a phone, and nothing happened meanwhile
        (10, 90, [changed("isolated", 0), changed("released", 30), changed("isolated", 60)], False),
        (70, 90, [changed("isolated", 0), changed("released", 30), changed("isolated", 60)], True),
        (45, 90, [changed("isolated", 0), changed("released", 30), changed("isolated", 60)], False),  # while LIVE
        (30.5, 90, [changed("isolated", 0), changed("released", 30)], False),  # within what a clock may be off
        (20, 90, [changed("isolated", 0), changed("released", 10, recorded=30)], False),  # recorded after the proof
        (-5, 90, [changed("isolated", 0)], False),  # made before the isolation
        (10, 90, [changed("isolated", 0), changed("isolated", 20)], True),  # one more lock on the same supply
        (10, 90, [changed("isolated", 0), changed("isolated", 20, supply="q2")], False),  # another was still open
        (999, 20, [changed("isolated", 0), changed("released", 30)], False),  # a clock that runs ahead
    ],
)
def test_a_proof_of_dead_counts_by_when_it_was_made(
    made: float, arrived: float, changes: list[SupplyChanged], stands: bool
) -> None:
    at = {"made_at": NOW + timedelta(minutes=made), "recorded_at": NOW + timedelta(minutes=arrived)}
    assert proof_stands(**at, changes=changes) is stands
