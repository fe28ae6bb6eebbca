"""May I go on, and if not, who must do what?"""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from commissioning.models import AlarmSighting, StageDependency
from commissioning.services.lines import record_result
from commissioning.services.stages import start_stage
from commissioning.services.supplies import isolate_supply
from punchlist.services.items import raise_item
from tests.commissioning.views.plant import (
    accepted,
    add_equipment,
    add_lines,
    add_supply,
    energising,
    ready_to_accept,
    record_live,
)
from tests.commissioning.views.reading import address, links, main_words, signed_in, words
from tests.support.world import World, make_system

pytestmark = pytest.mark.django_db

BUDGET = 38


def _page(world: World, who: str = "manager", *more: str):
    return signed_in(getattr(world, who)).get(address(world.project.code, "systems", world.system.pk, *more))


def _queries(world: World) -> int:
    browser = signed_in(world.manager)
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(address(world.project.code, "systems", world.system.pk)).status_code == 200
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_system(small_world: World) -> None:
    stage = energising(small_world)
    equipment = add_equipment(small_world.system, "E0")
    few = _queries(small_world)
    for number in range(1, 20):
        add_equipment(small_world.system, f"E{number}", parent=equipment)
        add_supply(small_world.system, tag=f"S{number}", isolated_by=small_world.engineer)
        raise_item(actor=small_world.client, system=stage.system, stage=stage, category="A", text=f"Snag {number}")
        AlarmSighting.objects.create(
            system=stage.system,
            stage=stage,
            text=f"Alarm {number}",
            seen_by=small_world.engineer,
            seen_at=stage.started_at,
        )
    assert _queries(small_world) == few <= BUDGET


def test_live_comes_first_in_words(small_world: World) -> None:
    record_live(add_supply(small_world.system, isolated_by=small_world.engineer), by=small_world.engineer)
    said = words(_page(small_world))
    assert said.index("LIVE") < said.index("Telecom supply")
    assert 'class="has-live"' in _page(small_world).content.decode()


def test_isolated_is_never_called_dead(small_world: World) -> None:
    add_supply(small_world.system, isolated_by=small_world.engineer)
    said = words(_page(small_world))
    assert "recorded isolated - prove dead at the point of work" in said
    assert "LIVE" not in said.split("Telecom supply")[0]


def test_nothing_recorded_is_to_be_treated_as_live(small_world: World) -> None:
    assert "not recorded - treat as LIVE" in words(_page(small_world))


def test_a_battery_is_never_dead(small_world: World) -> None:
    add_supply(small_world.system, tag="F1", kind="battery", isolated_by=small_world.engineer)
    said = words(_page(small_world))
    assert "battery: links or fuses recorded open; its terminals stay live" in said
    assert "A battery is never dead" in said


def test_the_makers_waiting_time_is_said(small_world: World) -> None:
    small_world.system.nameplate = {"stored_charge_minutes": 12}
    small_world.system.save()
    assert "wait the maker's 12 minutes, then prove dead" in words(_page(small_world))


