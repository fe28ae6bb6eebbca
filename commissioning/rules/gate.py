"""The gate: facts in, blockers out.

One pure decision for one system or ten thousand. A stage can be accepted only when `acceptance_blockers` is
empty and `signer_blockers` is empty for the person who signs; it can be started only when `entry_blockers` is.
The rules are numbered as people know them; each is one small function below.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from enum import IntEnum

from commissioning.rules.stages import DEAD_STAGES, STAGE_WORDS

ACCEPTING = {
    "simple": frozenset({"accept", "accept_within_guard_band"}),
    "guarded": frozenset({"accept"}),
}
VERDICT_WORDS = {
    "accept": "accept",
    "accept_within_guard_band": "accept within guard band",
    "reject_within_guard_band": "reject within guard band",
    "reject": "reject",
    "cannot_say": "cannot say",
}


class Rule(IntEnum):
    PREVIOUS_STAGE = 1
    DEPENDENCIES = 2
    CHECK_LINES = 3
    READINGS = 4
    PUNCH_ITEMS = 5
    WITNESSING = 6
    SUPPLIES = 7
    ALARMS = 8
    SIGNALS = 9
    CALIBRATION = 10
    INDEPENDENCE = 11


@dataclass(frozen=True, slots=True)
class Blocker:
    """One thing that holds a stage: what, where, whose turn it is, and what to open."""

    rule: Rule
    code: str
    words: str
    where: str
    turn: str  # a role, or authorised_person
    link_kind: str  # line, item, supply, permission, alarm, signal, stage, instrument, system
    link_id: str
    owner: str = ""  # the person who owes it, where one is named
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class Policy:
    """What the project decided: its decision rule, and where it is tighter than the product."""

    decision_rule: str = "simple"
    b_blocks_stage: bool = False
    c_blocks_handover: bool = False


@dataclass(frozen=True, slots=True)
class StageRef:
    """A stage that this one waits for."""

    id: str
    words: str  # "B-101 mechanical completion"
    accepted: bool


@dataclass(frozen=True, slots=True)
class ReadingFact:
    id: str
    verdict: str
    in_calibration: bool
    taken_at: datetime | None = None
    instrument: str = ""
    changed_to: str = ""  # verdict of a newer verification that a manager has not decided on


@dataclass(frozen=True, slots=True)
class LineFact:
    id: str
    title: str
    where: str  # equipment tag, or the system's
    state: str  # open, passed, failed, not_applicable
    reason: str = ""  # remark of the standing result
    required: bool = True
    calculation: str = ""
    reading: ReadingFact | None = None
    conceded: bool = False
    point: str = "none"
    party: str = ""
    witnessed: bool = False  # by the party that the line names
    notices: tuple[datetime, ...] = ()  # times for which notice was given
    done_by: str = ""


@dataclass(frozen=True, slots=True)
class ItemFact:
    """A punch item that is not closed."""

    id: str
    label: str
    category: str
    state: str
    stage_order: int
    words: str
    where: str
    owner: str = ""
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class SupplyFact:
    id: str
    tag: str
    kind: str
    state: str  # not_recorded, isolated, released
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class PermissionFact:
    id: str
    stage_kind: str
    supply_ids: frozenset[str]
    valid_from: datetime
    valid_until: datetime
    withdrawn: bool = False

    def stands(self, now: datetime) -> bool:
        return not self.withdrawn and self.valid_from <= now < self.valid_until


@dataclass(frozen=True, slots=True)
class AlarmFact:
    id: str
    text: str
    where: str
    outcome: str  # unexplained, explained, expected, genuine
    stage_order: int
    expected_until_order: int | None = None
    cleared: bool = False
    has_item: bool = False
    since: datetime | None = None


@dataclass(frozen=True, slots=True)
class SignalFact:
    id: str
    tag: str
    words: str
    forced: bool = False
    seen: bool = False
    restored: bool = False
    failed: bool = False


@dataclass(frozen=True, slots=True)
class StageFacts:
    """Everything that the decision about one stage rests on, at one moment."""

    stage_id: str
    system_id: str
    system_tag: str
    kind: str
    order: int
    state: str  # not_started, started, accepted
    is_last: bool
    now: datetime
    policy: Policy = Policy()
    previous: StageRef | None = None
    dependencies: tuple[StageRef, ...] = ()
    lines: tuple[LineFact, ...] = ()
    items: tuple[ItemFact, ...] = ()
    supplies: tuple[SupplyFact, ...] = ()
    permissions: tuple[PermissionFact, ...] = ()
    alarms: tuple[AlarmFact, ...] = ()
    signals: tuple[SignalFact, ...] = ()
    workers: frozenset[str] = field(default_factory=frozenset)

    @property
    def words(self) -> str:
        return f"{self.system_tag} {STAGE_WORDS[self.kind]}"


@dataclass(frozen=True, slots=True)
class Signer:
    """Who wants to accept: a person's id and role."""

    user_id: str
    role: str


