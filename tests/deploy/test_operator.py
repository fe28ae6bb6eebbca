"""The operator's page and command: what waits, what failed, what is missing; dead work is started again."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from commissioning.models import AuditEntry, Job, JobState, User
from commissioning.services import jobs
from deploy.operations import page as operator_page
from deploy.operations import seen
from tests.support.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def quiet(monkeypatch):
    """No broker; and readiness, which looks from threads of its own, is tested where the database is real."""
    monkeypatch.setattr("celery.current_app.send_task", lambda *args, **more: None)

    class Well:
        def ask(self) -> dict[str, bool]:
            return {"database": True, "migrations": True, "broker": False, "files": True}

    monkeypatch.setattr(operator_page, "prober", Well)


@pytest.fixture
def operator(small_world: World) -> User:
    small_world.stranger.is_superuser = True
    small_world.stranger.save()
    return small_world.stranger


@pytest.fixture
def browser(operator: User) -> Client:
    found = Client()
    found.force_login(operator)
    return found


def a_job(world: World, key: str, **fields: object) -> Job:
    job = jobs.ask(project=world.project, kind="dossier", key=key, asked_by=world.manager, arguments={})
    Job.objects.filter(pk=job.pk).update(**fields)
    job.refresh_from_db()
    return job


def failed(world: World, key: str = "dead") -> Job:
    return a_job(world, key, state=JobState.FAILED, error="The disk was full.", finished_at=timezone.now())


def text(browser: Client) -> str:
    answer = browser.get("/operator/")
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def test_it_shows_what_waits_what_failed_and_why_and_what_nobody_takes(small_world, browser):
    job = failed(small_world)
    a_job(small_world, "old", asked_at=timezone.now() - timedelta(hours=3))
    a_job(
        small_world,
        "silent",
        state=JobState.RUNNING,
        started_at=timezone.now(),
        lease_until=timezone.now() - timedelta(1),
    )
    said = text(browser)
    for words in ("The disk was full.", str(job.pk), "3 hours", "its worker is silent", "There is no backup yet."):
        assert words in said, words
    assert "No worker takes long work" in said
    assert "No worker and no scheduler" in said
    assert "the log says why" in said, "the broker does not answer"


def test_a_well_product_asks_for_nothing(small_world, browser, settings):
    seen.note("worker", "one:1", facts={"queues": [one.name for one in settings.CELERY_TASK_QUEUES], "version": "1"})
    seen.note("scheduler", "one:2", facts={"version": "1"})
    seen.note("backup", facts={"name": "tracker-1", "files": 12345, "bytes": 1 << 20, "missing": 0})
    said = text(browser)
    assert "Nothing has failed." in said
    assert "tracker-1" in said
    assert "12,345 files" in said
    for words in ("No worker", "no backup", "older than", "were not in the store"):
        assert words not in said, words


def test_an_old_backup_a_silent_worker_and_missing_files_are_said(browser):
    seen.note("worker", "gone:1", at=timezone.now() - timedelta(hours=1), facts={"queues": [], "version": "1"})
    facts = {"name": "b", "files": 1, "bytes": 1, "missing": 3}
    seen.note("backup", at=timezone.now() - timedelta(days=2), facts=facts)
    said = text(browser)
    assert "older than 26 hours" in said
    assert "3 files that the record names" in said
    assert "1 hour ago" in said


def test_dead_work_is_started_again_and_work_in_hand_is_stopped(small_world, browser, operator):
    job = failed(small_world)
    browser.post(f"/operator/jobs/{job.pk}/again/")
    job.refresh_from_db()
    assert (job.state, job.attempts) == (JobState.WAITING, 0)
    browser.post(f"/operator/jobs/{job.pk}/stop/")
    job.refresh_from_db()
    assert job.state == JobState.CANCELLED
    said = AuditEntry.objects.filter(actor=operator, object_id=str(job.pk)).order_by("sequence")
    assert [entry.action for entry in said] == ["job_asked_again", "job_cancelled"]
    answer = browser.post(f"/operator/jobs/{job.pk}/stop/", follow=True)
    assert "It has ended already" in answer.content.decode()


def test_nobody_else_sees_or_restarts_anything(small_world):
    job = failed(small_world)
    for person in (small_world.manager, small_world.engineer, small_world.client):
        browser = Client()
        browser.force_login(person)
        assert browser.get("/operator/").status_code == 403
        assert browser.post(f"/operator/jobs/{job.pk}/again/").status_code == 403
    job.refresh_from_db()
    assert job.state == JobState.FAILED


def command(**options: object) -> str:
    out = StringIO()
    call_command("jobs", stdout=out, **options)
    return out.getvalue()


def test_the_command_lists_restarts_and_stops(small_world, operator):
    one, two = failed(small_world, "one"), failed(small_world, "two")
    listed = command()
    assert listed.count("The disk was full.") == 2
    assert f"{one.pk}  failed   long  {small_world.project.code}  dossier" in listed
    assert "is in the queue again" in command(again=["failed"])
    assert set(Job.objects.values_list("state", flat=True)) == {JobState.WAITING}
    assert "is cancelled" in command(stop=[str(two.pk)])
    with pytest.raises(CommandError, match="has ended already"):
        command(stop=[str(two.pk)])
    with pytest.raises(CommandError, match="no background work"):
        command(again=["nonsense"])


def test_the_command_needs_an_operator_to_act_for(small_world):
    failed(small_world)
    with pytest.raises(CommandError, match="createsuperuser"):
        command(again=["failed"])


def test_a_process_says_that_it_is_at_work_and_is_forgotten_when_it_ends(transactional_db):
    beating = seen.Beating("worker", "here:1", {"queues": ["short"]})
    beating.start()
    for _ in range(200):
        if seen.seen("worker"):
            break
        beating._thread.join(0.05)
    assert [one.place for one in seen.seen("worker")] == ["here:1"]
    beating.stop()
    assert seen.seen("worker") == []


def test_what_has_been_gone_for_long_is_forgotten_and_backups_are_not():
    long_ago = timezone.now() - timedelta(days=9)
    for part in ("worker", "scheduler", "ready", "backup"):
        seen.note(part, "x", at=long_ago)
    seen.note("worker", "y")
    assert seen.forget() == 3
    assert [one.part for one in seen.LastSeen.objects.all()] == ["backup", "worker"]
