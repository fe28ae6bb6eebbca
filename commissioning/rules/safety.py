"""Dead and live work: what the record allows, and in which words the product speaks of energy.

The product never says that something is dead. It knows only what was recorded; dead is proved at the point of work.
These rules do not replace local rules, a safe system of work or a competent person.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from commissioning.rules.gate import (
    Blocker,
    LineFact,
    PermissionFact,
    Rule,
    StageFacts,
    SupplyFact,
    entry_blockers,
)
from commissioning.rules.stages import BATTERY_CONNECTED, DEAD_STAGES, ORDERED_STAGES


class EnergyState(StrEnum):
    LIVE = "live"
    RECORDED_ISOLATED = "recorded_isolated"
    NOT_RECORDED = "not_recorded"


ENERGY_WORDS = {
    EnergyState.LIVE: "LIVE",
    EnergyState.RECORDED_ISOLATED: "recorded isolated - prove dead at the point of work",
    EnergyState.NOT_RECORDED: "not recorded - treat as LIVE",
}
BATTERY_WORDS = (
    "A battery is never dead: isolated means that its links or fuses are recorded open; its terminals stay live."
)


def energy_state(supply_states: Iterable[str]) -> EnergyState:
    """LIVE when any supply is released; recorded isolated only when there are supplies and each is isolated."""
    states = list(supply_states)
    if "released" in states:
        return EnergyState.LIVE
    if states and all(state == "isolated" for state in states):
        return EnergyState.RECORDED_ISOLATED
    return EnergyState.NOT_RECORDED


@dataclass(frozen=True, slots=True)
class WorkFact:
    """The line that somebody is about to record, and what surrounds it."""

    line_id: str
    title: str
    where: str
    work: str  # dead, live, either
    injects_voltage: bool
    proved_dead: bool


def work_blockers(
    *, work: WorkFact, stage: StageFacts, energy: EnergyState, before: Sequence[LineFact] = ()
) -> tuple[Blocker, ...]:
    """Why the line cannot be recorded now. `before` are the stage's lines that stand before it, in order."""
    return (
        *_stage_in_hand(work, stage),
        *_dead_work(work, energy),
        *_hold_points_before(before),
        *_order(work, stage, before),
    )


def _stage_in_hand(work: WorkFact, stage: StageFacts) -> Iterable[Blocker]:
    if stage.state == "started":
        return
    accepted = stage.state == "accepted"
    words = (
        f"{stage.words} is accepted. Withdraw its acceptance, with a reason, before a line is recorded in it."
        if accepted
        else f"{stage.words} has not been started. Start it when its entry rules hold."
    )
    code = "stage_accepted" if accepted else "stage_not_started"
    yield Blocker(Rule.PREVIOUS_STAGE, code, words, stage.words, "manager", "stage", stage.stage_id)


def _dead_work(work: WorkFact, energy: EnergyState) -> Iterable[Blocker]:
    """Dead tests are refused on a system recorded LIVE, and on one of which nothing is recorded."""
    if work.work != "dead" and not work.injects_voltage:
        return
    if energy is not EnergyState.RECORDED_ISOLATED:
        state = "recorded LIVE" if energy is EnergyState.LIVE else "not recorded isolated: treat it as LIVE"
        words = (
            f"This is dead work and the system is {state}. Isolate every supply and record its lock, then prove dead."
        )
        yield Blocker(Rule.SUPPLIES, "dead_work_on_live", words, work.where, "field_engineer", "line", work.line_id)
    elif work.injects_voltage and not work.proved_dead:
        words = "Record the proof of dead on this line first: detector proved before and after, where, and by whom."
        yield Blocker(Rule.SUPPLIES, "proof_of_dead_missing", words, work.where, "field_engineer", "line", work.line_id)


def _hold_points_before(before: Sequence[LineFact]) -> Iterable[Blocker]:
    """Work stops at a hold point until the party it names has witnessed it."""
    for line in before:
        if line.point == "hold" and not line.witnessed and line.state != "not_applicable":
            words = f"Work stops at a hold point until the {line.party or 'client'} has witnessed it: {line.title}."
            yield Blocker(
                Rule.WITNESSING, "hold_point_before", words, line.where, line.party or "client", "line", line.id
            )
            return


