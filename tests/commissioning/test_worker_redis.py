"""A real worker on Redis, also when the rest of the tests run on the embedded broker."""

from __future__ import annotations

import os
import signal
from uuid import uuid4

from celery import Celery

from commissioning.models import JobState
from commissioning.services import jobs
from tests.support.product import worker
from tests.support.programs import wait_until
from tests.support.world import make_project

#: A queue of this run only, on a Redis that others may use as well.
QUEUE = f"tests-on-redis-{uuid4().hex}"


def test_a_job_survives_the_kill_of_its_worker_on_redis(worker_folder, redis_url, monkeypatch):
    bell = Celery("bell", broker=redis_url, set_as_current=False)
    bell.conf.task_default_queue = QUEUE
    monkeypatch.setattr("celery.current_app.send_task", bell.send_task)
    env = {"REDIS_URL": redis_url, "TRACKER_TEST_QUEUE": QUEUE, "TRACKER_JOB_LEASE_SECONDS": "2"}
    world = make_project()
    arguments = {"to": 20, "pause": 0.1, "log": str(worker_folder / "steps")}
    job = jobs.ask(project=world.project, kind="count", key="redis", asked_by=world.manager, arguments=arguments)

    def state() -> str:
        job.refresh_from_db()
        return job.state

    with worker(worker_folder, **env) as pid:
        wait_until(lambda: state() == JobState.RUNNING and job.done >= 3, what="the job to be under way")
        os.killpg(pid, signal.SIGKILL)
    with worker(worker_folder, **env):
        wait_until(lambda: jobs.sweep() + 1 and state() == JobState.DONE, what="another worker to finish it")
    assert (job.attempts, job.result["sum"]) == (2, 210)
