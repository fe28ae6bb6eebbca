"""One run of a job: take the lease, find what does the work, keep the lease alive, record how it ended."""

from __future__ import annotations

import logging
import os
import socket
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any
from uuid import uuid4

from celery.exceptions import SoftTimeLimitExceeded
from django.conf import settings
from django.db import DatabaseError, connection
from django.utils.module_loading import import_string
from django_guid import clear_guid, set_guid

from commissioning.errors import ServiceError
from commissioning.models import Job, JobState
from commissioning.services import jobs
from commissioning.services.job_queues import queue_of

log = logging.getLogger(__name__)

#: Does the work of one kind of job and answers with the result to keep. It calls `jobs.heartbeat` as it goes, writes
#: inside `jobs.writing(job)`, and may be run twice: what is there already is not made again.
Runner = Callable[[Job], "Mapping[str, Any] | None"]

FAILED = (
    "Something went wrong that the product did not foresee ({what}). Ask for it again; if it fails the same way, "
    "give whoever runs the product this job's number: {id}."
)
TOO_LONG = (
    "It worked for {minutes:g} minutes, which is as long as work of this kind may take, and was stopped. "
    "Ask for less at once, or give whoever runs the product this job's number: {id}."
)
PASSING = "Something that passes stood in the way ({what}); it is tried again by itself."


def run(job_id: Any) -> Job | None:
    """Run a job if it is free; None when another has it or it has ended."""
    job = jobs.claim(job_id, _new_holder())
    if job is None:
        return None
    if job.request_id:
        set_guid(job.request_id)  # the logs of the run name the request that asked for it
    try:
        with _kept_alive(job):
            _work(job)
    except jobs.LeaseLost:
        log.warning("Job %s went to another worker; this run stopped.", job.pk)
    except jobs.JobCancelled:
        log.info("Job %s was cancelled; this run stopped.", job.pk)
    finally:
        if job.request_id:
            clear_guid()
    return job


def _work(job: Job) -> None:
    """Call the runner; a refusal or an error becomes the job's failure, in words."""
    try:
        result = runner_for(job.kind)(job)
    except (jobs.LeaseLost, jobs.JobCancelled):
        raise
    except passing_faults() as fault:
        log.warning("Job %s is put off.", job.pk, exc_info=True)
        passing = PASSING.format(what=type(fault).__name__)
        jobs.put_off(job, fault.words if isinstance(fault, ServiceError) else passing)
    except ServiceError as refusal:
        jobs.fail(job, refusal.words)
    except SoftTimeLimitExceeded:
        log.warning("Job %s took too long and was stopped.", job.pk)
        jobs.fail(job, TOO_LONG.format(minutes=settings.JOB_SECONDS[queue_of(job.kind)] / 60, id=job.pk))
    except Exception as error:
        log.exception("Job %s failed.", job.pk)
        jobs.fail(job, FAILED.format(what=type(error).__name__, id=job.pk))
    else:
        if job.state == JobState.RUNNING:
            jobs.finish(job, result)


def passing_faults() -> tuple[type[BaseException], ...]:
    """Faults of the ground the product stands on, from the setting JOB_PASSING_FAULTS: worth another try."""
    return tuple(import_string(path) for path in settings.JOB_PASSING_FAULTS)


def runner_for(kind: str) -> Runner:
    """What does this kind of work, from the setting JOB_RUNNERS."""
    path = settings.JOB_RUNNERS.get(kind)
    if path is None:
        raise ServiceError(f"Nothing here does work of the kind '{kind}'. Name its runner in the setting JOB_RUNNERS.")
    try:
        runner: Runner = import_string(path)
    except ImportError as error:
        log.exception("The runner of %s cannot be imported.", kind)
        raise ServiceError(
            f"The program part for '{kind}' cannot be loaded ({path}). Check the installation, then ask for it again."
        ) from error
    return runner


def _new_holder() -> str:
    return f"{socket.gethostname()[:40]}:{os.getpid()}:{uuid4().hex[:12]}"


@contextmanager
def _kept_alive(job: Job) -> Iterator[None]:
    """Renew the lease beside the work, for steps that take longer than a lease.

    A killed process renews nothing, so its job goes to another after one lease. A step that hangs is not kept alive
    for ever: after JOB_SILENCE_SECONDS without progress the renewing stops.
    """
    stop = threading.Event()
    beat = threading.Thread(target=_renew_until, args=(job, stop), name=f"lease of {job.pk}", daemon=True)
    beat.start()
    try:
        yield
    finally:
        stop.set()
        beat.join()


def _renew_until(job: Job, stop: threading.Event) -> None:
    told, since = (job.words, job.done), time.monotonic()
    try:
        while not stop.wait(settings.JOB_LEASE_SECONDS / 3):
            if (job.words, job.done) != told:
                told, since = (job.words, job.done), time.monotonic()
            if time.monotonic() - since > settings.JOB_SILENCE_SECONDS:
                log.warning("Job %s has said nothing for too long; its lease runs out.", job.pk)
                return
            _renew_once(job)
    except (jobs.LeaseLost, jobs.JobCancelled):
        log.info("Job %s is no longer held by this run.", job.pk)  # the work finds out at its next heartbeat
    finally:
        connection.close()


def _renew_once(job: Job) -> None:
    try:
        jobs.renew(job)
    except DatabaseError:
        log.warning("The lease of job %s could not be renewed just now; it is tried again.", job.pk)