def entry_blockers(facts: StageFacts) -> tuple[Blocker, ...]:
    """What keeps the stage from being started: the stages it waits for, and A items against earlier ones."""
    return (
        *_previous_stage(facts),
        *_dependencies(facts),
        *_earlier_a_items(facts),
    )


def acceptance_blockers(facts: StageFacts) -> tuple[Blocker, ...]:
    """What keeps the stage from being accepted, by all rules but the signer's own (see `signer_blockers`)."""
    return (
        *_not_in_hand(facts),
        *_previous_stage(facts),
        *_dependencies(facts),
        *_check_lines(facts),
        *_readings(facts),
        *_punch_items(facts),
        *_witnessing(facts),
        *_supplies(facts),
        *_alarms(facts),
        *_signals(facts),
        *_calibration(facts),
    )


def signer_blockers(facts: StageFacts, signer: Signer) -> tuple[Blocker, ...]:
    """Rule 11: whoever did the work does not accept it; a manager or the client signs."""
    stage = ("stage", facts.stage_id)
    if signer.role not in ("manager", "client"):
        words = "A gate is accepted by a manager or the client, not by a field engineer."
        return (Blocker(Rule.INDEPENDENCE, "role_cannot_accept", words, facts.words, "manager", *stage),)
    if signer.user_id in facts.workers:
        words = "You did work recorded in this stage. Somebody else, manager or client, must accept it."
        return (Blocker(Rule.INDEPENDENCE, "did_the_work", words, facts.words, "manager", *stage),)
    return ()


def exceptions(facts: StageFacts) -> tuple[Blocker, ...]:
    """What would hold an accepted stage if it were signed today: shown beside it, never hidden, never silent."""
    if facts.state != "accepted":
        return ()
    return (
        *_previous_stage(facts),
        *_dependencies(facts),
        *_readings(facts),
        *_own_a_items(facts),
        *_calibration(facts),
    )


def _earlier_a_items(facts: StageFacts) -> Iterator[Blocker]:
    return (_item_blocker(item) for item in facts.items if item.category == "A" and item.stage_order < facts.order)


def _own_a_items(facts: StageFacts) -> Iterator[Blocker]:
    return (_item_blocker(item) for item in facts.items if item.category == "A" and item.stage_order == facts.order)


def _not_in_hand(facts: StageFacts) -> Iterator[Blocker]:
    if facts.state == "not_started":
        words = "The stage has not been started. Start it when its entry rules hold."
        yield Blocker(Rule.PREVIOUS_STAGE, "not_started", words, facts.words, "field_engineer", "stage", facts.stage_id)


def _previous_stage(facts: StageFacts) -> Iterator[Blocker]:
    """Rule 1: the stage before it is accepted and was not withdrawn."""
    if facts.previous and not facts.previous.accepted:
        words = f"{facts.previous.words} is not accepted."
        yield Blocker(
            Rule.PREVIOUS_STAGE,
            "previous_not_accepted",
            words,
            facts.previous.words,
            "manager",
            "stage",
            facts.previous.id,
        )


def _dependencies(facts: StageFacts) -> Iterator[Blocker]:
    """Rule 2: stages of other systems that it depends on are accepted."""
    for needed in facts.dependencies:
        if not needed.accepted:
            words = f"It waits for {needed.words}, which is not accepted."
            yield Blocker(
                Rule.DEPENDENCIES, "dependency_not_accepted", words, needed.words, "manager", "stage", needed.id
            )