def _order(work: WorkFact, stage: StageFacts, before: Sequence[LineFact]) -> Iterable[Blocker]:
    """In an ordered stage a line waits for those before it."""
    if stage.kind not in ORDERED_STAGES:
        return
    for line in before:
        done = line.state in ("passed", "not_applicable") or line.conceded
        if not done and line.id != work.line_id:
            words = f"This stage goes line by line. First: {line.title}."
            yield Blocker(Rule.CHECK_LINES, "line_before_open", words, line.where, "field_engineer", "line", line.id)
            return


@dataclass(frozen=True, slots=True)
class SupplyChanged:
    """A supply recorded isolated or released: when that was done, and when it was recorded."""

    supply_id: str
    state: str
    at: datetime
    recorded_at: datetime


#: A phone's clock counts as right within this; a proof that came late is not believed closer to a release.
CLOCK_DOUBT = timedelta(seconds=60)


def proof_stands(*, made_at: datetime, recorded_at: datetime, changes: Iterable[SupplyChanged]) -> bool:
    """A proof of dead counts when it was made after everything that changed the supplies of the system.

    When it was made decides, not when it arrived: from a phone it may arrive after a release that it did not see, or
    after an isolation that it came before. It is never made later than it was recorded, whatever a clock says.
    """
    made = min(made_at, recorded_at)
    doubted = made if recorded_at - made < CLOCK_DOUBT / 10 else made - CLOCK_DOUBT
    states: dict[str, str] = {}
    for change in sorted(changes, key=lambda one: one.recorded_at):
        before, states[change.supply_id] = states.get(change.supply_id), change.state
        if change.state == "released" and doubted <= max(change.at, change.recorded_at):
            return False
        first_lock = change.state == "isolated" and before != "isolated"  # one more lock changes nothing
        if first_lock and made < min(change.at, change.recorded_at):
            return False
    return True


def permission_blockers(*, stage: StageFacts, supply_ids: frozenset[str]) -> tuple[Blocker, ...]:
    """Why a permission to energise these supplies cannot be signed for this stage."""
    found: list[Blocker] = []
    here = ("stage", stage.stage_id)
    if stage.kind in DEAD_STAGES:
        words = f"{stage.words} is done dead: nothing is energised in it."
        found.append(Blocker(Rule.SUPPLIES, "dead_stage", words, stage.words, "authorised_person", *here))
    elif stage.state != "started":
        words = f"{stage.words} is not in hand. Start it first."
        found.append(Blocker(Rule.PREVIOUS_STAGE, "stage_not_started", words, stage.words, "manager", *here))
    found.extend(entry_blockers(stage))
    for supply in stage.supplies:
        if supply.id in supply_ids and supply.kind == "battery" and stage.kind != BATTERY_CONNECTED:
            words = f"{supply.tag} is a battery: it is connected in the battery-connected stage, not in this one."
            found.append(
                Blocker(Rule.SUPPLIES, "battery_too_early", words, supply.tag, "authorised_person", "supply", supply.id)
            )
    return tuple(found)


def release_blockers(
    *, supply: SupplyFact, permission: PermissionFact, stage: StageFacts, now: datetime
) -> tuple[Blocker, ...]:
    """Why this supply cannot be released under this permission now."""
    found: list[Blocker] = []
    if supply.id not in permission.supply_ids:
        words = f"The permission does not name supply {supply.tag}."
        found.append(_supply_refusal("not_named", words, supply))
    if permission.withdrawn:
        found.append(_supply_refusal("permission_withdrawn", "The permission to energise was withdrawn.", supply))
    elif not permission.stands(now):
        words = (
            f"It lapsed at {permission.valid_until:%Y-%m-%d %H:%M %Z}. Ask the authorised person for a new one."
            if now >= permission.valid_until
            else f"The permission to energise begins at {permission.valid_from:%Y-%m-%d %H:%M %Z}."
        )
        found.append(_supply_refusal("permission_lapsed", words, supply))
    if supply.state == "not_recorded":
        words = (
            f"Supply {supply.tag} was never recorded isolated. Record its isolation first, so that the record is whole."
        )
        found.append(_supply_refusal("supply_not_recorded", words, supply))
    found.extend(permission_blockers(stage=stage, supply_ids=frozenset({supply.id})))
    return tuple(found)


def _supply_refusal(code: str, words: str, supply: SupplyFact) -> Blocker:
    return Blocker(Rule.SUPPLIES, code, words, supply.tag, "authorised_person", "supply", supply.id)