def test_blockers_stand_under_their_rule_with_whose_turn_it_is(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    equipment = add_equipment(small_world.system, "GUB10-T1")
    raise_item(
        actor=small_world.client,
        system=stage.system,
        stage=stage,
        category="A",
        text="Strap missing",
        equipment=equipment,
    )
    said = main_words(_page(small_world, "engineer"))
    assert "Punch items 1 P-1 category A, open: Strap missing at GUB10-T1 turn: field engineer" in said
    assert "Stage in hand: mechanical completion , 3 of 3 check lines done" in said


def test_many_open_lines_are_folded_not_hidden(small_world: World) -> None:
    add_lines(small_world.stages[0], 20)
    add_supply(small_world.system, isolated_by=small_world.engineer)
    start_stage(actor=small_world.engineer, stage=small_world.stages[0])
    said = main_words(_page(small_world))
    assert "Check lines 20" in said
    assert "14 more of 20" in said
    assert "Not done: Terminals tight, row 20." in said


def test_a_stage_that_can_start_is_started_from_here(small_world: World) -> None:
    start = address(small_world.project.code, "stages", small_world.stages[0].pk, "start")
    assert start in links(_page(small_world, "engineer"))
    assert start not in links(_page(small_world, "client"))
    answer = signed_in(small_world.engineer).post(start, follow=True)
    assert "GUB10 mechanical completion is started." in words(answer)
    assert small_world.stages[0].state == "started"


def test_a_stage_that_waits_cannot_be_started_and_says_why(small_world: World) -> None:
    start = address(small_world.project.code, "stages", small_world.stages[1].pk, "start")
    assert start not in links(_page(small_world))
    answer = signed_in(small_world.engineer).post(start)
    assert answer.status_code == 422
    assert "GUB10 mechanical completion is not accepted." in words(answer)
    assert small_world.stages[1].state == "not_started"


def test_the_client_cannot_start_a_stage(small_world: World) -> None:
    start = address(small_world.project.code, "stages", small_world.stages[0].pk, "start")
    answer = signed_in(small_world.client).post(start)
    assert answer.status_code == 403
    assert "As client you cannot start a stage" in words(answer)


def test_starting_needs_a_post(small_world: World) -> None:
    start = address(small_world.project.code, "stages", small_world.stages[0].pk, "start")
    assert signed_in(small_world.engineer).get(start).status_code == 405


def test_the_gate_is_offered_to_those_who_may_sign_it(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    accept = address(small_world.project.code, "stages", stage.pk, "accept")
    assert accept in links(_page(small_world, "client"))
    assert accept in links(_page(small_world, "manager"))
    assert accept not in links(_page(small_world, "engineer"))
    assert "Nothing holds this stage" in main_words(_page(small_world, "engineer"))


def test_a_manager_who_did_the_work_is_not_offered_the_gate(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    line = add_lines(stage, 0) or stage.lines.first()
    record_result(actor=small_world.manager, line=line, outcome="passed")
    accept = address(small_world.project.code, "stages", stage.pk, "accept")
    assert accept not in links(_page(small_world, "manager"))
    assert accept in links(_page(small_world, "client"))


def test_a_later_a_item_is_an_exception_beside_the_accepted_stage(small_world: World) -> None:
    stage = accepted(small_world)
    raise_item(actor=small_world.client, system=stage.system, stage=stage, category="A", text="Strap missing")
    said = main_words(_page(small_world))
    assert "Exception: mechanical completion is accepted, yet this would hold it now" in said
    assert "1 exception" in said


def test_what_waits_for_what_is_said_at_both_ends(small_world: World) -> None:
    other = make_system(site=small_world.site, tag="BAT10", name="Battery")
    StageDependency.objects.create(stage=small_world.stages[0], requires=other.stages.first())
    assert "mechanical completion waits for BAT10 mechanical completion : not accepted" in main_words(
        _page(small_world)
    )
    said = main_words(signed_in(small_world.manager).get(address(small_world.project.code, "systems", other.pk)))
    assert "GUB10 mechanical completion waits for mechanical completion here" in said


def test_the_nameplate_reads_in_words_with_units(small_world: World) -> None:
    small_world.system.nameplate = {"capacity_ah": 200, "colour": "grey"}
    small_world.system.save()
    said = main_words(_page(small_world))
    assert "rated capacity 200 Ah".replace(" ", "") in said.replace(" ", "").replace("\u202f", "")
    assert "colour grey" in said


def test_history_is_paged_and_leads_to_what_it_speaks_of(small_world: World) -> None:
    supply = add_supply(small_world.system)
    for number in range(55):
        isolate_supply(actor=small_world.engineer, supply=supply, lock_number=f"L-{number}")
    answer = _page(small_world, "client", "history")
    said = main_words(answer)
    assert "supply Q1 recorded isolated, lock L-54." in said
    assert "lock L-4." not in said
    entries = small_world.project.audit_entries.filter(system_id=small_world.system.pk).count()
    assert f"1 to 50 of {entries} entries" in said
    assert address(small_world.project.code, "supplies", supply.pk) in links(answer)
    browser = signed_in(small_world.client)
    second = browser.get(address(small_world.project.code, "systems", small_world.system.pk, "history") + "?page=2")
    assert "lock L-4." in main_words(second)


def test_times_are_the_sites_own(small_world: World) -> None:
    small_world.site.time_zone = "Asia/Tokyo"
    small_world.site.save()
    said = words(_page(small_world))
    assert "Times in Asia/Tokyo." in said


def test_a_zone_that_does_not_exist_hides_no_page(small_world: World) -> None:
    small_world.site.time_zone = "Nowhere/Land"
    small_world.site.save()
    assert "Times in Europe/London." in words(_page(small_world))
