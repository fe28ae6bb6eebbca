"""What holds a stage, put together for reading: like blockers counted as one, and what could move today."""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass
from enum import StrEnum

from commissioning.rules.gate import Blocker, Rule, StageFacts, acceptance_blockers, entry_blockers

#: What many blockers of one code come to, in one and in many.
PHRASES = {
    "not_started": ("not started", "{n} stages not started"),
    "previous_not_accepted": ("waits for {where}", "waits for {n} stages before it"),
    "dependency_not_accepted": ("waits for {where}", "waits for {n} stages of other systems"),
    "no_lines": ("no check lines laid out", "no check lines laid out"),
    "line_open": ("1 check line not done", "{n} check lines not done"),
    "line_failed": ("1 check line failed", "{n} check lines failed"),
    "no_reason": ("1 line not applicable without a reason", "{n} lines not applicable without a reason"),
    "reading_missing": ("1 reading missing", "{n} readings missing"),
    "reading_not_accepted": ("1 reading not accepted", "{n} readings not accepted"),
    "reading_changed": ("1 reading with a changed verdict", "{n} readings with a changed verdict"),
    "item_a_open": ("1 category A item", "{n} category A items"),
    "item_b_open": ("1 category B item", "{n} category B items"),
    "item_c_open": ("1 category C item", "{n} category C items"),
    "hold_point_open": ("1 hold point to be witnessed", "{n} hold points to be witnessed"),
    "witness_not_notified": ("1 witness point without notice", "{n} witness points without notice"),
    "witness_time_not_passed": ("1 notice still running", "{n} notices still running"),
    "no_supplies": ("no supply point on the register", "no supply point on the register"),
    "supply_not_recorded": ("supply {where} not recorded", "{n} supplies not recorded"),
    "supply_not_isolated": ("supply {where} LIVE in a dead stage", "{n} supplies LIVE in a dead stage"),
    "released_without_permission": ("supply {where} LIVE without permission", "{n} supplies LIVE without permission"),
    "no_permission": ("no permission to energise", "no permission to energise"),
    "alarm_unexplained": ("1 unexplained alarm", "{n} unexplained alarms"),
    "alarm_without_item": ("1 genuine alarm without an item", "{n} genuine alarms without an item"),
    "alarm_not_seen_clear": ("1 expected alarm not seen to clear", "{n} expected alarms not seen to clear"),
    "signal_not_proved": ("1 signal point not proved", "{n} signal points not proved"),
    "out_of_calibration": ("1 reading out of calibration", "{n} readings out of calibration"),
}
RULE_TITLES = {
    Rule.PREVIOUS_STAGE: "Stages of this system",
    Rule.DEPENDENCIES: "Stages of other systems",
    Rule.CHECK_LINES: "Check lines",
    Rule.READINGS: "Readings",
    Rule.PUNCH_ITEMS: "Punch items",
    Rule.WITNESSING: "Hold and witness points",
    Rule.SUPPLIES: "Supplies and permission to energise",
    Rule.ALARMS: "Alarms",
    Rule.SIGNALS: "Signal points",
    Rule.CALIBRATION: "Instruments",
    Rule.INDEPENDENCE: "Who signs",
}
#: What can hurt somebody first, then what others wait for, then the work itself.
READING_ORDER = (7, 1, 2, 8, 5, 6, 4, 10, 9, 3, 11)


class Move(StrEnum):
    """Where a system stands, by what its stage in hand needs next. Counters store the place in this list."""

    ACCEPT = "ready to accept"
    LAST_STEPS = "last steps"
    START = "ready to start"
    IN_WORK = "in work"
    WAITS = "waits"
    DONE = "all accepted"


MOVES = tuple(Move)
#: Blockers that are nothing but work not done yet.
OPEN_WORK = frozenset({"line_open", "no_lines"})
#: A person who acts today can move these.
MOVABLE = (Move.ACCEPT, Move.LAST_STEPS, Move.START)


@dataclass(frozen=True, slots=True)
class Hold:
    """Blockers of one code and turn, as one phrase."""

    words: str
    turn: str
    count: int
    first: Blocker


@dataclass(frozen=True, slots=True)
class HoldGroup:
    """Blockers of one rule, in the order of the register."""

    rule: Rule
    title: str
    blockers: tuple[Blocker, ...]


def stage_holds(facts: StageFacts) -> tuple[Blocker, ...]:
    """What keeps the stage from its next step: from being started, or once started from being accepted."""
    return entry_blockers(facts) if facts.state == "not_started" else acceptance_blockers(facts)


def move_of(in_hand: StageFacts | None, blockers: Sequence[Blocker]) -> Move:
    """What the stage in hand needs next; `blockers` are its `stage_holds`."""
    return move_from(in_hand.state if in_hand else None, {blocker.code for blocker in blockers})


def move_from(state: str | None, codes: Set[str]) -> Move:
    """The same from the state of the stage in hand (None: all are accepted) and the codes of what holds it."""
    if state is None:
        return Move.DONE
    if not codes:
        return Move.START if state == "not_started" else Move.ACCEPT
    if codes & {"previous_not_accepted", "dependency_not_accepted", "witness_time_not_passed"}:
        return Move.WAITS
    return Move.IN_WORK if codes & OPEN_WORK else Move.LAST_STEPS


def turns_of(move: Move, blockers: Sequence[Blocker]) -> frozenset[str]:
    """Whose turn it is: roles, or authorised_person."""
    return turns_from(move, (blocker.turn for blocker in blockers))


def turns_from(move: Move, turns: Iterable[str]) -> frozenset[str]:
    """The same from the turns of what holds the stage."""
    if move is Move.ACCEPT:
        return frozenset({"manager", "client"})
    if move is Move.START:
        return frozenset({"manager", "field_engineer"})
    return frozenset(turns)


def summed_up(blockers: Iterable[Blocker]) -> tuple[Hold, ...]:
    """Like blockers as one phrase each, in reading order."""
    groups: dict[tuple[str, str], list[Blocker]] = {}
    for blocker in in_reading_order(blockers):
        groups.setdefault((blocker.code, blocker.turn), []).append(blocker)
    return tuple(hold_of(found[0], len(found)) for found in groups.values())


def hold_of(first: Blocker, count: int) -> Hold:
    """So many blockers of one code and turn, of which this is the first."""
    one, many = PHRASES.get(first.code, ("{words}", "{words}"))
    phrase = (one if count == 1 else many).format(n=count, where=first.where, words=first.words)
    return Hold(words=phrase, turn=first.turn, count=count, first=first)


def by_rule(blockers: Iterable[Blocker]) -> tuple[HoldGroup, ...]:
    """The blockers under the rule that each belongs to, in reading order."""
    groups: dict[Rule, list[Blocker]] = {}
    for blocker in in_reading_order(blockers):
        groups.setdefault(blocker.rule, []).append(blocker)
    return tuple(HoldGroup(rule, RULE_TITLES[rule], tuple(found)) for rule, found in groups.items())


def in_reading_order(blockers: Iterable[Blocker]) -> list[Blocker]:
    """What can hurt somebody first; otherwise the order in which the gate names them."""
    return sorted(blockers, key=lambda blocker: READING_ORDER.index(int(blocker.rule)))
