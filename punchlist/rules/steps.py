"""Which step a punch item may take next, and by whom: facts in, blockers out.

open → rectified → closed, or sent back and rectified again. Whoever recorded a rectification of an item does not close
it. Reopening only ever makes the gate stricter, so every role may do it, with a reason.
"""

from __future__ import annotations

from dataclasses import dataclass

from commissioning.rules.gate import Blocker, Rule

MANAGER, FIELD_ENGINEER, CLIENT = "manager", "field_engineer", "client"

RAISED, RECTIFIED, SENT_BACK, CLOSED, REOPENED = "raised", "rectified", "sent_back", "closed", "reopened"
CHANGED, ASSIGNED, ASSIGN_UNDONE = "changed", "assigned", "assign_undone"


@dataclass(frozen=True, slots=True)
class Step:
    """One way on: from which states, to which, who may, and whether it needs its reason in words."""

    name: str
    verb: str  # on the button
    deed: str  # in a refusal: "you cannot …"
    before: frozenset[str]
    after: str
    roles: frozenset[str]
    needs_reason: bool = False


EVERYONE = frozenset({MANAGER, FIELD_ENGINEER, CLIENT})
_CLOSERS = frozenset({MANAGER, CLIENT})
_WORKERS = frozenset({MANAGER, FIELD_ENGINEER})
_HELD, _RECTIFIED, _CLOSED = frozenset({"open", "sent_back"}), frozenset({"rectified"}), frozenset({"closed"})

STEPS = {
    step.name: step
    for step in (
        Step(RECTIFIED, "record it rectified", "record a punch item rectified", _HELD, "rectified", _WORKERS),
        Step(CLOSED, "close it", "close a punch item", _RECTIFIED, "closed", _CLOSERS),
        Step(SENT_BACK, "send it back", "send a punch item back", _RECTIFIED, "sent_back", _CLOSERS, True),
        Step(REOPENED, "reopen it", "reopen a punch item", _CLOSED, "open", EVERYONE, True),
    )
}

STATE_WORDS = {"open": "open", "rectified": "rectified", "closed": "closed", "sent_back": "sent back"}


@dataclass(frozen=True, slots=True)
class ItemStanding:
    """What the decision needs to know of an item."""

    id: str
    label: str
    where: str
    category: str
    state: str
    raised_by: str = ""
    owes: str = ""
    rectifiers: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Person:
    user_id: str
    role: str


def roles_for(step: str, item: ItemStanding, user_id: str) -> frozenset[str]:
    """Roles in which this person may take the step. Whoever owes an item may say that it is rectified."""
    return EVERYONE if step == RECTIFIED and user_id == item.owes else STEPS[step].roles


def step_blockers(step: str, item: ItemStanding, person: Person) -> tuple[Blocker, ...]:
    """What keeps this person from taking this step, beyond their role."""
    rule = STEPS[step]
    if item.state not in rule.before:
        needed = " or ".join(sorted(STATE_WORDS[state] for state in rule.before))
        words = (
            f"{item.label} is {STATE_WORDS[item.state]}: you can {rule.verb} when it is {needed}. "
            "Reload to see what happened."
        )
        return (_blocker(Rule.PUNCH_ITEMS, f"item_is_{item.state}", words, item, FIELD_ENGINEER),)
    if step == CLOSED and person.user_id in item.rectifiers:
        words = f"You recorded {item.label} rectified. Somebody else, a manager or the client, must look and close it."
        return (_blocker(Rule.INDEPENDENCE, "rectified_it", words, item, MANAGER),)
    return ()


def open_steps(item: ItemStanding, person: Person) -> tuple[Step, ...]:
    """The steps that this person could take now, in the order in which a page offers them."""
    return tuple(
        rule
        for name, rule in STEPS.items()
        if person.role in roles_for(name, item, person.user_id) and not step_blockers(name, item, person)
    )


def change_blockers(item: ItemStanding, person: Person, *, category: str, reason: str) -> tuple[Blocker, ...]:
    """What keeps this person from changing the item, or from giving it this category."""
    if item.state == "closed":
        words = f"{item.label} is closed. Reopen it with a reason, then change it."
        return (_blocker(Rule.PUNCH_ITEMS, "item_is_closed", words, item, FIELD_ENGINEER),)
    if person.role == CLIENT and person.user_id != item.raised_by:
        words = f"{item.label} was raised by somebody else. A manager or a field engineer can change it."
        return (_blocker(Rule.PUNCH_ITEMS, "raised_by_another", words, item, MANAGER),)
    if category > item.category:  # A before B before C: a later letter holds less
        if person.role != MANAGER:
            words = f"Lowering {item.label} from {item.category} to {category} is a manager's decision."
            return (_blocker(Rule.PUNCH_ITEMS, "lowering_needs_manager", words, item, MANAGER),)
        if not reason.strip():
            words = f"Say why {item.label} goes from {item.category} to {category}: the reason stays on record."
            return (_blocker(Rule.PUNCH_ITEMS, "lowering_needs_reason", words, item, MANAGER),)
    return ()


def _blocker(rule: Rule, code: str, words: str, item: ItemStanding, turn: str) -> Blocker:
    return Blocker(rule, code, words, item.where, turn, "item", item.id)
