"""When will each gate pass, and how much later than planned?"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from commissioning.models import Role
from commissioning.rules.pace import FEWEST
from commissioning.selectors.access import access_by_code
from commissioning.selectors.forecast import when
from commissioning.services.stages import plan_stage
from tests.commissioning.rules.made_up import as_known, crews
from tests.commissioning.views.plant import add_systems
from tests.commissioning.views.reading import address, main_words, signed_in
from tests.support.history import write_history
from tests.support.world import World, make_member, make_project, make_user

pytestmark = pytest.mark.django_db


def page_words(world: World, query: str = "") -> str:
    return main_words(signed_in(world.manager).get(address(world.project.code, "when") + query))


def test_what_is_read_from_the_tables_is_what_happened_and_gives_the_dates(small_world: World) -> None:
    """The facts that the selector reads agree with those known of the made-up project, gate by gate."""
    gates, now = crews(2, sites=2, systems=6), 150.0
    ends = timezone.now()
    stages = write_history(small_world, gates, now=now, ends=ends)
    history, left, _ = as_known(gates, now)
    found = when(access=access_by_code(user=small_world.manager, code=small_world.project.code), now=ends)
    rates = found.rates
    assert rates is not None
    assert found.passed == rates.gates == sum(one.passed for one in history) >= FEWEST
    assert (rates.lines, rates.raised) == (sum(one.lines for one in history), sum(one.raised for one in history))
    shown = {str(one.stage): one for one in found.gates}
    for gate in left:
        one = shown[str(stages[gate.id].pk)]
        assert (one.lines, one.dates != ()) == (gate.lines, True), gate.id
    # An A item holds the gate in which it was raised and those after it.
    assert all(shown[str(stages[gate.id].pk)].items >= gate.items for gate in left)
    assert found.all_passed[1] >= max(one.dates[0] for one in found.gates if one.dates)

    late = max((one for one in found.gates if one.dates), key=lambda one: one.dates[0])
    stage = next(one for one in stages.values() if one.pk == late.stage)
    plan_stage(actor=small_world.manager, stage=stage, planned_for=late.dates[0] - timedelta(days=11))
    said = page_words(small_world, "?sort=slip")
    assert "+11 d" in said
    assert late.words in said
    assert "A forecast is no promise" in said


def test_too_little_history_is_said_and_planned_dates_are_shown(small_world: World) -> None:
    stage = small_world.stages[0]
    plan_stage(actor=small_world.manager, stage=stage, planned_for=timezone.localdate())
    said = page_words(small_world)
    assert f"{FEWEST} more have to pass" in said
    assert timezone.localdate().isoformat() in said
    assert "No check lines are laid out" not in said


def test_a_person_of_one_site_sees_its_gates_only_with_the_dates_that_everybody_sees(small_world: World) -> None:
    ends = timezone.now()
    write_history(small_world, crews(2, sites=2, systems=6), now=150.0, ends=ends)
    sites = {site.code: site for site in small_world.project.sites.all()}
    visitor = make_user(username="of-one-site", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.CLIENT, sites=[sites["S1"]])
    of_all, of_one = (
        when(access=access_by_code(user=user, code=small_world.project.code), now=ends)
        for user in (small_world.manager, visitor)
    )
    assert {one.site for one in of_one.gates} == {"S1"}
    assert set(of_one.gates) == {one for one in of_all.gates if one.site == "S1"}


def test_queries_do_not_grow_with_the_systems() -> None:
    few, many = make_project(), make_project()
    write_history(few, crews(2, sites=2, systems=2), now=150.0, ends=timezone.now())
    write_history(many, crews(3), now=150.0, ends=timezone.now())
    add_systems(many, 9)
    counts = []
    for world in (few, many):
        browser = signed_in(world.manager)
        with CaptureQueriesContext(connection) as captured:
            assert browser.get(address(world.project.code, "when")).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_a_project_without_systems_says_what_belongs_here() -> None:
    world = make_project()
    world.system.delete()
    assert "belong here" in page_words(world)
