"""Raising, changing and stepping punch items: what each comes to, and who is refused."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed, Refused
from commissioning.models import AlarmOutcome, AuditEntry, Role, Site, StageState
from commissioning.services.audit import first_broken_link
from punchlist.models import ItemState, PunchItem
from punchlist.services.items import (
    change_item,
    close_item,
    raise_item,
    rectify_item,
    reopen_item,
    send_back_item,
)
from tests.punchlist.making import make_alarm, make_equipment, make_item, make_line
from tests.support.world import World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db


def codes(refused: pytest.ExceptionInfo[Refused]) -> list[str]:
    return [blocker.code for blocker in refused.value.blockers]


# raising


def test_items_are_numbered_per_project_in_the_order_they_come(small_world: World) -> None:
    other = make_project()
    assert [make_item(small_world).number for _ in range(3)] == [1, 2, 3]
    assert make_item(other).number == 1


@pytest.mark.parametrize("who", ["manager", "engineer", "client"])
def test_every_role_may_raise_an_item(small_world: World, who: str) -> None:
    item = make_item(small_world, actor=getattr(small_world, who))
    assert (item.state, item.steps.get().step) == (ItemState.OPEN, "raised")


def test_a_stranger_cannot_raise_one(small_world: World) -> None:
    with pytest.raises(NotAllowed):
        make_item(small_world, actor=small_world.stranger)


def test_a_member_of_another_site_cannot_raise_one(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VEX", name="Vexley Outfall")
    somebody = make_user(username="elsewhere", name="Orla Fenwick")
    make_member(project=small_world.project, user=somebody, role=Role.FIELD_ENGINEER, sites=[elsewhere])
    with pytest.raises(NotAllowed):
        make_item(small_world, actor=somebody)


def test_sent_twice_with_one_id_it_is_there_once(small_world: World) -> None:
    key = uuid4()
    first, second = make_item(small_world, id=key), make_item(small_world, id=key)
    assert (first.pk, second.number, PunchItem.objects.count()) == (key, first.number, 1)
    assert first.steps.count() == 1


def test_a_late_second_send_is_known_although_the_item_was_changed_since(small_world: World) -> None:
    key = uuid4()
    item = make_item(small_world, id=key, category="B")
    change_item(actor=small_world.engineer, item=item, category="A", text="Gland plate open, two glands missing")
    again = make_item(small_world, id=key, category="B")
    assert (again.pk, again.category) == (key, "A")


def test_one_id_with_other_content_is_a_conflict(small_world: World) -> None:
    key = uuid4()
    make_item(small_world, id=key)
    with pytest.raises(Conflict):
        make_item(small_world, id=key, text="Something else")
    with pytest.raises(Conflict):
        make_item(make_project(), id=key)


@pytest.mark.parametrize(
    ("fields", "where"), [({"text": "  \n "}, "text"), ({"text": "a\x00b"}, "text"), ({"category": "D"}, "category")]
)
def test_what_cannot_be_kept_is_named_by_its_field(small_world: World, fields: dict[str, str], where: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        make_item(small_world, **fields)
    assert list(refused.value.fields) == [where]
    small_world.project.refresh_from_db()
    assert small_world.project.punch_count == 0


def test_place_has_to_belong_together(small_world: World) -> None:
    other = make_system(site=small_world.site, tag="GUB20")
    strange = {
        "stage": other.stages.first(),
        "equipment": make_equipment(other, "GUB20-Q1"),
        "line": make_line(other.stages.get(order=1)),
        "alarm": make_alarm(other.stages.get(order=1), small_world.engineer),
    }
    for name, value in strange.items():
        with pytest.raises(InvalidInput) as refused:
            make_item(small_world, **{name: value})
        assert name in refused.value.fields


def test_who_owes_it_is_a_member_who_sees_the_site(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VEX", name="Vexley Outfall")
    somebody = make_user(username="elsewhere", name="Orla Fenwick")
    make_member(project=small_world.project, user=somebody, role=Role.FIELD_ENGINEER, sites=[elsewhere])
    for owes in (small_world.stranger, somebody):
        with pytest.raises(InvalidInput) as refused:
            make_item(small_world, owes=owes)
        assert list(refused.value.fields) == ["owes"]
    assert make_item(small_world, owes=small_world.second_engineer).owes == small_world.second_engineer


def test_an_a_item_against_an_accepted_stage_is_taken(small_world: World) -> None:
    stage = small_world.stages[0]
    stage.state = StageState.ACCEPTED
    stage.save()
    assert make_item(small_world, stage=stage).category == "A"


def test_an_item_from_an_undecided_alarm_decides_it_genuine(small_world: World) -> None:
    alarm = make_alarm(small_world.stages[2], small_world.engineer)
    item = make_item(small_world, stage=alarm.stage, alarm=alarm)
    alarm.refresh_from_db()
    assert (alarm.outcome, alarm.explanation) == (AlarmOutcome.GENUINE, f"Punch item {item.label}.")


def test_an_alarm_that_was_decided_keeps_its_decision(small_world: World) -> None:
    alarm = make_alarm(small_world.stages[2], small_world.engineer)
    alarm.outcome, alarm.explanation = AlarmOutcome.EXPLAINED, "Test lead left on"
    alarm.save()
    make_item(small_world, stage=alarm.stage, alarm=alarm)
    alarm.refresh_from_db()
    assert alarm.outcome == AlarmOutcome.EXPLAINED


def test_a_clock_that_runs_ahead_is_taken_back_to_ours(small_world: World) -> None:
    ahead = timezone.now() + timedelta(days=400)
    assert make_item(small_world, at=ahead).raised_at <= timezone.now()
    earlier = timezone.now() - timedelta(hours=5)
    assert make_item(small_world, at=earlier).raised_at == earlier


# steps


def test_open_rectified_closed_by_two_people(small_world: World) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.engineer, item=item, remark="Plate fitted")
    closed = close_item(actor=small_world.manager, item=item)
    assert (closed.state, closed.closed_by, closed.rectified_by) == (
        ItemState.CLOSED,
        small_world.manager,
        small_world.engineer,
    )
    assert [(step.step, step.by) for step in item.steps.all()] == [
        ("raised", small_world.engineer),
        ("rectified", small_world.engineer),
        ("closed", small_world.manager),
    ]


def test_a_client_may_close(small_world: World) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.engineer, item=item)
    assert close_item(actor=small_world.client, item=item).state == ItemState.CLOSED


def test_a_field_engineer_cannot_close_or_send_back(small_world: World) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.engineer, item=item)
    with pytest.raises(NotAllowed):
        close_item(actor=small_world.second_engineer, item=item)
    with pytest.raises(NotAllowed):
        send_back_item(actor=small_world.second_engineer, item=item, reason="Not straight")
    item.refresh_from_db()
    assert item.state == ItemState.RECTIFIED


def test_whoever_rectified_it_does_not_close_it(small_world: World) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.manager, item=item)
    with pytest.raises(Refused) as refused:
        close_item(actor=small_world.manager, item=item)
    (blocker,) = refused.value.blockers
    assert (blocker.rule, blocker.code) == (11, "rectified_it")


def test_rectifying_reopening_and_rectifying_again_does_not_shed_the_first_rectifier(small_world: World) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.manager, item=item)
    send_back_item(actor=small_world.client, item=item, reason="Loose")
    rectify_item(actor=small_world.engineer, item=item)
    with pytest.raises(Refused) as refused:
        close_item(actor=small_world.manager, item=item)
    assert codes(refused) == ["rectified_it"]


def test_sent_back_needs_a_reason_and_has_to_be_rectified_again(small_world: World) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.engineer, item=item)
    with pytest.raises(InvalidInput) as invalid:
        send_back_item(actor=small_world.client, item=item, reason="  ")
    assert list(invalid.value.fields) == ["reason"]
    back = send_back_item(actor=small_world.client, item=item, reason="One gland still missing")
    assert (back.state, back.rectified_by, back.rectified_at) == (ItemState.SENT_BACK, None, None)
    with pytest.raises(Refused) as refused:
        close_item(actor=small_world.client, item=item)
    assert codes(refused) == ["item_is_sent_back"]
    assert rectify_item(actor=small_world.engineer, item=item).state == ItemState.RECTIFIED


def test_reopened_with_a_reason_it_is_open_again(small_world: World) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.engineer, item=item)
    close_item(actor=small_world.manager, item=item)
    opened = reopen_item(actor=small_world.second_engineer, item=item, reason="The plate fell off")
    assert (opened.state, opened.closed_by, opened.closed_at) == (ItemState.OPEN, None, None)
    assert item.steps.last().remark == "The plate fell off"


def test_a_stranger_cannot_take_any_step(small_world: World) -> None:
    item = make_item(small_world)
    with pytest.raises(NotAllowed):
        rectify_item(actor=small_world.stranger, item=item)


def test_a_step_sent_twice_is_taken_once(small_world: World) -> None:
    item, key = make_item(small_world), uuid4()
    rectify_item(actor=small_world.engineer, item=item, id=key)
    rectify_item(actor=small_world.engineer, item=item, id=key)
    assert item.steps.filter(step="rectified").count() == 1


def test_closing_a_closed_item_is_refused_with_its_state(small_world: World) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.engineer, item=item)
    close_item(actor=small_world.manager, item=item)
    with pytest.raises(Refused) as refused:
        close_item(actor=small_world.client, item=item)
    assert codes(refused) == ["item_is_closed"]


# changing


def test_a_change_keeps_what_stood_before(small_world: World) -> None:
    item = make_item(small_world, category="B")
    tag = make_equipment(small_world.system, "GUB10-Q1")
    change_item(
        actor=small_world.engineer,
        item=item,
        category="A",
        equipment=tag,
        owes=small_world.manager,
        due_on=date(2026, 4, 1),
    )
    assert item.steps.last().changes == {
        "category": ["B", "A"],
        "tag": ["", "GUB10-Q1"],
        "owes": ["", "Isolde Marrack"],
        "due_on": ["", "2026-04-01"],
    }


def test_a_change_of_nothing_leaves_no_step(small_world: World) -> None:
    item = make_item(small_world)
    change_item(actor=small_world.engineer, item=item, text=item.text, category="A")
    assert item.steps.count() == 1


def test_lowering_is_a_managers_decision_with_a_reason(small_world: World) -> None:
    item = make_item(small_world)
    with pytest.raises(Refused) as refused:
        change_item(actor=small_world.engineer, item=item, category="B", reason="It can wait")
    assert codes(refused) == ["lowering_needs_manager"]
    with pytest.raises(Refused) as refused:
        change_item(actor=small_world.manager, item=item, category="B")
    assert codes(refused) == ["lowering_needs_reason"]
    lowered = change_item(actor=small_world.manager, item=item, category="B", reason="Agreed on site")
    assert (lowered.category, item.steps.last().remark) == ("B", "Agreed on site")


def test_owner_can_be_taken_off(small_world: World) -> None:
    item = make_item(small_world, owes=small_world.engineer)
    assert change_item(actor=small_world.manager, item=item, owes=None).owes is None


def test_a_client_changes_only_what_they_raised(small_world: World) -> None:
    with pytest.raises(Refused) as refused:
        change_item(actor=small_world.client, item=make_item(small_world), text="Other words")
    assert codes(refused) == ["raised_by_another"]
    own = make_item(small_world, actor=small_world.client)
    assert change_item(actor=small_world.client, item=own, text="Other words").text == "Other words"


# the record


def test_every_change_is_one_entry_of_an_unbroken_chain(small_world: World) -> None:
    item = make_item(small_world)
    change_item(actor=small_world.engineer, item=item, text="Gland plate open")
    rectify_item(actor=small_world.engineer, item=item)
    close_item(actor=small_world.client, item=item)
    entries = AuditEntry.objects.filter(object_id=str(item.pk)).order_by("sequence")
    assert [entry.action for entry in entries] == [
        "punch_item_raised",
        "punch_item_changed",
        "punch_item_rectified",
        "punch_item_closed",
    ]
    assert {entry.system_id for entry in entries} == {small_world.system.pk}
    assert first_broken_link(small_world.project) is None


def test_a_refused_step_leaves_no_trace(small_world: World) -> None:
    item = make_item(small_world)
    before = AuditEntry.objects.count(), item.steps.count()
    with pytest.raises(Refused):
        close_item(actor=small_world.manager, item=item)
    assert (AuditEntry.objects.count(), item.steps.count()) == before


def test_text_stays_text(small_world: World) -> None:
    words = '<img src=x onerror="alert(1)"> & "quotes"'
    item = raise_item(
        actor=small_world.engineer,
        system=small_world.system,
        stage=small_world.stages[0],
        category="C",
        text=f"  {words}\r\n",
    )
    assert item.text == words
