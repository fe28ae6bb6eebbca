"""Steps of a punch item: who may, from where, as pure decisions."""

from __future__ import annotations

from dataclasses import replace

import pytest

from punchlist.rules.steps import (
    CLOSED,
    RECTIFIED,
    REOPENED,
    SENT_BACK,
    STEPS,
    ItemStanding,
    Person,
    change_blockers,
    open_steps,
    roles_for,
    step_blockers,
)

ITEM = ItemStanding(
    id="1", label="P-1", where="GUB10", category="A", state="open", raised_by="7", rectifiers=frozenset()
)
MANAGER, ENGINEER, CLIENT = Person("1", "manager"), Person("2", "field_engineer"), Person("3", "client")


def names(item: ItemStanding, person: Person) -> list[str]:
    return [step.name for step in open_steps(item, person)]


@pytest.mark.parametrize(
    ("state", "manager", "engineer", "client"),
    [
        ("open", [RECTIFIED], [RECTIFIED], []),
        ("sent_back", [RECTIFIED], [RECTIFIED], []),
        ("rectified", [CLOSED, SENT_BACK], [], [CLOSED, SENT_BACK]),
        ("closed", [REOPENED], [REOPENED], [REOPENED]),
    ],
)
def test_each_state_offers_each_role_its_steps(
    state: str, manager: list[str], engineer: list[str], client: list[str]
) -> None:
    item = replace(ITEM, state=state)
    assert [names(item, person) for person in (MANAGER, ENGINEER, CLIENT)] == [manager, engineer, client]


@pytest.mark.parametrize("person", [MANAGER, CLIENT])
def test_whoever_rectified_it_cannot_close_it_but_can_send_it_back(person: Person) -> None:
    item = replace(ITEM, state="rectified", rectifiers=frozenset({person.user_id}))
    (blocker,) = step_blockers(CLOSED, item, person)
    assert (blocker.rule, blocker.code, blocker.link_id) == (11, "rectified_it", "1")
    assert names(item, person) == [SENT_BACK]


def test_an_earlier_rectification_counts_too() -> None:
    item = replace(ITEM, state="rectified", rectifiers=frozenset({"2", MANAGER.user_id}))
    assert step_blockers(CLOSED, item, MANAGER)
    assert not step_blockers(CLOSED, item, CLIENT)


def test_a_client_who_owes_an_item_may_record_it_rectified() -> None:
    item = replace(ITEM, owes=CLIENT.user_id)
    assert names(item, CLIENT) == [RECTIFIED]
    assert CLIENT.role not in roles_for(RECTIFIED, ITEM, CLIENT.user_id)


@pytest.mark.parametrize("step", list(STEPS))
@pytest.mark.parametrize("state", ["open", "rectified", "closed", "sent_back"])
def test_a_step_from_another_state_names_the_state(step: str, state: str) -> None:
    blockers = step_blockers(step, replace(ITEM, state=state), MANAGER)
    if state in STEPS[step].before:
        assert blockers == ()
    else:
        assert [blocker.code for blocker in blockers] == [f"item_is_{state}"]


def test_every_state_can_be_left_and_reached() -> None:
    assert {state for step in STEPS.values() for state in step.before} == {"open", "sent_back", "rectified", "closed"}
    assert {step.after for step in STEPS.values()} == {"open", "sent_back", "rectified", "closed"}


@pytest.mark.parametrize(
    ("was", "becomes", "person", "reason", "code"),
    [
        ("A", "B", ENGINEER, "agreed", "lowering_needs_manager"),
        ("A", "C", CLIENT, "agreed", "raised_by_another"),
        ("B", "C", ENGINEER, "agreed", "lowering_needs_manager"),
        ("B", "C", MANAGER, "  ", "lowering_needs_reason"),
        ("B", "C", MANAGER, "agreed with the client on site", None),
        ("C", "A", ENGINEER, "", None),
        ("B", "A", MANAGER, "", None),
    ],
)
def test_lowering_a_category_is_a_managers_decision_with_a_reason(
    was: str, becomes: str, person: Person, reason: str, code: str | None
) -> None:
    blockers = change_blockers(replace(ITEM, category=was), person, category=becomes, reason=reason)
    assert [blocker.code for blocker in blockers] == ([code] if code else [])


def test_a_client_changes_what_they_raised_and_never_lowers_it() -> None:
    own = replace(ITEM, raised_by=CLIENT.user_id, category="B")
    assert change_blockers(own, CLIENT, category="B", reason="") == ()
    assert [b.code for b in change_blockers(own, CLIENT, category="C", reason="small")] == ["lowering_needs_manager"]


def test_a_closed_item_is_reopened_before_it_is_changed() -> None:
    blockers = change_blockers(replace(ITEM, state="closed"), MANAGER, category="A", reason="")
    assert [blocker.code for blocker in blockers] == ["item_is_closed"]
