"""Queues, back-pressure, time limits and faults that pass: no job blocks another, none is lost or runs for ever."""

from __future__ import annotations

from datetime import timedelta
from unittest import mock

import pytest
from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings as given
from django.db import OperationalError
from django.test import Client
from django.utils import timezone

from commissioning.errors import Busy, NotAllowed
from commissioning.models import AuditEntry, Job, JobState
from commissioning.services import job_runs, jobs
from tests.support.world import World, make_project, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def bell(monkeypatch, django_capture_on_commit_callbacks):
    """What the broker was told: task and job."""
    rung: list[tuple[str, str]] = []
    monkeypatch.setattr("celery.current_app.send_task", lambda name, args, **more: rung.append((name, args[0])))
    return rung


def ask(world: World, key: str, *, kind: str = "count", by: object = None) -> Job:
    return jobs.ask(project=world.project, kind=kind, key=key, asked_by=by or world.manager, arguments={})


def run(job: Job, runner: object) -> Job:
    with mock.patch("tests.support.runners.count", runner):
        job_runs.run(job.pk)
    job.refresh_from_db()
    return job


def falls(fault: BaseException):
    def runner(job: Job) -> None:
        raise fault

    return runner


def test_long_work_has_a_queue_of_its_own(small_world, bell, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        ask(small_world, "a")
        ask(small_world, "b", kind="dossier")
    assert [name for name, _ in bell] == ["commissioning.tasks.run_job", "commissioning.tasks.run_long_job"]
    assert set(given.LONG_JOBS) <= set(given.JOB_RUNNERS)


def test_every_queue_has_a_limit_that_is_shorter_than_the_brokers_patience():
    for task in ("run_job", "run_long_job"):
        limits = given.CELERY_TASK_ANNOTATIONS[f"commissioning.tasks.{task}"]
        assert limits["soft_time_limit"] < limits["time_limit"]
    longest = given.CELERY_TASK_ANNOTATIONS["commissioning.tasks.run_long_job"]["time_limit"]
    assert given.CELERY_BROKER_TRANSPORT_OPTIONS.get("visibility_timeout", longest + 1) > longest


def test_one_project_cannot_fill_the_queue_and_hears_what_to_do(small_world, settings):
    settings.JOBS_OF_A_PROJECT, settings.JOBS_OF_A_PERSON = 2, 99
    first = ask(small_world, "1")
    ask(small_world, "2", by=small_world.engineer)
    with pytest.raises(Busy) as refused:
        ask(small_world, "3")
    assert "2 pieces of background work" in refused.value.words
    assert "cancel what is not needed" in refused.value.words
    assert (Job.objects.count(), AuditEntry.objects.filter(action="job_asked").count()) == (2, 2)
    assert ask(small_world, "1") == first, "a repeat of what waits already is no new work"
    other = make_project()
    ask(other, "of another project")
    jobs.cancel(job=first, actor=small_world.manager)
    assert ask(small_world, "3").state == JobState.WAITING


def test_one_person_cannot_fill_the_queue_of_a_project(small_world, settings):
    settings.JOBS_OF_A_PROJECT, settings.JOBS_OF_A_PERSON = 99, 1
    ask(small_world, "1")
    with pytest.raises(Busy):
        ask(small_world, "2")
    ask(small_world, "3", by=small_world.engineer)


def test_the_page_and_the_api_say_that_too_much_waits(small_world, settings):
    settings.JOBS_OF_A_PROJECT = 1
    ask(small_world, "1")
    browser = Client()
    browser.force_login(small_world.manager)
    code = small_world.project.code
    answer = browser.post(
        f"/api/v1/projects/{code}/verification-runs/", {"reason": "new limit"}, content_type="application/json"
    )
    assert (answer.status_code, answer.json()["type"], answer["Retry-After"]) == (429, "/problems/busy", "60")
    page = browser.post(f"/p/{code}/verification/", {"reason": "new limit"})
    assert "pieces of background work waiting or running already" in page.content.decode()


def test_a_run_that_takes_too_long_has_failed_in_words(small_world):
    job = run(ask(small_world, "slow"), falls(SoftTimeLimitExceeded()))
    assert job.state == JobState.FAILED
    assert "5 minutes" in job.error
    assert str(job.pk) in job.error


@pytest.mark.parametrize("fault", [OperationalError("gone"), ConnectionResetError("gone"), TimeoutError("gone")])
def test_a_fault_that_passes_puts_the_job_off_and_the_next_run_does_it(small_world, settings, fault):
    job = run(ask(small_world, "again"), falls(fault))
    assert (job.state, job.attempts, job.error) == (JobState.WAITING, 1, "")
    assert "tried again by itself" in job.words
    wait = job.lease_until - timezone.now()
    assert timedelta(0) < wait <= timedelta(seconds=settings.JOB_PUT_OFF_SECONDS)
    job = run(job, lambda job: {"done": 1})
    assert (job.state, job.attempts, job.result) == (JobState.DONE, 2, {"done": 1})


def test_a_fault_that_does_not_pass_is_put_off_longer_each_time_and_fails_in_the_end(small_world, settings, bell):
    job, waits = ask(small_world, "never"), []
    for _ in range(settings.JOB_ATTEMPTS - 1):
        job = run(job, falls(OperationalError("gone")))
        waits.append((job.lease_until - timezone.now()).total_seconds())
    assert [round(wait / settings.JOB_PUT_OFF_SECONDS) for wait in waits] == [1, 2, 4, 8]
    job = run(job, falls(OperationalError("gone")))
    assert (job.state, job.attempts) == (JobState.FAILED, settings.JOB_ATTEMPTS)


def test_a_job_that_was_put_off_is_rung_for_when_its_time_has_come_and_not_before(small_world, bell):
    job = run(ask(small_world, "later"), falls(OperationalError("gone")))
    bell.clear()
    jobs.sweep()
    assert bell == []
    Job.objects.filter(pk=job.pk).update(lease_until=timezone.now() - timedelta(seconds=1))
    jobs.sweep()
    assert bell == [("commissioning.tasks.run_job", str(job.pk))]


def test_a_mistake_of_ours_is_not_tried_again(small_world):
    job = run(ask(small_world, "mistake"), falls(ValueError("ours")))
    assert (job.state, job.attempts) == (JobState.FAILED, 1)


def test_whoever_runs_the_product_restarts_dead_work_and_nobody_else_outside_the_project_does(small_world):
    job = run(ask(small_world, "dead"), falls(ValueError("ours")))
    operator = make_user(username="operator", name="Maud Ferrars")
    with pytest.raises(NotAllowed):
        jobs.ask_again(job=job, actor=operator)
    operator.is_superuser = True
    assert jobs.ask_again(job=job, actor=operator).state == JobState.WAITING
    assert AuditEntry.objects.filter(action="job_asked_again", actor=operator).exists()
