"""Background work: who asked for what, who has it now, and how far it is.

The row in the database is the truth. The broker only rings a bell: a message that is lost, late or delivered twice
changes nothing, because a run begins by taking the job's lease and writes only while it holds it.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any

from celery import current_app
from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.utils import timezone
from django_guid import get_guid

from commissioning.errors import Busy, Conflict
from commissioning.models import Job, JobState, Project, User
from commissioning.services import audit
from commissioning.services.job_queues import RUN_TASKS, queue_of
from commissioning.services.permissions import EVERYONE, MANAGERS, require

log = logging.getLogger(__name__)

BUSY = (
    "{whose} {count} pieces of background work waiting or running already, and {limit} are taken on at once. "
    "Wait until some have ended, or cancel what is not needed, then ask again."
)
GIVEN_UP = (
    "It was started {attempts} times and stopped each time without a word, so it is not started again by itself. "
    "Look into the worker's log for the reason (often too little memory), then ask for it again."
)


class LeaseLost(Exception):
    """Another worker has the job now: stop, and write nothing."""


class JobCancelled(Exception):
    """Somebody cancelled the job: stop, and write nothing."""


def ask(*, project: Project, kind: str, key: str, asked_by: User, arguments: Mapping[str, Any]) -> Job:
    """The job of this key, put in the queue when the transaction commits; asked twice, there is still one.

    What a role may ask for is decided by the service that asks; here a stranger to the project is refused.
    """
    require(actor=asked_by, project=project, roles=EVERYONE, site=None, to="ask for background work")
    with transaction.atomic():
        job, made = Job.objects.get_or_create(
            key=key,
            defaults={
                "project": project,
                "kind": kind,
                "asked_by": asked_by,
                "arguments": dict(arguments),
                "lease_until": _lease_end(),
                "request_id": (get_guid() or "")[:40],
            },
        )
        if (job.project_id, job.kind) != (project.pk, kind):
            raise Conflict("This key belongs to other work already. Ask again with a key of its own.")
        if made:
            _refuse_too_many(job)
            _note(job, actor=asked_by, action="job_asked", words=f"Asked for background work: {kind}")
            _ring_on_commit(job)
    return job


def claim(job_id: Any, holder: str) -> Job | None:
    """Take the lease: one conditional UPDATE, so of two workers one gets the job and the other None."""
    now = timezone.now()
    free = Q(state=JobState.WAITING) | Q(state=JobState.RUNNING, lease_until__lt=now)
    taken = Job.objects.filter(free, pk=job_id, attempts__lt=settings.JOB_ATTEMPTS).update(
        state=JobState.RUNNING,
        lease_holder=holder,
        lease_until=_lease_end(now),
        attempts=F("attempts") + 1,
        started_at=now,
        words="",
        done=0,
        total=0,
        error="",
    )
    return Job.objects.select_related("project", "asked_by").get(pk=job_id) if taken else None


def heartbeat(job: Job, words: str, done: int, total: int) -> None:
    """Say how far it is and renew the lease. Raises LeaseLost or JobCancelled when the run has to stop."""
    words = words[:200]
    _update_held(job, words=words, done=done, total=total, lease_until=_lease_end())
    job.words, job.done, job.total = words, done, total


def renew(job: Job) -> None:
    """Renew the lease of a run that works on one long step and has nothing new to say."""
    _update_held(job, lease_until=_lease_end())


@contextmanager
def writing(job: Job) -> Iterator[None]:
    """A transaction for what a run writes. It holds the job's row, so nobody else can take the job meanwhile;

    where the lease is lost or the job cancelled it raises before anything is written.
    """
    with transaction.atomic():
        _update_held(job, lease_until=_lease_end())
        yield


def finish(job: Job, result: Mapping[str, Any] | None = None) -> None:
    """The work is done; `result` says what came of it. Belongs in the transaction of the last write."""
    with transaction.atomic():
        _update_held(
            job,
            state=JobState.DONE,
            result=dict(result or {}),
            finished_at=timezone.now(),
            lease_until=None,
            error="",
        )
        job.state = JobState.DONE
        _note(job, actor=None, action="job_done", words=f"Background work done: {job.kind}")


def fail(job: Job, words: str) -> None:
    """The work cannot be done; `words` say why and what to do next."""
    with transaction.atomic():
        _update_held(job, state=JobState.FAILED, error=words, finished_at=timezone.now(), lease_until=None)
        job.state = JobState.FAILED
        job.error = words
        _note(job, actor=None, action="job_failed", words=f"Background work failed: {job.kind}", error=words)


def put_off(job: Job, words: str) -> None:
    """What went wrong passes: the job waits, longer each time, and is run again. The last time it has failed."""
    if job.attempts >= settings.JOB_ATTEMPTS:
        fail(job, words)
        return
    wait = timedelta(seconds=settings.JOB_PUT_OFF_SECONDS * 2 ** (job.attempts - 1))
    _update_held(job, state=JobState.WAITING, lease_holder="", lease_until=timezone.now() + wait, words=words[:200])
    job.state = JobState.WAITING


def cancel(*, job: Job, actor: User) -> Job:
    """Stop a job that is waiting or running: a run stops at its next heartbeat and writes nothing more."""
    _require_own(job=job, actor=actor, to="cancel work that somebody else asked for")
    with transaction.atomic():
        unfinished = Job.objects.filter(pk=job.pk, state__in=[JobState.WAITING, JobState.RUNNING])
        if not unfinished.update(state=JobState.CANCELLED, finished_at=timezone.now(), lease_until=None):
            raise Conflict("It has ended already, so there is nothing left to cancel. Reload to see its result.")
        _note(job, actor=actor, action="job_cancelled", words=f"Background work cancelled: {job.kind}")
    job.refresh_from_db()
    return job


def ask_again(*, job: Job, actor: User) -> Job:
    """Put a failed or cancelled job back in the queue, with its attempts counted anew."""
    _require_own(job=job, actor=actor, to="restart work that somebody else asked for")
    with transaction.atomic():
        ended = Job.objects.filter(pk=job.pk, state__in=[JobState.FAILED, JobState.CANCELLED])
        if not ended.update(
            state=JobState.WAITING,
            attempts=0,
            error="",
            words="",
            done=0,
            total=0,
            started_at=None,
            finished_at=None,
            lease_holder="",
            lease_until=_lease_end(),
        ):
            raise Conflict("Only work that failed or was cancelled can be asked for again. Reload to see its state.")
        _note(job, actor=actor, action="job_asked_again", words=f"Asked again for background work: {job.kind}")
        _ring_on_commit(job)
    job.refresh_from_db()
    return job


def sweep(*, everything_waiting: bool = False) -> int:
    """Ring again for runs that fell silent and for waiting jobs that nobody took; how many were rung for.

    On a waiting job `lease_until` is how long its last bell is trusted, so a long queue is rung for once per lease,
    not once per sweep. `everything_waiting` rings for all of it: the broker was emptied.
    """
    now = timezone.now()
    _give_up(now)
    unheard = Q(lease_until__isnull=True) | Q(lease_until__lt=now)
    waiting = Q(state=JobState.WAITING) if everything_waiting else Q(state=JobState.WAITING) & unheard
    rung = 0
    for job in Job.objects.filter(waiting | Q(state=JobState.RUNNING, lease_until__lt=now)).order_by("asked_at"):
        if job.state == JobState.WAITING:
            Job.objects.filter(pk=job.pk, state=JobState.WAITING).update(lease_until=_lease_end(now))
        rung += _ring(job)
    return rung


def time_left(job: Job, now: datetime | None = None) -> timedelta | None:
    """An estimate from the pace so far; None while there is no pace to go by."""
    if job.state != JobState.RUNNING or not job.started_at or not 0 < job.done <= job.total:
        return None
    elapsed = (now or timezone.now()) - job.started_at
    return elapsed * (job.total - job.done) / job.done


def _give_up(now: datetime) -> None:
    silent = Q(state=JobState.RUNNING, lease_until__lt=now, attempts__gte=settings.JOB_ATTEMPTS)
    for job in Job.objects.filter(silent):
        words = GIVEN_UP.format(attempts=job.attempts)
        with transaction.atomic():
            if Job.objects.filter(silent, pk=job.pk).update(
                state=JobState.FAILED, error=words, finished_at=now, lease_until=None
            ):
                _note(
                    job,
                    actor=None,
                    action="job_failed",
                    words=f"Background work failed: {job.kind}",
                    error=words,
                )


def _update_held(job: Job, **fields: Any) -> None:
    """Change the row only while this run holds it; otherwise say why the run has to stop."""
    held = Job.objects.filter(pk=job.pk, state=JobState.RUNNING, lease_holder=job.lease_holder)
    if held.update(**fields):
        return
    state = Job.objects.filter(pk=job.pk).values_list("state", flat=True).first()
    if state == JobState.CANCELLED:
        raise JobCancelled("The job was cancelled.")
    raise LeaseLost("Another worker has the job now.")


def _require_own(*, job: Job, actor: User, to: str) -> None:
    if actor.is_superuser and actor.is_active:
        return  # whoever runs the product looks after everybody's background work
    roles = EVERYONE if job.asked_by_id == actor.pk else MANAGERS
    require(actor=actor, project=job.project_id, roles=roles, site=None, to=to)


def _refuse_too_many(job: Job) -> None:
    """Back-pressure: one project or one person cannot fill the queue for everybody. `job` itself is counted."""
    unfinished = Job.objects.filter(state__in=[JobState.WAITING, JobState.RUNNING])
    of_project, of_person = settings.JOBS_OF_A_PROJECT, settings.JOBS_OF_A_PERSON
    if (count := unfinished.filter(project_id=job.project_id).count()) > of_project:
        raise Busy(BUSY.format(whose="This project has", count=count - 1, limit=of_project))
    if (count := unfinished.filter(asked_by_id=job.asked_by_id).count()) > of_person:
        raise Busy(BUSY.format(whose="You have", count=count - 1, limit=of_person))


def _lease_end(now: datetime | None = None) -> datetime:
    return (now or timezone.now()) + timedelta(seconds=settings.JOB_LEASE_SECONDS)


def _note(job: Job, *, actor: User | None, action: str, words: str, **more: str) -> None:
    data = {"key": job.key, **more}
    audit.record(project=job.project_id, actor=actor, action=action, on=job, words=words, data=data)


def _ring_on_commit(job: Job) -> None:
    transaction.on_commit(lambda: _ring(job))


def _ring(job: Job) -> bool:
    """Tell the broker. Where it cannot be reached the job is safe in its row and the next sweep rings again."""
    try:
        current_app.send_task(RUN_TASKS[queue_of(job.kind)], args=[str(job.pk)], retry=False)
    except Exception:
        log.warning("The broker could not be reached; job %s waits for the next sweep.", job.pk, exc_info=True)
        return False
    return True