def _check_lines(facts: StageFacts) -> Iterator[Blocker]:
    """Rule 3: every check line is done: passed, or not applicable with a reason; failed needs a concession."""
    if not facts.lines:
        words = "No check lines are laid out. Apply a procedure to the system."
        yield Blocker(Rule.CHECK_LINES, "no_lines", words, facts.words, "manager", "system", facts.system_id)
    for line in facts.lines:
        if line.state == "open":
            yield _line_blocker(Rule.CHECK_LINES, "line_open", f"Not done: {line.title}.", line)
        elif line.state == "failed" and not line.conceded and not _rejected(facts, line):
            words = f"Failed: {line.title}. Mend it and do the line again, or ask for a concession."
            yield _line_blocker(Rule.CHECK_LINES, "line_failed", words, line)
        elif line.state == "not_applicable" and not line.reason.strip():
            words = f"Marked not applicable without a reason: {line.title}."
            yield _line_blocker(Rule.CHECK_LINES, "no_reason", words, line)


def _rejected(facts: StageFacts, line: LineFact) -> bool:
    """True when rule 4 already speaks about this line, so that it is not listed twice."""
    return line.reading is not None and line.reading.verdict not in ACCEPTING[facts.policy.decision_rule]


def _readings(facts: StageFacts) -> Iterator[Blocker]:
    """Rule 4: every required reading stands with an accepting verdict; anything else needs a concession."""
    for line in facts.lines:
        if not line.calculation or line.state == "not_applicable" or line.conceded:
            continue
        if line.reading is not None and line.reading.changed_to:
            yield _changed(line, line.reading.changed_to)
        if line.reading is None:
            if line.required and line.state != "open":
                yield _line_blocker(Rule.READINGS, "reading_missing", f"No reading stands on: {line.title}.", line)
        elif _rejected(facts, line):
            verdict = VERDICT_WORDS[line.reading.verdict]
            words = (
                f"The verdict is '{verdict}': {line.title}. Mend and measure again, or a manager signs a concession."
            )
            yield _line_blocker(Rule.READINGS, "reading_not_accepted", words, line)


def _changed(line: LineFact, verdict: str) -> Blocker:
    words = f"Verified again, the result changed to '{VERDICT_WORDS[verdict]}' and waits for a manager: {line.title}."
    return _line_blocker(Rule.READINGS, "reading_changed", words, line, turn="manager")


def _punch_items(facts: StageFacts) -> Iterator[Blocker]:
    """Rule 5: A blocks the stage it was raised in and every later one; B blocks handover; C never blocks."""
    for item in facts.items:
        raised_here_or_before = item.stage_order <= facts.order
        if (
            (item.category == "A" and raised_here_or_before)
            or (item.category == "B" and (facts.is_last or (facts.policy.b_blocks_stage and raised_here_or_before)))
            or (item.category == "C" and facts.policy.c_blocks_handover and facts.is_last)
        ):
            yield _item_blocker(item)


def _witnessing(facts: StageFacts) -> Iterator[Blocker]:
    """Rule 6: hold points are witnessed by the party they name; a witness point had its notice and its time."""
    for line in facts.lines:
        if line.witnessed or line.state == "not_applicable":
            continue
        party = line.party or "client"
        if line.point == "hold":
            words = f"Hold point, to be witnessed by the {party}: {line.title}."
            yield _line_blocker(Rule.WITNESSING, "hold_point_open", words, line, turn=party)
        elif line.point == "witness" and not any(when <= facts.now for when in line.notices):
            given = bool(line.notices)
            words = (
                f"Witness point: the time of the notice has not passed yet: {line.title}."
                if given
                else f"Witness point: the {party} has had no notice: {line.title}."
            )
            code = "witness_time_not_passed" if given else "witness_not_notified"
            yield _line_blocker(Rule.WITNESSING, code, words, line, turn=party if given else "field_engineer")


def _supplies(facts: StageFacts) -> Iterator[Blocker]:
    """Rule 7: dead stages need every supply isolated; others release only what a standing permission names."""
    if not facts.supplies:
        words = "No supply point is on the register. List every way energy gets in, then record each isolated."
        yield Blocker(Rule.SUPPLIES, "no_supplies", words, facts.words, "manager", "system", facts.system_id)
    dead = facts.kind in DEAD_STAGES
    for supply in facts.supplies:
        if supply.state == "not_recorded":
            words = f"Nothing is recorded of supply {supply.tag}: treat it as LIVE. Isolate it and record the lock."
            yield _supply_blocker("supply_not_recorded", words, supply)
        elif dead and supply.state != "isolated":
            words = (
                f"Supply {supply.tag} is recorded LIVE in a stage that is done dead. Isolate it and record the lock."
            )
            yield _supply_blocker("supply_not_isolated", words, supply)
        elif supply.state == "released" and not permitted(facts.permissions, supply.id, facts.now):
            words = (
                f"Supply {supply.tag} is recorded LIVE without a permission to energise that stands. Isolate it now."
            )
            yield _supply_blocker("released_without_permission", words, supply)
    if not dead and not any(p.stage_kind == facts.kind and not p.withdrawn for p in facts.permissions):
        words = "No permission to energise was signed for this stage."
        yield Blocker(
            Rule.SUPPLIES, "no_permission", words, facts.words, "authorised_person", "permission", facts.stage_id
        )


