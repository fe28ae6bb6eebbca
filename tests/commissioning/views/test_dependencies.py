"""Which stage waits for a stage of another system, and what if an item closes?"""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from commissioning.models import Role, Site, StageDependency, StageState, System
from commissioning.selectors.access import access_by_code
from commissioning.selectors.dependencies import dependencies, waiting
from commissioning.selectors.freeing import if_done
from punchlist.models import PunchItem
from punchlist.services.items import close_item, raise_item, rectify_item
from tests.commissioning.views.plant import add_systems, ready_to_accept
from tests.commissioning.views.reading import main_words, signed_in
from tests.support.world import World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db


def elsewhere(world: World) -> System:
    site = Site.objects.create(project=world.project, code="VOF", name="Vexley Outfall")
    return make_system(site=site, tag="GUC10")


def page_words(world: World, name: str, *keys: object, who: object = None) -> str:
    return main_words(signed_in(who or world.manager).get(reverse(name, args=[world.project.code, *keys])))


def snag(world: World, *, category: str = "A") -> PunchItem:
    stage = world.stages[0]
    return raise_item(
        actor=world.engineer, system=world.system, stage=stage, category=category, text="cable off", at=timezone.now()
    )


def test_closing_an_item_frees_its_gate_and_one_of_another_site_that_waits_for_it(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    other = elsewhere(small_world)
    waits = ready_to_accept(small_world, other)
    StageDependency.objects.create(stage=waits, requires=stage)
    item = snag(small_world)
    said = page_words(small_world, "punch-if-closed", item.number)
    assert "2 gates pass" in said
    assert said.index("GUB10 mechanical completion") < said.index("GUC10 mechanical completion")
    later = small_world.stages[1:]
    found = if_done(
        access=access_by_code(user=small_world.manager, code=small_world.project.code),
        system=small_world.system.pk,
        kind="item",
        id=str(item.pk),
    )
    assert [one.stage_id for one in found.freed] == [str(stage.pk), str(waits.pk)]
    # An A item holds the later stages of its system as well; they have work of their own left.
    assert [one.stage_id for one, _, _ in found.still_held] == [str(one.pk) for one in later]
    assert all(left > 0 for _, left, _ in found.still_held)

    visitor = make_user(username="if-closed-here", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.CLIENT, sites=[small_world.site])
    of_one = page_words(small_world, "punch-if-closed", item.number, who=visitor)
    assert "2 gates pass" in of_one
    assert "1 of them is at other sites" in of_one
    assert "GUC10" not in of_one

    rectify_item(actor=small_world.engineer, item=item)
    close_item(actor=small_world.manager, item=item)
    assert "holds no gate any more" in page_words(small_world, "punch-if-closed", item.number)


def test_an_item_that_holds_nothing_and_one_that_is_not_the_last_free_no_gate(small_world: World) -> None:
    ready_to_accept(small_world)
    carried = snag(small_world, category="C")
    assert "It holds no gate" in page_words(small_world, "punch-if-closed", carried.number)
    first, second = snag(small_world), snag(small_world)
    said = page_words(small_world, "punch-if-closed", first.number)
    assert "No gate passes by that alone" in said
    assert second.label not in said


def test_what_holds_stands_first_and_an_unseen_site_is_not_named(small_world: World) -> None:
    other = elsewhere(small_world)
    mine, theirs = small_world.stages, list(other.stages.order_by("order"))
    StageDependency.objects.create(stage=mine[0], requires=theirs[0])
    StageDependency.objects.create(stage=mine[2], requires=theirs[1])
    theirs[0].state = StageState.ACCEPTED
    theirs[0].save()
    access = access_by_code(user=small_world.manager, code=small_world.project.code)
    rows = waiting(dependencies(access=access), access=access)
    assert [(one.stage.stage, one.holds) for one in rows] == [(mine[2].pk, True), (mine[0].pk, False)]
    said = page_words(small_world, "dependencies")
    assert "waits still" in said
    assert "has passed" in said

    visitor = make_user(username="waits-here", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.CLIENT, sites=[small_world.site])
    of_one = page_words(small_world, "dependencies", who=visitor)
    assert "a stage of another site" in of_one
    assert "GUC10" not in of_one
    assert "VOF" not in of_one


def test_queries_do_not_grow_with_the_dependencies() -> None:
    few, many = make_project(), make_project()
    counts = []
    for world, number in ((few, 2), (many, 12)):
        systems = [world.system, *add_systems(world, number)]
        for system in systems[1:]:
            StageDependency.objects.create(stage=system.stages.last(), requires=world.stages[0])
        item = snag(world)
        browser = signed_in(world.manager)
        for name, keys in (("dependencies", ()), ("punch-if-closed", (item.number,))):
            with CaptureQueriesContext(connection) as captured:
                assert browser.get(reverse(name, args=[world.project.code, *keys])).status_code == 200
            counts.append(len(captured))
    assert counts[:2] == counts[2:]


def test_without_dependencies_the_page_says_what_belongs_there(small_world: World) -> None:
    assert "belong here" in page_words(small_world, "dependencies")
