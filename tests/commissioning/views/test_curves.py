"""Is the work going as planned? Gates planned, passed and forecast; punch items week by week and by age."""

from __future__ import annotations

from collections import Counter
from datetime import timedelta
from itertools import pairwise

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from commissioning.models import Role, Stage
from commissioning.selectors.access import access_by_code
from commissioning.selectors.progress import AGES, progress
from punchlist.models import PunchItem
from tests.commissioning.rules.made_up import crews
from tests.commissioning.views.reading import address, main_words, signed_in
from tests.support.history import write_history
from tests.support.world import World, make_member, make_project, make_user

pytestmark = pytest.mark.django_db
NOW = 150.0


def page_words(world: World, query: str = "") -> str:
    return main_words(signed_in(world.manager).get(address(world.project.code, "curves") + query))


def test_the_curves_are_counts_of_what_happened(small_world: World) -> None:
    ends = timezone.now()
    gates = crews(2, sites=2, systems=6)
    stages = write_history(small_world, gates, now=NOW, ends=ends)
    due, later = list(stages.values())[:2]
    Stage.objects.filter(pk=due.pk).update(planned_for=timezone.localdate(ends) - timedelta(days=3))
    Stage.objects.filter(pk=later.pk).update(planned_for=timezone.localdate(ends) + timedelta(days=300))
    PunchItem.objects.filter(state="open").update(raised_at=ends - timedelta(days=20))
    found = progress(access=access_by_code(user=small_world.manager, code=small_world.project.code), now=ends)

    assert (found.done, found.gates) == (sum(one.passed <= NOW for one in gates), len(gates) + 4)
    assert (found.planned, found.due) == (2, 1)
    for point in found.points:
        days = (point.day - found.today).days
        if point.done is not None:
            passed = [ends - timedelta(days=NOW - one.passed) for one in gates if one.passed <= NOW]
            assert point.done == sum(timezone.localdate(at) <= point.day for at in passed)
        assert (point.done is None, point.forecast is None) == (days > 0, days < 0)
    told = [point.forecast for point in found.points if point.forecast]
    assert all(low <= middle <= high for low, middle, high in told)
    assert all(before[1] <= after[1] for before, after in pairwise(told))
    assert told[-1][1] == len(gates)  # every gate of which something can be said passes in the end

    items = list(PunchItem.objects.filter(project=small_world.project))
    raised = Counter(timezone.localdate(one.raised_at).isocalendar()[:2] for one in items)
    assert raised.total() > 20
    assert [one.raised for one in found.weeks] == [raised[one.monday.isocalendar()[:2]] for one in found.weeks]
    assert {one.monday.weekday() for one in found.weeks} == {0}
    assert found.weeks[-1].open_after == sum(one.state == "open" for one in items)
    assert found.weeks[0].open_after == found.weeks[-1].open_after - sum(
        one.raised - one.closed for one in found.weeks[1:]
    )
    ages = {words: sum(counts.values()) for words, counts in found.ages}
    assert ages.pop("14 to 28 d") == found.weeks[-1].open_after > 0
    assert len(ages) == len(AGES)
    assert set(ages.values()) == {0}
    assert f"{found.done} of {found.gates} gates have passed" in page_words(small_world)


def test_without_history_plan_or_items_the_page_says_what_belongs_there(small_world: World) -> None:
    said = page_words(small_world)
    assert "No gate has passed, and none has a planned date" in said
    assert "No item is open" in said
    small_world.system.delete()
    assert "systems of this project belong here" in page_words(small_world)


def test_a_person_of_one_site_counts_its_gates_only(small_world: World) -> None:
    ends = timezone.now()
    gates = crews(2, sites=2, systems=6)
    write_history(small_world, gates, now=NOW, ends=ends)
    visitor = make_user(username="curves-of-one-site", name="Una Threlkeld")
    site = small_world.project.sites.get(code="S1")
    make_member(project=small_world.project, user=visitor, role=Role.CLIENT, sites=[site])
    found = progress(access=access_by_code(user=visitor, code=small_world.project.code), now=ends)
    assert found.gates == sum(one.site == "S1" for one in gates)
    assert found.done == sum(one.site == "S1" and one.passed <= NOW for one in gates)
    assert sum(one.raised for one in found.weeks) == PunchItem.objects.filter(system__site=site).count()


def test_queries_do_not_grow_with_the_systems() -> None:
    few, many = make_project(), make_project()
    write_history(few, crews(2, sites=2, systems=2), now=NOW, ends=timezone.now())
    write_history(many, crews(3), now=NOW, ends=timezone.now())
    counts = []
    for world in (few, many):
        browser = signed_in(world.manager)
        with CaptureQueriesContext(connection) as captured:
            assert browser.get(address(world.project.code, "curves")).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]
