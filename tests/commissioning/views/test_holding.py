"""Which few deeds let the most gates pass?"""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from commissioning.models import StageDependency
from commissioning.selectors.access import access_by_code
from commissioning.selectors.freeing import holding, if_done
from punchlist.services.items import close_item, raise_item, rectify_item
from tests.commissioning.views.plant import add_systems, ready_to_accept
from tests.commissioning.views.reading import address, main_words, signed_in
from tests.support.world import World, make_project

pytestmark = pytest.mark.django_db


def page_words(world: World, who: str = "manager", query: str = "") -> str:
    return main_words(signed_in(getattr(world, who)).get(address(world.project.code, "holding") + query))


def test_the_last_open_item_is_named_with_the_gate_it_frees_and_closing_it_frees_that_gate(small_world: World) -> None:
    stage = ready_to_accept(small_world)
    access = access_by_code(user=small_world.manager, code=small_world.project.code)
    assert [one.stage_id for one in holding(access=access).ready] == [str(stage.pk)]
    item = raise_item(
        actor=small_world.engineer,
        system=small_world.system,
        stage=stage,
        category="A",
        text="cable off a fuse detector",
        at=timezone.now(),
    )
    found = holding(access=access)
    assert found.ready == ()
    [deed] = [one for one in found.deeds if one.deed.code == "item_a_open"]
    assert [one.stage_id for one in deed.gates] == [str(stage.pk)]
    assert deed.blocker.since is not None
    if_closed = if_done(access=access, system=small_world.system.pk, kind="item", id=str(item.pk))
    assert [one.stage_id for one in if_closed.freed] == [str(stage.pk)]
    assert "cable off a fuse detector" in page_words(small_world)

    rectify_item(actor=small_world.engineer, item=item)
    close_item(actor=small_world.manager, item=item)
    assert [one.stage_id for one in holding(access=access).ready] == [str(stage.pk)]


def test_a_gate_of_another_system_that_waits_is_not_ready(small_world: World) -> None:
    [other] = add_systems(small_world, 1)
    stage = ready_to_accept(small_world)
    waiting = other.stages.order_by("order").first()
    StageDependency.objects.create(stage=stage, requires=waiting)
    access = access_by_code(user=small_world.manager, code=small_world.project.code)
    assert holding(access=access).ready == ()


def test_a_project_without_systems_says_what_belongs_here() -> None:
    world = make_project()
    world.system.delete()
    assert "belong here" in page_words(world)


def test_queries_do_not_grow_with_the_systems() -> None:
    few, many = make_project(), make_project()
    add_systems(few, 2)
    add_systems(many, 30)
    counts = []
    for world in (few, many):
        browser = signed_in(world.manager)
        with CaptureQueriesContext(connection) as captured:
            assert browser.get(address(world.project.code, "holding")).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]
