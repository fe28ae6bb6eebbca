"""The list: what it finds, in what order, and in a fixed number of queries."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.http import Http404, QueryDict
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from commissioning.models import Role, Site
from commissioning.selectors.access import Access, access_or_404
from punchlist.selectors.filters import ItemFilter
from punchlist.selectors.items import counts_for, item_or_404, items_for, rows_for, steps_open_to
from punchlist.services.items import close_item, rectify_item
from punchlist.services.photos import add_photo
from tests.punchlist.making import make_equipment, make_item, picture
from tests.support.world import World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db


def access(world: World, who: str = "engineer") -> Access:
    return access_or_404(user=getattr(world, who), project=world.project)


def found(world: World, query: str = "", who: str = "engineer", **more: Any) -> list[int]:
    standing = access(world, who)
    filtered = ItemFilter(QueryDict(query), rows_for(standing), access=standing, **more)
    assert filtered.is_valid(), filtered.errors
    return [item.number for item in filtered.qs]


def close(world: World, item: Any) -> None:
    rectify_item(actor=world.engineer, item=item)
    close_item(actor=world.manager, item=item)


def test_first_come_mine_then_category_a_then_the_oldest(small_world: World) -> None:
    now = timezone.now()
    make_item(small_world, category="B", at=now - timedelta(days=9))
    make_item(small_world, category="A", at=now - timedelta(days=1))
    make_item(small_world, category="A", at=now - timedelta(days=5))
    make_item(small_world, category="C", owes=small_world.engineer)
    make_item(small_world, category="B", owes=small_world.engineer)
    assert found(small_world) == [5, 4, 3, 2, 1]


def test_an_item_that_i_rectified_no_longer_stands_first(small_world: World) -> None:
    mine = make_item(small_world, category="C", owes=small_world.engineer)
    make_item(small_world, category="A")
    rectify_item(actor=small_world.engineer, item=mine)
    assert found(small_world) == [2, 1]


def test_closed_items_are_shown_when_asked_for(small_world: World) -> None:
    close(small_world, make_item(small_world))
    make_item(small_world)
    assert found(small_world) == [2]
    assert found(small_world, "state=closed") == [1]
    assert found(small_world, "state=any&sort=number") == [1, 2]
    assert found(small_world, "sort=number", everything=True) == [1, 2]


def test_each_filter_finds_what_it_names(small_world: World) -> None:
    vexley = Site.objects.create(project=small_world.project, code="VEX", name="Vexley Outfall")
    other = make_system(site=vexley, tag="GUB20")
    make_item(small_world, category="B", equipment=make_equipment(small_world.system, "GUB10-Q1"))
    make_item(small_world, system=other, stage=other.stages.get(order=2), owes=small_world.manager)
    make_item(small_world, due_on=timezone.localdate() - timedelta(days=1), owes_company="Pellwick Electrical")
    make_item(small_world, due_on=timezone.localdate(), text="Torque mark MISSING on busbar", owes=small_world.engineer)
    wanted = {
        "category=B": [1],
        "category=A&category=B": [1, 2, 3, 4],
        "site=vex": [2],
        "system=gub20": [2],
        f"system={other.pk}": [2],
        f"site={vexley.pk}": [2],
        "stage=pre_energisation": [2],
        "tag=q1": [1],
        "tag=gub20": [2],
        "mine=true": [4],
        f"owes={small_world.manager.pk}": [2],
        "owes=pellwick+electrical": [3],
        "owes=nobody": [1],
        "overdue=true": [3],
        "q=torque+missing": [4],
        "q=P-3": [3],
        "q=2": [2],
        "q=no+such+words": [],
        "state=rectified": [],
    }
    assert {query: found(small_world, f"{query}&sort=number") for query in wanted} == wanted


def test_a_filter_that_makes_no_sense_is_named(small_world: World) -> None:
    standing = access(small_world)
    asked = ItemFilter(QueryDict("category=Z&stage=later&sort=colour"), rows_for(standing), access=standing)
    assert not asked.is_valid()
    assert set(asked.errors) == {"category", "stage", "sort"}


def test_every_column_sorts_both_ways_with_empty_ones_last(small_world: World) -> None:
    make_item(small_world, due_on=timezone.localdate(), category="C")
    make_item(small_world)
    make_item(small_world, due_on=timezone.localdate() - timedelta(days=1), category="B")
    assert found(small_world, "sort=due") == [3, 1, 2]
    assert found(small_world, "sort=-due") == [1, 3, 2]
    assert found(small_world, "sort=category") == [2, 3, 1]
    assert found(small_world, "sort=-number") == [3, 2, 1]


def test_a_member_of_one_site_sees_that_site_only(small_world: World) -> None:
    vexley = Site.objects.create(project=small_world.project, code="VEX", name="Vexley Outfall")
    make_item(small_world)
    make_item(small_world, system=make_system(site=vexley, tag="GUB20"))
    somebody = make_user(username="elsewhere", name="Orla Fenwick")
    make_member(project=small_world.project, user=somebody, role=Role.CLIENT, sites=[vexley])
    standing = access_or_404(user=somebody, project=small_world.project)
    assert [item.number for item in items_for(standing)] == [2]
    assert counts_for(standing)["standing"] == 1
    with pytest.raises(Http404):
        item_or_404(standing, number=1)


def test_another_projects_items_are_not_found(small_world: World) -> None:
    make_item(make_project())
    with pytest.raises(Http404):
        item_or_404(access(small_world), number=1)


def test_counts_tell_mine_from_everybodys(small_world: World) -> None:
    make_item(small_world, owes=small_world.engineer)
    make_item(small_world, category="B", due_on=timezone.localdate() - timedelta(days=1))
    rectify_item(actor=small_world.engineer, item=make_item(small_world, category="C", owes=small_world.engineer))
    close(small_world, make_item(small_world))
    counts = counts_for(access(small_world))
    assert counts == {
        "a": 1, "b": 1, "c": 1, "mine_a": 1, "mine_b": 0, "mine_c": 0,
        "mine": 1, "rectified": 1, "overdue": 1, "standing": 3,
    }  # fmt: skip


@pytest.mark.parametrize("number", [5, 50])
def test_the_list_takes_one_query_however_long(
    small_world: World, django_assert_num_queries: DjangoAssertNumQueries, number: int
) -> None:
    for place in range(number):
        item = make_item(small_world, equipment=make_equipment(small_world.system, f"GUB10-Q{place}"))
        add_photo(actor=small_world.engineer, item=item, file=picture())
    standing = access(small_world)
    with django_assert_num_queries(1):
        rows = list(ItemFilter(QueryDict(""), rows_for(standing), access=standing).qs)
        shown = {(r.system.site.code, r.stage.kind, r.equipment.tag[:7], str(r.owes), r.photo_count) for r in rows}
    assert shown == {("QPS", "mechanical_completion", "GUB10-Q", "None", 1)}
    assert len(rows) == number


def test_an_item_offers_each_person_their_steps_without_a_query(
    small_world: World, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.manager, item=item)
    people = {who: access(small_world, who) for who in ("manager", "engineer", "client")}
    loaded = item_or_404(people["manager"], number=1)
    with django_assert_num_queries(0):
        offered = {who: [step.name for step in steps_open_to(person, loaded)] for who, person in people.items()}
    assert offered == {"manager": ["sent_back"], "engineer": [], "client": ["closed", "sent_back"]}
