"""The operator's page: what waits, what failed, who is at work, what is stored, and when it was last backed up."""

from __future__ import annotations

from typing import Any, cast
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_required
from django.core.exceptions import PermissionDenied
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from commissioning.errors import ServiceError
from commissioning.models import Job, JobState, User
from commissioning.services.job_queues import queue_of
from commissioning.services.jobs import ask_again, cancel
from commissioning.views.jobs import job_words
from deploy.operations import state, storage
from deploy.operations.health import prober
from deploy.operations.versions import versions

PAGE_SIZE = 50
#: A backup older than this many hours is said to be old.
OLD_BACKUP_HOURS = 26


@require_safe
@login_required
def show(request: HttpRequest) -> HttpResponse:
    """Is it well, and if not, what needs me?"""
    _operator(request)
    failed = Job.objects.filter(state=JobState.FAILED).select_related("project", "asked_by").order_by("-finished_at")
    page = Paginator(failed, PAGE_SIZE).get_page(request.GET.get("page", 1))
    context = {
        "checks": [{"name": name, "held": held} for name, held in prober().ask().items()],
        "queues": _queues(),
        "unfinished": [_job_row(job) for job in _unfinished()],
        "page_obj": page,
        "failed": [_job_row(job) for job in page],
        "workers": _processes(),
        "missing_queues": _missing_queues(),
        "backup": _backup(),
        "storage": storage.used(),
        "swept": state.last("strays"),
        "versions": versions(),
        "sign_out_url": reverse("sign-out"),
        "now": timezone.now(),
    }
    return render(request, "deploy/operator.html", context)


@require_POST
@login_required
def again(request: HttpRequest, id: UUID) -> HttpResponse:
    """Put a failed job back in the queue."""
    return _act(request, id, lambda job, actor: ask_again(job=job, actor=actor), "is in the queue again")


@require_POST
@login_required
def stop(request: HttpRequest, id: UUID) -> HttpResponse:
    """Stop a job that waits or runs."""
    return _act(request, id, lambda job, actor: cancel(job=job, actor=actor), "is cancelled")


def _act(request: HttpRequest, id: UUID, deed: Any, words: str) -> HttpResponse:
    actor = _operator(request)
    job = Job.objects.filter(pk=id).first()
    if job is None:
        raise Http404("There is no such background work.")
    try:
        deed(job, actor)
        messages.success(request, f"{job_words(job).capitalize()} {words}.")
    except ServiceError as error:
        messages.error(request, error.words)
    return redirect("operator")


def _operator(request: HttpRequest) -> User:
    """Whoever runs the product: a superuser, made by `manage.py createsuperuser`."""
    user = cast(User, request.user)
    if not (user.is_active and user.is_superuser):
        raise PermissionDenied
    return user


def _unfinished() -> list[Job]:
    states = [JobState.RUNNING, JobState.WAITING]
    return list(
        Job.objects.filter(state__in=states).select_related("project", "asked_by").order_by("asked_at")[:PAGE_SIZE]
    )


def _job_row(job: Job) -> dict[str, Any]:
    began = job.started_at if job.state == JobState.RUNNING else job.asked_at
    return {
        "job": job,
        "what": job_words(job),
        "queue": queue_of(job.kind),
        "age": began,
        "late": job.state == JobState.RUNNING and bool(job.lease_until and job.lease_until < timezone.now()),
    }


def _queues() -> list[dict[str, Any]]:
    """One row a queue: how many wait, run and failed, and since when the oldest waits."""
    rows: dict[str, dict[str, Any]] = {}
    for one in state.queues():
        row = rows.setdefault(one.queue, {"queue": one.queue, "limit": settings.JOB_SECONDS[one.queue] // 60})
        row[one.state] = one.count
        row[f"{one.state}_since"] = one.oldest
    return list(rows.values())


def _processes() -> list[dict[str, Any]]:
    return [{"part": part, "one": one} for part in ("worker", "scheduler") for one in state.at_work(part)]


def _missing_queues() -> list[str]:
    """Queues that no living worker takes from: their work would wait for ever."""
    taken = {queue for one in state.at_work("worker") if one.alive for queue in one.facts.get("queues", [])}
    names = {"short": settings.CELERY_TASK_QUEUES[0].name, "long": settings.CELERY_TASK_QUEUES[1].name}
    return [queue for queue, name in names.items() if name not in taken]


def _backup() -> dict[str, Any]:
    last = state.last_backup()
    hours = (timezone.now() - last.at).total_seconds() / 3600 if last else None
    return {"last": last, "old": hours is None or hours > OLD_BACKUP_HOURS, "hours": OLD_BACKUP_HOURS}
