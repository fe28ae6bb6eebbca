"""Counting a whole project again in the background, after a change of what holds a gate."""

from __future__ import annotations

from typing import Any

from commissioning.models import Job, Project, SystemCounters, User
from commissioning.models.base import new_id
from commissioning.services import counters, jobs

KIND = "recount"


def ask_recount(*, actor: User, project: Project) -> Job:
    """Every system is due at once: what a page shows of it is asked of the gate, until the job has counted it."""
    counters.ask_again(project=project)
    return jobs.ask(project=project, kind=KIND, key=f"{KIND}:{new_id()}", asked_by=actor, arguments={})


def run_recount(job: Job) -> dict[str, Any]:
    """Count what is due, some systems at a time. Run twice, the second run finds nothing left to do."""
    total, done = SystemCounters.objects.filter(project=job.project).count(), 0
    while True:
        jobs.heartbeat(job, "counting systems again", min(done, total), total)
        with jobs.writing(job):
            some = counters.refresh_due(project=job.project)
        if not some:
            return {"systems": done}
        done += some
