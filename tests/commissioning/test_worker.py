"""Real Celery workers: a job survives the worker that had it, on the embedded broker and on Redis."""

from __future__ import annotations

import os
import signal
from pathlib import Path

from django.conf import settings
from django.db import connection

from commissioning.models import Job, JobState
from commissioning.services import jobs
from tests.support.product import worker
from tests.support.programs import wait_until
from tests.support.world import make_project


def ask_to_count(folder: Path, *, to: int, pause: float) -> Job:
    world = make_project()
    arguments = {"to": to, "pause": pause, "log": str(folder / "steps")}
    return jobs.ask(project=world.project, kind="count", key="count", asked_by=world.manager, arguments=arguments)


def state_of(job: Job) -> str:
    job.refresh_from_db()
    return job.state


def kill_with_children(pid: int) -> None:
    """As a power cut would: no worker process gets to say anything more."""
    os.killpg(pid, signal.SIGKILL)


def test_a_worker_takes_a_job_and_finishes_it(worker_folder):
    job = ask_to_count(worker_folder, to=5, pause=0)
    with worker(worker_folder):
        wait_until(lambda: state_of(job) == JobState.DONE, what="the job to be done")
    assert job.result["sum"] == 15
    assert job.result["by"] != os.getpid()


def test_a_job_survives_the_kill_of_its_worker_in_the_middle(worker_folder):
    job = ask_to_count(worker_folder, to=20, pause=0.1)
    with worker(worker_folder, TRACKER_JOB_LEASE_SECONDS="2") as pid:
        wait_until(lambda: state_of(job) == JobState.RUNNING and job.done >= 3, what="the job to be under way")
        kill_with_children(pid)
    assert state_of(job) == JobState.RUNNING  # nobody was left to say otherwise
    with worker(worker_folder, TRACKER_JOB_LEASE_SECONDS="2"):
        wait_until(lambda: jobs.sweep() + 1 and state_of(job) == JobState.DONE, what="another worker to finish it")
    assert (job.attempts, job.result["sum"]) == (2, 210)
    runs = {line.split()[1] for line in (worker_folder / "steps").read_text().splitlines()}
    assert runs == {"1", "2"}


def test_a_worker_hears_of_a_cancelled_job_and_stops(worker_folder):
    job = ask_to_count(worker_folder, to=2000, pause=0.05)
    with worker(worker_folder):
        wait_until(lambda: state_of(job) == JobState.RUNNING and job.done >= 2, what="the job to be under way")
        jobs.cancel(job=job, actor=job.asked_by)
        steps = worker_folder / "steps"
        reached = len(steps.read_text().splitlines())
        other = jobs.ask(
            project=job.project,
            kind="count",
            key="after it",
            asked_by=job.asked_by,
            arguments={"to": 1, "pause": 0, "log": str(worker_folder / "other")},
        )
        wait_until(lambda: state_of(other) == JobState.DONE, what="the one worker to be free for other work")
    assert len(steps.read_text().splitlines()) <= reached + 5
    assert state_of(job) == JobState.CANCELLED


def test_a_long_silent_step_keeps_its_lease_though_another_worker_is_free(worker_folder):
    job = ask_to_count(worker_folder, to=1, pause=12)
    lease = {"TRACKER_JOB_LEASE_SECONDS": "5"}
    with worker(worker_folder, **lease), worker(worker_folder, **lease):
        wait_until(lambda: jobs.sweep() + 1 and state_of(job) == JobState.DONE, what="the job to be done")
    assert job.attempts == 1


def test_the_tests_run_on_the_database_and_broker_that_are_named():
    """The build server runs all this once more on PostgreSQL and Redis; this tells that it really did."""
    assert connection.vendor == ("postgresql" if os.environ.get("DATABASE_URL") else "sqlite")
    broker = os.environ.get("REDIS_URL") or "filesystem://"
    assert broker == settings.CELERY_BROKER_URL
