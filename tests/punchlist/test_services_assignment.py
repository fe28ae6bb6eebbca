"""Who owes many items at once: all or none, in a fixed number of queries, and taken back."""

from __future__ import annotations

from datetime import date
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from commissioning.errors import Conflict, InvalidInput, NotAllowed, Refused
from commissioning.models import AuditEntry, Role, Site
from punchlist.models import PunchItem
from punchlist.services.items import (
    assign_items,
    change_item,
    close_item,
    last_assignment,
    rectify_item,
    undo_assignment,
)
from tests.punchlist.making import make_item
from tests.support.world import World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db


def owners(items: list[PunchItem]) -> list[object]:
    return list(
        PunchItem.objects.filter(pk__in=[i.pk for i in items]).order_by("number").values_list("owes", flat=True)
    )


def test_items_are_assigned_together_and_the_history_says_so(small_world: World) -> None:
    items = [make_item(small_world) for _ in range(3)]
    done = assign_items(
        actor=small_world.manager,
        project=small_world.project,
        items=[item.pk for item in items],
        owes=small_world.engineer,
        due_on=date(2026, 5, 1),
    )
    assert done.numbers == (1, 2, 3)
    assert owners(items) == [small_world.engineer.pk] * 3
    step = items[0].steps.last()
    assert step.step == "assigned"
    assert step.changes["before"] == {"owes_id": None, "due_on": ""}
    assert step.changes["after"] == {"owes_id": small_world.engineer.pk, "due_on": "2026-05-01"}
    assert AuditEntry.objects.filter(action="punch_items_assigned").count() == 1


def test_five_items_and_fifty_take_the_same_number_of_queries(small_world: World) -> None:
    counts = []
    for number in (5, 50):
        items = [make_item(small_world).pk for _ in range(number)]
        with CaptureQueriesContext(
            connection,
        ) as queries:
            assign_items(actor=small_world.manager, project=small_world.project, items=items, owes=small_world.engineer)
        with CaptureQueriesContext(connection) as undoing:
            batch = last_assignment(actor=small_world.manager, project=small_world.project)
            assert batch
            undo_assignment(actor=small_world.manager, project=small_world.project, batch=batch.batch)
        counts.append((len(queries), len(undoing)))
    assert counts[0] == counts[1]
    assert counts[0][0] <= 14


def test_one_closed_item_refuses_all(small_world: World) -> None:
    items = [make_item(small_world) for _ in range(2)]
    rectify_item(actor=small_world.engineer, item=items[1])
    close_item(actor=small_world.client, item=items[1])
    with pytest.raises(Refused) as refused:
        assign_items(
            actor=small_world.manager,
            project=small_world.project,
            items=[item.pk for item in items],
            owes=small_world.engineer,
        )
    assert [(b.code, b.link_id) for b in refused.value.blockers] == [("item_is_closed", str(items[1].pk))]
    assert owners(items) == [None, None]


def test_items_of_another_project_are_not_found(small_world: World) -> None:
    foreign = make_item(make_project())
    with pytest.raises(InvalidInput):
        assign_items(
            actor=small_world.manager, project=small_world.project, items=[foreign.pk], owes=small_world.engineer
        )


def test_items_at_a_site_that_the_person_does_not_see_are_refused(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VEX", name="Vexley Outfall")
    somebody = make_user(username="elsewhere", name="Orla Fenwick")
    make_member(project=small_world.project, user=somebody, role=Role.MANAGER, sites=[elsewhere])
    with pytest.raises(NotAllowed):
        assign_items(
            actor=somebody, project=small_world.project, items=[make_item(small_world).pk], owes_company="Pellwick"
        )


@pytest.mark.parametrize("who", ["client", "stranger"])
def test_client_and_stranger_do_not_assign(small_world: World, who: str) -> None:
    with pytest.raises(NotAllowed):
        assign_items(
            actor=getattr(small_world, who),
            project=small_world.project,
            items=[make_item(small_world).pk],
            owes=small_world.engineer,
        )


def test_nothing_chosen_and_nothing_to_set_are_named(small_world: World) -> None:
    with pytest.raises(InvalidInput) as refused:
        assign_items(actor=small_world.manager, project=small_world.project, items=[], owes=None)
    assert list(refused.value.fields) == ["items"]
    with pytest.raises(InvalidInput) as refused:
        assign_items(actor=small_world.manager, project=small_world.project, items=[make_item(small_world).pk])
    assert list(refused.value.fields) == ["owes"]


def test_sent_twice_it_is_done_once(small_world: World) -> None:
    item, key = make_item(small_world), uuid4()
    for _ in range(2):
        done = assign_items(
            actor=small_world.manager, project=small_world.project, items=[item.pk], owes=small_world.engineer, id=key
        )
    assert (done.batch, done.numbers) == (key, (1,))
    assert item.steps.filter(step="assigned").count() == 1


def test_taken_back_each_item_has_what_it_had(small_world: World) -> None:
    items = [make_item(small_world, owes=owes) for owes in (small_world.manager, None, small_world.second_engineer)]
    before = owners(items)
    done = assign_items(
        actor=small_world.manager,
        project=small_world.project,
        items=[item.pk for item in items],
        owes=small_world.engineer,
        due_on=date(2026, 5, 1),
    )
    undo_assignment(actor=small_world.manager, project=small_world.project, batch=done.batch)
    assert owners(items) == before
    assert not PunchItem.objects.filter(due_on__isnull=False).exists()
    assert last_assignment(actor=small_world.manager, project=small_world.project) is None


def test_an_item_changed_since_keeps_what_it_has_now(small_world: World) -> None:
    items = [make_item(small_world) for _ in range(2)]
    done = assign_items(
        actor=small_world.manager,
        project=small_world.project,
        items=[item.pk for item in items],
        owes=small_world.engineer,
    )
    change_item(actor=small_world.engineer, item=items[0], owes=small_world.second_engineer)
    undone = undo_assignment(actor=small_world.manager, project=small_world.project, batch=done.batch)
    assert undone.numbers == (2,)
    assert owners(items) == [small_world.second_engineer.pk, None]


def test_nothing_left_to_take_back_is_a_conflict(small_world: World) -> None:
    item = make_item(small_world)
    done = assign_items(
        actor=small_world.manager, project=small_world.project, items=[item.pk], owes=small_world.engineer
    )
    change_item(actor=small_world.engineer, item=item, owes=None)
    with pytest.raises(Conflict):
        undo_assignment(actor=small_world.manager, project=small_world.project, batch=done.batch)


def test_somebody_elses_assignment_is_not_taken_back(small_world: World) -> None:
    done = assign_items(
        actor=small_world.manager,
        project=small_world.project,
        items=[make_item(small_world).pk],
        owes=small_world.engineer,
    )
    with pytest.raises(NotAllowed):
        undo_assignment(actor=small_world.engineer, project=small_world.project, batch=done.batch)


def test_items_of_many_systems_are_assigned_in_one_step(small_world: World) -> None:
    other = make_system(site=small_world.site, tag="GUB20")
    items = [make_item(small_world), make_item(small_world, system=other)]
    assign_items(
        actor=small_world.engineer,
        project=small_world.project,
        items=[item.pk for item in items],
        owes_company="Pellwick Electrical",
    )
    assert AuditEntry.objects.get(action="punch_items_assigned").system_id is None
    assert set(PunchItem.objects.values_list("owes_company", flat=True)) == {"Pellwick Electrical"}