def permitted(permissions: tuple[PermissionFact, ...], supply_id: str, now: datetime) -> bool:
    """True while a permission that names the supply stands."""
    return any(supply_id in permission.supply_ids and permission.stands(now) for permission in permissions)


def _alarms(facts: StageFacts) -> Iterator[Blocker]:
    """Rule 8: every sighting is explained, or expected until later and seen to clear there, or has a punch item."""
    for alarm in facts.alarms:
        if alarm.stage_order > facts.order:
            continue
        if alarm.outcome == "unexplained":
            words = f"Unexplained alarm: {alarm.text}. Say what it is: explained, expected, or genuine."
            yield _alarm_blocker("alarm_unexplained", words, alarm)
        elif alarm.outcome == "genuine" and not alarm.has_item:
            words = f"Genuine alarm without a punch item: {alarm.text}. Raise one."
            yield _alarm_blocker("alarm_without_item", words, alarm)
        elif alarm.outcome == "expected" and not alarm.cleared and (alarm.expected_until_order or 0) <= facts.order:
            words = f"This alarm was expected until this stage and must be seen to clear: {alarm.text}."
            yield _alarm_blocker("alarm_not_seen_clear", words, alarm)


def _signals(facts: StageFacts) -> Iterator[Blocker]:
    """Rule 9: every signal point of the stage was proved end to end: forced, seen at the far end, restored."""
    for signal in facts.signals:
        if signal.failed:
            todo = "the last proof failed; mend it and prove it again"
        elif not signal.forced:
            todo = "not forced yet"
        elif not signal.seen:
            todo = "forced, not yet seen at the far end"
        elif not signal.restored:
            todo = "seen, not yet restored"
        else:
            continue
        words = f"Signal point {signal.tag} ({signal.words}): {todo}."
        yield Blocker(Rule.SIGNALS, "signal_not_proved", words, signal.tag, "field_engineer", "signal", signal.id)


def _calibration(facts: StageFacts) -> Iterator[Blocker]:
    """Rule 10: instruments were in calibration when they were used."""
    for line in facts.lines:
        if line.reading and not line.reading.in_calibration and not line.conceded and line.state != "not_applicable":
            instrument = line.reading.instrument or "the instrument"
            words = f"{instrument} was not in calibration when it was used: {line.title}. Measure again with another."
            yield _line_blocker(Rule.CALIBRATION, "out_of_calibration", words, line)


def _line_blocker(rule: Rule, code: str, words: str, line: LineFact, turn: str = "field_engineer") -> Blocker:
    since = line.reading.taken_at if line.reading else None
    return Blocker(rule, code, words, line.where, turn, "line", line.id, since=since)


def _item_blocker(item: ItemFact) -> Blocker:
    rectified = item.state == "rectified"
    todo = "rectified, waits to be closed" if rectified else item.state.replace("_", " ")
    return Blocker(
        Rule.PUNCH_ITEMS,
        f"item_{item.category.lower()}_open",
        f"{item.label} category {item.category}, {todo}: {item.words}",
        item.where,
        "manager" if rectified else "field_engineer",
        "item",
        item.id,
        owner="" if rectified else item.owner,
        since=item.since,
    )


def _supply_blocker(code: str, words: str, supply: SupplyFact) -> Blocker:
    return Blocker(Rule.SUPPLIES, code, words, supply.tag, "field_engineer", "supply", supply.id, since=supply.since)


def _alarm_blocker(code: str, words: str, alarm: AlarmFact) -> Blocker:
    return Blocker(Rule.ALARMS, code, words, alarm.where, "field_engineer", "alarm", alarm.id, since=alarm.since)
