"""Blockers put together for reading."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

import pytest

from commissioning.rules import gate
from commissioning.rules.gate import Blocker, Rule, StageFacts
from commissioning.selectors.holds import PHRASES, Move, by_rule, move_of, summed_up, turns_of


def _blocker(rule: Rule, code: str, turn: str = "field_engineer", where: str = "GUB10") -> Blocker:
    return Blocker(rule, code, f"words of {code}", where, turn, "line", "1")


def _stage(state: str) -> StageFacts:
    return StageFacts("1", "1", "GUB10", "energisation", 3, state, False, datetime(2026, 3, 1, tzinfo=UTC))


OPEN = _blocker(Rule.CHECK_LINES, "line_open")
ITEM = _blocker(Rule.PUNCH_ITEMS, "item_a_open")
LIVE = _blocker(Rule.SUPPLIES, "supply_not_isolated")
WAITS = _blocker(Rule.DEPENDENCIES, "dependency_not_accepted", "manager", "BAT10 mechanical completion")


def test_like_blockers_are_counted_and_what_can_hurt_comes_first() -> None:
    assert [hold.words for hold in summed_up([OPEN, OPEN, ITEM, LIVE])] == [
        "supply GUB10 LIVE in a dead stage",
        "1 category A item",
        "2 check lines not done",
    ]


def test_like_blockers_of_two_turns_stay_apart() -> None:
    rectified = _blocker(Rule.PUNCH_ITEMS, "item_a_open", "manager")
    assert [(hold.words, hold.turn) for hold in summed_up([ITEM, rectified])] == [
        ("1 category A item", "field_engineer"),
        ("1 category A item", "manager"),
    ]


def test_a_code_without_a_phrase_keeps_its_own_words() -> None:
    assert summed_up([_blocker(Rule.ALARMS, "something_new")])[0].words == "words of something_new"


def test_blockers_are_grouped_by_rule_none_lost() -> None:
    groups = by_rule([OPEN, ITEM, LIVE, WAITS, OPEN])
    assert [group.rule for group in groups] == [Rule.SUPPLIES, Rule.DEPENDENCIES, Rule.PUNCH_ITEMS, Rule.CHECK_LINES]
    assert sum(len(group.blockers) for group in groups) == 5


@pytest.mark.parametrize(
    ("state", "blockers", "move"),
    [
        ("not_started", [], Move.START),
        ("not_started", [WAITS], Move.WAITS),
        ("not_started", [ITEM], Move.LAST_STEPS),
        ("started", [], Move.ACCEPT),
        ("started", [OPEN, ITEM], Move.IN_WORK),
        ("started", [ITEM], Move.LAST_STEPS),
        ("started", [ITEM, WAITS], Move.WAITS),
        ("started", [_blocker(Rule.WITNESSING, "witness_time_not_passed", "client")], Move.WAITS),
    ],
)
def test_where_a_system_stands(state: str, blockers: list[Blocker], move: Move) -> None:
    assert move_of(_stage(state), blockers) is move


def test_a_system_without_a_stage_in_hand_is_done() -> None:
    assert move_of(None, ()) is Move.DONE


def test_whose_turn_it_is() -> None:
    assert turns_of(Move.ACCEPT, ()) == {"manager", "client"}
    assert turns_of(Move.LAST_STEPS, [ITEM, WAITS]) == {"field_engineer", "manager"}


def test_every_blocker_that_the_gate_can_name_has_a_phrase() -> None:
    source = Path(gate.__file__).read_text()
    named = set(re.findall(r'"([a-z]+(?:_[a-z]+)+)", (?:words|f")', source))
    named |= set(re.findall(r'Rule\.[A-Z_]+,\s+"([a-z_]+)"', source))
    assert len(named) > 15
    assert named - set(PHRASES) <= {"role_cannot_accept", "did_the_work"}
