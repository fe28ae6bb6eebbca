"""Where is each system, and what holds it?"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from commissioning.models import StageDependency, WitnessNotice
from commissioning.services import register_places
from commissioning.services.counters import recount
from punchlist.models import PunchItem
from punchlist.services.items import raise_item
from tests.commissioning.views.plant import (
    accepted,
    add_lines,
    add_supply,
    add_systems,
    ready_to_accept,
    record_live,
)
from tests.commissioning.views.reading import address, main_words, signed_in
from tests.support.world import World, make_project, make_system

pytestmark = pytest.mark.django_db

#: Session, person, project, membership; sites for the filter; how many, the page, the candidates; the facts; the
#: projects to change to. Raise it only with a reason.
BUDGET = 32


def _movable(said: str) -> str:
    return said.split("Every system")[0]


def _rows(world: World, query: str = "", who: str = "manager") -> str:
    said = main_words(signed_in(getattr(world, who)).get(address(world.project.code) + query))
    return said.split("turn", 1)[1] if "what holds it" in said else said


def _queries(world: World, query: str = "") -> int:
    browser = signed_in(world.manager)
    with CaptureQueriesContext(
        connection,
    ) as captured:
        assert browser.get(address(world.project.code) + query).status_code == 200
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_systems() -> None:
    few, many = make_project(), make_project()
    add_systems(few, 3)
    add_systems(many, 60)
    assert _queries(few) == _queries(many) <= BUDGET
    for show in ("move", "held", "mine", "waits", "accepted"):
        assert _queries(few, f"?show={show}") == _queries(many, f"?show={show}") <= BUDGET


def test_what_could_move_today_comes_first_with_whose_turn_it_is(small_world: World) -> None:
    ready_to_accept(small_world)
    answer = signed_in(small_world.client).get(address(small_world.project.code))
    first = _movable(main_words(answer))
    assert "Could move today" in first
    assert "GUB10 Telecom supply mechanical completion ready to accept client, manager" in first


def test_an_item_that_holds_a_finished_stage_is_named_as_its_last_step(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    raise_item(actor=small_world.client, system=stage.system, stage=stage, category="A", text="No earth bond")
    first = _movable(main_words(signed_in(small_world.engineer).get(address(small_world.project.code))))
    assert "last steps : 1 category A item field engineer" in first


def test_a_system_with_open_lines_is_in_work_and_not_in_the_first_list(small_world: World) -> None:
    add_lines(small_world.stages[0], 3, done=1, by=small_world.engineer)
    small_world.system.stages.filter(order=1).update(state="started")
    recount([small_world.system.pk])
    said = main_words(signed_in(small_world.manager).get(address(small_world.project.code)))
    assert "Could move today" not in said
    assert "started check lines done: 1/3" in said
    assert "2 check lines not done" in said


def test_live_is_said_in_the_row_in_words(small_world: World) -> None:
    record_live(add_supply(small_world.system, isolated_by=small_world.engineer), by=small_world.engineer)
    assert "GUB10 Telecom supply LIVE not started" in _rows(small_world)


def test_a_supply_of_which_nothing_is_recorded_is_not_called_isolated(small_world: World) -> None:
    add_supply(small_world.system)
    assert "GUB10 Telecom supply not recorded not started" in _rows(small_world)


def test_an_exception_on_an_accepted_stage_shows_in_its_row(small_world: World) -> None:
    stage = accepted(small_world)
    raise_item(actor=small_world.client, system=stage.system, stage=stage, category="A", text="Strap missing")
    assert "1 exception to mechanical completion" in _rows(small_world)


def test_a_dependency_on_another_system_is_named(small_world: World) -> None:
    other = make_system(site=small_world.site, tag="BAT10", name="Battery")
    StageDependency.objects.create(stage=small_world.stages[0], requires=other.stages.first())
    recount([small_world.system.pk])
    assert "waits for BAT10 mechanical completion" in _rows(small_world)
    waiting = _rows(small_world, "?show=waits")
    assert "GUB10" in waiting
    assert "BAT10 Battery" not in waiting


@pytest.mark.parametrize(
    ("query", "there", "not_there"),
    [
        ("?q=sludge", "BFA20", "GUB10"),
        ("?q=bfa20", "BFA20", "GUB10"),
        ("?kind=lv_board", "BFA20", "GUB10"),
        ("?stage=pre_energisation", "GUB10", "BFA20"),
        ("?stage=mechanical_completion", "BFA20", "GUB10"),
        ("?show=accepted", "No system fits", "GUB10"),
    ],
)
def test_the_list_is_narrowed_on_the_server(small_world: World, query: str, there: str, not_there: str) -> None:
    accepted(small_world)
    make_system(site=small_world.site, tag="BFA20", kind="lv_board", name="LV switchboard, sludge hall")
    rows = _rows(small_world, query)
    assert there in rows
    assert not_there not in rows


def test_my_turn_asks_the_gate_for_this_person(small_world: World) -> None:
    ready_to_accept(small_world)
    other = make_system(site=small_world.site, tag="BFA20", kind="lv_board", name="LV switchboard")
    add_lines(other.stages.first(), 2)
    other.stages.filter(order=1).update(state="started")
    assert "GUB10" in _rows(small_world, "?show=mine", "client")
    assert "BFA20" not in _rows(small_world, "?show=mine", "client")
    assert "BFA20" in _rows(small_world, "?show=mine", "engineer")
    assert "GUB10" not in _rows(small_world, "?show=mine", "engineer")


def test_what_only_the_gate_can_answer_is_looked_for_among_all_systems(small_world: World) -> None:
    add_systems(small_world, 6)
    ready = make_system(site=small_world.site, tag="ZZZ99", name="Board", kind="dc_board")
    ready_to_accept(small_world, ready)
    answer = signed_in(small_world.client).get(address(small_world.project.code) + "?show=mine")
    assert [row["system"].tag for row in answer.context["rows"]] == ["ZZZ99"]
    assert "1 system" in main_words(answer)


def test_a_notice_whose_time_has_not_passed_makes_it_wait(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    line = stage.lines.last()
    line.point, line.party = "witness", "client"
    line.save()
    to_come = timezone.now() + timedelta(days=2)
    WitnessNotice.objects.create(line=line, planned_for=to_come, given_by=small_world.engineer)
    recount([small_world.system.pk])
    assert "1 notice still running" in _rows(small_world, "?show=waits")
    WitnessNotice.objects.update(planned_for=timezone.now() - timedelta(days=1))
    recount([small_world.system.pk])
    assert "No system fits" in _rows(small_world, "?show=waits")


def test_pages_go_on_behind_the_last_row_with_and_without_script(small_world: World) -> None:
    for number in range(45):
        make_system(site=small_world.site, tag=f"N{number:02d}", name="Board", kind="dc_board")
    browser = signed_in(small_world.manager)
    first = browser.get(address(small_world.project.code) + "?sort=-tag")
    assert len(first.context["rows"]) == 40
    assert "46 systems" in main_words(first)
    onward = f"?sort=-tag&after={first.context['next']}"
    assert onward.replace("&", "&amp;") in first.content.decode()
    make_system(site=small_world.site, tag="N99", name="Board", kind="dc_board")  # meanwhile, before what was shown
    second = browser.get(address(small_world.project.code) + onward)
    tags = [row["system"].tag for row in (*first.context["rows"], *second.context["rows"])]
    assert tags == sorted(tags, reverse=True)
    assert len(set(tags)) == len(tags) == 46
    assert "from the first on" in main_words(second)
    scrolled = browser.get(address(small_world.project.code) + onward, headers={"HX-Request": "true"})
    assert scrolled.content.decode().count("<tr data-system") == 6
    assert "<html" not in scrolled.content.decode()


def test_many_sites_are_listed_with_what_their_systems_come_to(small_world: World) -> None:
    add_systems(small_world, 6)
    for number in range(60):
        make_site(small_world, f"S{number:03d}")
    browser, url = signed_in(small_world.manager), address(small_world.project.code)
    first = browser.get(url)
    rows = first.context["sites"]["rows"]
    assert len(rows) == 50
    kept = {row["site"].code: row["site"] for row in rows}
    mine = small_world.site.systems.all()
    assert kept["QPS"].many == mine.count()
    assert kept["QPS"].a + kept["QPS"].b + kept["QPS"].c == PunchItem.objects.filter(system__in=mine).count()
    scrolled = browser.get(f"{url}?after={first.context['sites']['next']}", headers={"HX-Request": "true"})
    assert scrolled.content.decode().count("<tr data-site") == 13
    by_items = [row["site"] for row in browser.get(url + "?sort=items").context["sites"]["rows"]]
    assert [(one.a, one.b) for one in by_items] == sorted(((one.a, one.b) for one in by_items), reverse=True)
    assert "Every system" in main_words(browser.get(url + "?list=systems"))
    assert len(browser.get(url + "?site=qps").context["rows"]) == mine.count()


def make_site(world: World, code: str) -> None:
    register_places.create_site(actor=world.manager, project=world.project, code=code, name="Booster")


def test_rows_are_sorted_by_tag_both_ways(small_world: World) -> None:
    make_system(site=small_world.site, tag="AAA10", name="Board", kind="dc_board")
    browser, url = signed_in(small_world.manager), address(small_world.project.code)
    tags = [row["system"].tag for row in browser.get(url + "?sort=tag").context["rows"]]
    assert tags == ["AAA10", "GUB10"]
    answer = browser.get(url + "?sort=-tag")
    assert [row["system"].tag for row in answer.context["rows"]] == ["GUB10", "AAA10"]
    assert 'aria-sort="descending"' in answer.content.decode()


def test_a_filter_that_cannot_be_read_is_left_out(small_world: World) -> None:
    assert "GUB10" in _rows(small_world, "?site=nonsense&show=&sort=nothing&after=none&kind=no")


def test_an_empty_project_says_how_systems_get_here(small_world: World) -> None:
    small_world.system.delete()
    said = main_words(signed_in(small_world.manager).get(address(small_world.project.code)))
    assert "The systems of this project belong here" in said


def test_the_site_page_shows_its_systems_and_notes(small_world: World) -> None:
    small_world.site.notes = "Sign in at the gate house."
    small_world.site.save()
    add_systems(small_world, 3)
    said = main_words(
        signed_in(small_world.client).get(address(small_world.project.code, "sites", small_world.site.pk))
    )
    assert "Sign in at the gate house." in said
    assert "GUB10" in said
    assert "GU000" in said
    assert "GU001" not in said  # stands at another site
