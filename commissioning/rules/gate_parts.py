"""The gate's rules by what they look at, so that a change has only that part of the gate asked again.

No rule is written here: each part names rules of `gate.py`, and all parts together say what the gate says.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from commissioning.rules import gate
from commissioning.rules.gate import Blocker, StageFacts

Rules = Callable[[StageFacts], Iterable[Blocker]]

STAGES, LINES, ITEMS, SUPPLIES, ALARMS, SIGNALS = "stages", "lines", "items", "supplies", "alarms", "signals"

_ACCEPTANCE: dict[str, tuple[Rules, ...]] = {
    STAGES: (gate._not_in_hand, gate._previous_stage, gate._dependencies),
    LINES: (gate._check_lines, gate._readings, gate._witnessing, gate._calibration),
    ITEMS: (gate._punch_items,),
    SUPPLIES: (gate._supplies,),
    ALARMS: (gate._alarms,),
    SIGNALS: (gate._signals,),
}
PARTS = frozenset(_ACCEPTANCE)
#: What a change touches that no counter looks at.
NOTHING: frozenset[str] = frozenset()

_ENTRY: dict[str, tuple[Rules, ...]] = {
    STAGES: (gate._previous_stage, gate._dependencies),
    ITEMS: (gate._earlier_a_items,),
}
_EXCEPTIONS: dict[str, tuple[Rules, ...]] = {
    STAGES: (gate._previous_stage, gate._dependencies),
    LINES: (gate._readings, gate._calibration),
    ITEMS: (gate._own_a_items,),
}


def part_holds(facts: StageFacts, part: str) -> tuple[Blocker, ...]:
    """What of this part keeps the stage from its next step: from being started, or once started from acceptance."""
    if facts.state == "accepted":
        return ()
    rules = _ENTRY if facts.state == "not_started" else _ACCEPTANCE
    return tuple(blocker for rule in rules.get(part, ()) for blocker in rule(facts))


def part_exceptions(facts: StageFacts, part: str) -> int:
    """How much of this part would hold an accepted stage if it were signed today."""
    if facts.state != "accepted":
        return 0
    return sum(1 for rule in _EXCEPTIONS.get(part, ()) for _ in rule(facts))


def line_rules(facts: StageFacts) -> tuple[Blocker, ...]:
    """What the rules about lines say, whatever the stage's state: for counting."""
    return tuple(blocker for rule in _ACCEPTANCE[LINES] for blocker in rule(facts))
