"""Background work: how far it is, how long it takes yet, and what came of it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST
from django_htmx.http import HttpResponseClientRefresh

from commissioning.models import Job, JobState, Role
from commissioning.register_import.jobs import KIND as REGISTER_IMPORT
from commissioning.selectors.access import Access
from commissioning.selectors.jobs import job_or_404, jobs_for
from commissioning.services.audit_walk import KIND as VERIFY_CHAIN
from commissioning.services.jobs import ask_again, time_left
from commissioning.services.jobs import cancel as cancel_job
from commissioning.services.laying_out import KIND as LAY_OUT
from commissioning.services.project_export import KIND as PROJECT_EXPORT
from commissioning.services.recordings import JOB_KIND as READ_RECORDING
from commissioning.services.verification import JOB_KIND as VERIFY_AGAIN
from commissioning.views.base import ProjectRequest, page, project_view
from commissioning.views.links import page_url

PAGE_SIZE = 50
GOING_ON = (JobState.WAITING, JobState.RUNNING)
KIND_WORDS = {
    REGISTER_IMPORT: "register import",
    VERIFY_AGAIN: "readings verified again",
    LAY_OUT: "procedures laid out",
    VERIFY_CHAIN: "audit log verified",
    READ_RECORDING: "test recording read",
    PROJECT_EXPORT: "whole project exported",
    "dossier": "dossier",
}


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """The background work of the project, newest first."""
    found = Paginator(jobs_for(request.access), PAGE_SIZE).get_page(request.GET.get("page", 1))
    context = {
        "page_obj": found,
        "rows": [{"job": job, "what": job_words(job)} for job in found],
        "tabs": tabs(request.access, "jobs"),
        "everybodys": request.access.is_manager and request.access.site_ids is None,
    }
    return page(request, "commissioning/jobs/list.html", context, section="project-settings")


@project_view
def job(request: ProjectRequest, id: UUID) -> HttpResponse:
    """One piece of work; `?part=progress` answers with the progress alone, and reloads the page when it has ended."""
    access = request.access
    found = job_or_404(access=access, id=id)
    context = {
        "job": found,
        "what": job_words(found),
        "progress": progress_of(
            found, poll_url=f"{reverse('job', args=[access.project.code, found.pk])}?part=progress"
        ),
        "result_url": result_url(found, access.project.code),
        "result": result_words(found),
        "may_cancel": found.state in GOING_ON and _may_change(found, access),
        "may_ask_again": found.state in (JobState.FAILED, JobState.CANCELLED) and _may_change(found, access),
        "tabs": tabs(access, "jobs"),
    }
    if request.GET.get("part") == "progress":
        if found.state not in GOING_ON:
            return HttpResponseClientRefresh()
        return render(request, "commissioning/jobs/progress.html", context)
    return page(request, "commissioning/jobs/show.html", context, section="project-settings")


def tabs(access: Access, current: str) -> list[dict[str, Any]]:
    """The pages under settings, for templates/commissioning/settings/tabs.html."""
    code = access.project.code
    names = [
        ("settings", "project-settings"),
        ("register", "register"),
        ("labels", "labels"),
        ("members", "members"),
        ("background work", "jobs"),
    ]
    if access.role != Role.CLIENT:
        names.append(("from the phone", "from-phones"))
    if access.is_manager:
        names.append(("audit log", "audit"))
    if access.manages_every_site:
        names.append(("take it away", "project-export"))
    return [{"words": words, "url": reverse(name, args=[code]), "current": name == current} for words, name in names]


def _may_change(job: Job, access: Access) -> bool:
    return job.asked_by_id == access.user.pk or access.is_manager


def job_words(job: Job) -> str:
    """What the work is, in words."""
    words = KIND_WORDS.get(job.kind, job.kind.replace("_", " "))
    if job.kind == REGISTER_IMPORT:
        words = "look at a register" if job.arguments.get("dry_run") else words
        return f"{words}: {job.arguments.get('name', 'a workbook')}"
    return words


def progress_of(job: Job, *, poll_url: str = "") -> dict[str, Any]:
    """The work as components/progress.html draws it."""
    label = job.words if job.state == JobState.RUNNING and job.words else job_words(job)
    left = time_left(job)
    return {
        "job": {"label": label, "state": job.state, "done": job.done, "total": job.total, "error": job.error},
        "left": left_words(left) if left is not None else "",
        "poll_url": poll_url if job.state in GOING_ON else "",
    }


def left_words(left: timedelta) -> str:
    """A time left as a person says it; it is an estimate."""
    seconds = left.total_seconds()
    if seconds < 10:
        return "a few seconds"
    if seconds < 90:
        return f"{round(seconds / 10) * 10} seconds"
    if seconds < 5400:
        return f"{round(seconds / 60)} minutes"
    return f"{seconds / 3600:.1f} hours"


def result_url(job: Job, code: str) -> str:
    """Where the result of the work stands."""
    if job.kind == REGISTER_IMPORT:
        plan = job.pk if job.arguments.get("dry_run") else job.arguments.get("plan")
        return page_url("register-plan", code, plan) if plan else page_url("register", code)
    if job.kind == READ_RECORDING:
        return page_url("recording", code, job.arguments.get("recording"))
    if job.state != JobState.DONE:
        return ""
    if job.kind == "dossier":
        return page_url("dossier", code, job.dossier.pk) if hasattr(job, "dossier") else ""
    if job.kind == VERIFY_AGAIN and (run := job.arguments.get("run")):
        return page_url("verification-run", code, run) or page_url("verification", code)
    others = {LAY_OUT: "register", VERIFY_CHAIN: "audit", PROJECT_EXPORT: "project-export"}
    return page_url(others[job.kind], code) if job.kind in others else ""


def result_words(job: Job) -> str:
    """What came of work that has no page of its own for it."""
    if job.kind == LAY_OUT and job.state == JobState.DONE:
        lines, systems = job.result.get("lines", 0), job.result.get("systems", 0)
        return f"{lines} check lines laid out on {systems} system{'' if systems == 1 else 's'}."
    if job.kind == VERIFY_CHAIN and job.state == JobState.DONE:
        return chain_words(job.result)
    return ""


def chain_words(result: Mapping[str, Any]) -> str:
    """What a walk over the audit log came to."""
    if result.get("holds"):
        words = f"The chain holds: {result['entries']} entries, each bound to the one before it."
        return f"{words} The last hash is {result['last_hash']}."
    if result.get("broken_at"):
        return f"The chain is broken at entry {result['broken_at']}. Do not rely on the log from there on."
    return f"Entries are missing at its end: {result.get('entries', 0)} were written."


@require_POST
@project_view
def cancel(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Stop it; what it has not written yet stays unwritten."""
    found = job_or_404(access=request.access, id=id)
    cancel_job(job=found, actor=request.access.user)
    messages.success(request, "Cancelled. It can be asked for again.")
    return redirect("job", code=request.access.project.code, id=found.pk)


@require_POST
@project_view
def again(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Put it in the queue again."""
    found = job_or_404(access=request.access, id=id)
    ask_again(job=found, actor=request.access.user)
    messages.success(request, "Asked again.")
    return redirect("job", code=request.access.project.code, id=found.pk)
