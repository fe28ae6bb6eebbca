"""Background work on its pages: how far it is, cancelled, asked for again, and where its result stands."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from commissioning.models import Job, JobState, Role, User
from commissioning.services import jobs
from commissioning.views.jobs import left_words
from tests.commissioning.views.reading import address, links, main_words, signed_in, words
from tests.support.world import World, make_member, make_project, make_user

pytestmark = pytest.mark.django_db

#: Session, person, project, membership, how many, the page, projects.
BUDGET = 9


@pytest.fixture(autouse=True)
def _no_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("celery.current_app.send_task", lambda *args, **options: None)


def _ask(world: World, by: User | None = None, key: str = "work", **state: object) -> Job:
    job = jobs.ask(
        project=world.project,
        kind="count",
        key=f"{world.project.code}-{key}",
        asked_by=by or world.engineer,
        arguments={},
    )
    if state:
        Job.objects.filter(pk=job.pk).update(**state)
        job.refresh_from_db()
    return job


def _url(world: World, job: Job, *more: str) -> str:
    return address(world.project.code, "jobs", job.pk, *more)


def test_running_work_says_how_far_it_is_and_how_long_it_takes_yet(small_world: World) -> None:
    begun = timezone.now() - timedelta(minutes=4)
    job = _ask(small_world, state=JobState.RUNNING, done=20, total=60, words="writing <b>Systems</b>", started_at=begun)
    page = signed_in(small_world.engineer).get(_url(small_world, job))
    said = main_words(page)
    assert "writing <b>Systems</b>" in said
    assert "20 of 60." in said
    assert "About 8 minutes left." in said
    assert 'hx-trigger="every 2s"' in page.content.decode()
    part = signed_in(small_world.engineer).get(_url(small_world, job) + "?part=progress")
    assert "20 of 60." in words(part)
    assert "<html" not in part.content.decode()


@pytest.mark.parametrize(
    ("seconds", "said"), [(4, "a few seconds"), (33, "30 seconds"), (150, "2 minutes"), (9000, "2.5 hours")]
)
def test_time_left_is_said_as_people_say_it(seconds: int, said: str) -> None:
    assert left_words(timedelta(seconds=seconds)) == said


def test_the_page_is_loaded_anew_when_the_work_has_ended(small_world: World) -> None:
    job = _ask(small_world, state=JobState.DONE)
    browser = signed_in(small_world.engineer)
    assert browser.get(_url(small_world, job) + "?part=progress")["HX-Refresh"] == "true"
    assert 'hx-trigger="every' not in browser.get(_url(small_world, job)).content.decode()


def test_work_is_cancelled_and_asked_for_again(small_world: World) -> None:
    job = _ask(small_world)
    browser = signed_in(small_world.engineer)
    assert "cancelled" in main_words(browser.post(_url(small_world, job, "cancel"), follow=True))
    job.refresh_from_db()
    assert job.state == JobState.CANCELLED
    assert browser.post(_url(small_world, job, "cancel")).status_code == 409
    assert "Asked again." in words(browser.post(_url(small_world, job, "again"), follow=True))
    job.refresh_from_db()
    assert job.state == JobState.WAITING


def test_failed_work_says_why_and_can_be_asked_for_again(small_world: World) -> None:
    job = _ask(small_world, state=JobState.FAILED, error="The disk is full <i>here</i>.")
    page = signed_in(small_world.engineer).get(_url(small_world, job))
    assert "The disk is full <i>here</i>." in main_words(page)
    assert "<i>here</i>" not in page.content.decode()
    assert _url(small_world, job, "again") in links(page)


def test_the_manager_sees_everybodys_work_others_their_own(small_world: World) -> None:
    own, managers = _ask(small_world), _ask(small_world, small_world.manager, "theirs")
    url = address(small_world.project.code, "jobs")
    assert {row["job"].pk for row in signed_in(small_world.manager).get(url).context["rows"]} == {own.pk, managers.pk}
    assert {row["job"].pk for row in signed_in(small_world.engineer).get(url).context["rows"]} == {own.pk}
    for person in ("client", "second_engineer"):
        browser = signed_in(getattr(small_world, person))
        assert browser.get(url).context["rows"] == []
        assert browser.get(_url(small_world, own)).status_code == 404
        assert browser.post(_url(small_world, own, "cancel")).status_code == 404
        assert browser.post(_url(small_world, own, "again")).status_code == 404
    own.refresh_from_db()
    assert own.state == JobState.WAITING


def test_a_manager_of_some_sites_sees_their_own_work_only(small_world: World) -> None:
    job = _ask(small_world)
    visitor = make_user(username="visitor", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.MANAGER, sites=[small_world.site])
    assert signed_in(visitor).get(_url(small_world, job)).status_code == 404


def test_a_stranger_finds_no_work(small_world: World) -> None:
    job = _ask(small_world)
    browser = signed_in(small_world.stranger)
    assert browser.get(address(small_world.project.code, "jobs")).status_code == 404
    assert browser.get(_url(small_world, job)).status_code == 404
    assert browser.post(_url(small_world, job, "cancel")).status_code == 404


def test_an_empty_list_says_what_belongs_there(small_world: World) -> None:
    said = main_words(signed_in(small_world.client).get(address(small_world.project.code, "jobs")))
    assert "Work that takes longer than a page waits stands here" in said


def _queries(world: World) -> int:
    browser = signed_in(world.manager)
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(address(world.project.code, "jobs")).status_code == 200
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_work() -> None:
    few, many = make_project(), make_project()
    for world, count in ((few, 5), (many, 25)):
        for number in range(count):
            _ask(world, key=f"work-{number}")
    assert _queries(few) == _queries(many) <= BUDGET
