"""What the punch list tells the gate: what stands, which alarms have an item, who worked."""

from __future__ import annotations

import pytest
from pytest_django import DjangoAssertNumQueries

from commissioning.models import AlarmOutcome
from commissioning.rules.gate import Signer, acceptance_blockers, entry_blockers, signer_blockers
from commissioning.selectors.facts import load_facts, stage_facts
from punchlist.gate_facts import punch_facts
from punchlist.services.items import close_item, raise_item, rectify_item, reopen_item, send_back_item
from tests.punchlist.making import make_alarm, make_equipment, make_item
from tests.support.world import World, make_system

pytestmark = pytest.mark.django_db


def test_items_stand_until_they_are_closed(small_world: World) -> None:
    item = make_item(small_world, equipment=make_equipment(small_world.system, "GUB10-Q1"), owes=small_world.engineer)
    system = small_world.system.pk
    (fact,) = punch_facts([system]).items[system]
    assert (fact.label, fact.category, fact.state, fact.stage_order) == ("P-1", "A", "open", 1)
    assert (fact.where, fact.owner, fact.since) == ("GUB10-Q1", "Tobin Ashgrove", item.raised_at)
    rectify_item(actor=small_world.engineer, item=item)
    assert punch_facts([system]).items[system][0].state == "rectified"
    close_item(actor=small_world.client, item=item)
    assert punch_facts([system]).items == {}
    reopen_item(actor=small_world.client, item=item, reason="Not so")
    assert punch_facts([system]).items[system][0].state == "open"


def test_a_company_owes_where_no_person_is_named(small_world: World) -> None:
    make_item(small_world, owes_company="Pellwick Electrical")
    (fact,) = punch_facts([small_world.system.pk]).items[small_world.system.pk]
    assert (fact.where, fact.owner) == ("GUB10", "Pellwick Electrical")


def test_an_alarm_keeps_its_item_also_when_that_is_closed(small_world: World) -> None:
    alarm = make_alarm(small_world.stages[0], small_world.engineer)
    item = make_item(small_world, alarm=alarm)
    rectify_item(actor=small_world.engineer, item=item)
    close_item(actor=small_world.manager, item=item)
    assert punch_facts([small_world.system.pk]).alarms_with_item == {alarm.pk}


def test_everybody_who_rectified_an_item_of_the_stage_worked_on_it(small_world: World) -> None:
    stage = small_world.stages[1]
    item = make_item(small_world, stage=stage)
    rectify_item(actor=small_world.manager, item=item)
    send_back_item(actor=small_world.client, item=item, reason="Loose")
    rectify_item(actor=small_world.engineer, item=item)
    workers = punch_facts([small_world.system.pk]).workers
    assert workers == {stage.pk: {str(small_world.manager.pk), str(small_world.engineer.pk)}}


def test_ten_systems_take_as_many_queries_as_one(
    small_world: World, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    systems = [small_world.system] + [make_system(site=small_world.site, tag=f"GUB{n}") for n in range(20, 29)]
    for system in systems:
        for category in "ABC":
            rectify_item(actor=small_world.engineer, item=make_item(small_world, system=system, category=category))
    with django_assert_num_queries(3):
        assert len(punch_facts([systems[0].pk]).items) == 1
    with django_assert_num_queries(3):
        assert len(punch_facts([system.pk for system in systems]).items) == 10


def test_the_gate_holds_a_here_and_after_b_at_handover_and_never_c(small_world: World) -> None:
    first, *_, last = small_world.stages
    for category in "ABC":
        make_item(small_world, category=category)
    facts = load_facts(system_ids=[small_world.system.pk])

    def held(stage: object) -> list[str]:
        return [b.code for b in acceptance_blockers(facts[stage.pk]) if b.link_kind == "item"]  # type: ignore[attr-defined]

    assert held(first) == ["item_a_open"]
    assert held(last) == ["item_a_open", "item_b_open"]
    assert [b.code for b in entry_blockers(facts[small_world.stages[1].pk]) if b.link_kind == "item"] == ["item_a_open"]


def test_an_alarm_with_an_item_no_longer_holds_by_itself(small_world: World) -> None:
    stage = small_world.stages[0]
    alarm = make_alarm(stage, small_world.engineer)
    assert "alarm_unexplained" in [b.code for b in acceptance_blockers(stage_facts(stage=stage))]
    raise_item(actor=small_world.engineer, system=stage.system, stage=stage, category="C", text=alarm.text, alarm=alarm)
    alarm.refresh_from_db()
    assert alarm.outcome == AlarmOutcome.GENUINE
    assert not [b for b in acceptance_blockers(stage_facts(stage=stage)) if b.link_kind == "alarm"]


def test_a_manager_who_rectified_an_item_does_not_accept_its_stage(small_world: World) -> None:
    stage = small_world.stages[0]
    rectify_item(actor=small_world.manager, item=make_item(small_world, stage=stage))
    signer = Signer(str(small_world.manager.pk), "manager")
    assert [b.code for b in signer_blockers(stage_facts(stage=stage), signer)] == ["did_the_work"]
    assert signer_blockers(stage_facts(stage=small_world.stages[1]), signer) == ()
