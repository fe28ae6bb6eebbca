"""Due, overdue, overdue for too long: who is told, on which day, and that it happens once."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from django.conf import settings

from commissioning.models import AuditEntry, DoneToday, Notice, Role, Site, User
from commissioning.services.notices import choose
from commissioning.services.projects import change_settings
from punchlist.services.items import close_item, rectify_item
from punchlist.services.overdue import tell_overdue
from tests.punchlist.making import make_item
from tests.punchlist.test_services_races import together
from tests.support.world import World, make_member, make_project, make_system, make_user

DAY = date(2031, 3, 10)  # a Monday on which Europe/London keeps UTC
#: After the hour at which people are told.
MORNING = datetime(2031, 3, 10, 7, 0, tzinfo=UTC)


def told(person: User) -> list[str]:
    return list(Notice.objects.filter(membership__user=person).order_by("pk").values_list("words", flat=True))


def due(world: World, days: int, **fields: object) -> int:
    """An item due so many days after DAY, that somebody owes who did not raise it."""
    item = make_item(world, due_on=DAY + timedelta(days=days), owes=world.engineer, **fields)
    return item.number


def later(days: int) -> datetime:
    return MORNING + timedelta(days=days)


@pytest.mark.django_db
def test_the_day_before_and_the_day_after_and_never_again(small_world: World) -> None:
    due(small_world, 1)
    for day in range(6):
        tell_overdue(later(day))
    assert told(small_world.engineer) == ["P-1 is due tomorrow.", "P-1 is overdue."]


@pytest.mark.django_db
def test_nobody_is_told_before_the_morning_of_the_projects_own_day(small_world: World) -> None:
    world = small_world
    # 19:00 UTC on the 9th is 06:00 on the 10th at UTC+11 (Pacific/Noumea has no summer time; tz database).
    change_settings(actor=world.manager, project=world.project, changes={"time_zone": "Pacific/Noumea"})
    due(world, -1)
    tell_overdue(datetime(2031, 3, 9, 18, 59, tzinfo=UTC))
    assert told(world.engineer) == []
    tell_overdue(datetime(2031, 3, 9, 19, 0, tzinfo=UTC))
    assert told(world.engineer) == ["P-1 is overdue."]


@pytest.mark.django_db
def test_days_on_which_nobody_rang_are_made_up_for(small_world: World) -> None:
    tell_overdue(MORNING)
    due(small_world, 1)
    due(small_world, 2)
    tell_overdue(later(7))
    assert told(small_world.engineer) == ["P-1 and P-2 are overdue."]


@pytest.mark.django_db
def test_managers_hear_after_the_days_that_the_project_sets_of_their_own_sites(small_world: World) -> None:
    world = small_world
    elsewhere = Site.objects.create(project=world.project, code="VOF", name="Vexley Outfall")
    there = make_system(site=elsewhere, tag="GUC10")
    far = make_user(username="far", name="Una Threlkeld")
    make_member(project=world.project, user=far, role=Role.MANAGER, sites=[elsewhere])
    change_settings(actor=world.manager, project=world.project, changes={"escalate_after_days": 3})
    due(world, -1)
    due(world, 0, system=there)
    heard = {}
    for day in range(8):
        tell_overdue(later(day))
        heard[day] = (len(told(world.manager)), len(told(far)))
    # P-1 is 3 days overdue on day 2 and for more than 3 on day 3; P-2 a day later.
    assert heard == {0: (0, 0), 1: (0, 0), 2: (0, 0), 3: (1, 0), 4: (2, 1), 5: (2, 1), 6: (2, 1), 7: (2, 1)}
    assert told(far) == ["P-2 overdue for more than 3 days."]
    assert AuditEntry.objects.filter(action="punch_items_escalated").count() == 2


@pytest.mark.django_db
def test_a_project_that_sets_no_days_escalates_nothing(small_world: World) -> None:
    due(small_world, -100)
    tell_overdue(MORNING)
    assert told(small_world.manager) == []


@pytest.mark.django_db
def test_what_is_closed_or_switched_off_is_not_told(small_world: World) -> None:
    world = small_world
    item = make_item(world, due_on=DAY - timedelta(days=1), owes=world.engineer)
    rectify_item(actor=world.engineer, item=item)
    close_item(actor=world.manager, item=item)
    due(world, -1)
    choose(membership=world.project.memberships.get(user=world.engineer), wanted={"gate"})
    tell_overdue(MORNING)
    assert told(world.engineer) == []


@pytest.mark.django_db(transaction=True)
def test_two_schedulers_at_the_same_moment_tell_once() -> None:
    world = make_project()
    change_settings(actor=world.manager, project=world.project, changes={"escalate_after_days": 3})
    due(world, -10)
    assert together(lambda: tell_overdue(MORNING), lambda: tell_overdue(MORNING)) == []
    assert told(world.engineer) == ["P-1 is overdue."]
    assert told(world.manager) == ["P-1 overdue for more than 3 days."]
    assert DoneToday.objects.filter(project=world.project).count() == 1
    assert AuditEntry.objects.filter(project=world.project, action="punch_items_escalated").count() == 1


def test_the_schedule_rings_for_it_and_a_worker_knows_it() -> None:
    from deploy.celery import app

    app.loader.import_default_modules()
    tasks = {entry["task"] for entry in settings.CELERY_BEAT_SCHEDULE.values()}
    assert "punchlist.tasks.tell_overdue" in tasks
    assert tasks <= set(app.tasks)
