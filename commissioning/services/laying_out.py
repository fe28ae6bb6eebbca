"""Laying out the project's procedures on many systems, in the background."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet

from commissioning.errors import InvalidInput, NotAllowed
from commissioning.models import CheckLine, Job, JobState, Project, StageState, System, User
from commissioning.models.base import new_id
from commissioning.selectors.access import Access, access_or_none, systems_for
from commissioning.services import job_runs, jobs
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.procedures import apply_procedure, copy_procedure
from commissioning.services.repeats import refuse_other_content

KIND = "lay_out"
#: So many systems are laid out while the page waits.
AT_ONCE = 3


def systems_without_lines(access: Access) -> QuerySet[System]:
    """Systems with a stage to do and no check line at all."""
    lines = CheckLine.objects.filter(stage__system=OuterRef("pk"), retired_at__isnull=True)
    rows = (
        systems_for(access)
        .exclude(Exists(lines))
        .filter(stages__state__in=[StageState.NOT_STARTED, StageState.STARTED])
    )
    return rows.select_related("site").distinct().order_by("tag")


def ask_lay_out(*, actor: User, project: Project, systems: Collection[System], id: UUID | None = None) -> Job:
    """Lay the project's procedure for each system's kind out on it, copying a bundled one where there is none yet.

    Sent twice, it is one job; the same UUID for other systems is a Conflict.
    """
    access = require(actor=actor, project=project, roles=MANAGERS, site=None, to="lay out procedures")
    if not systems:
        raise InvalidInput({"systems": "Tick at least one system."})
    if any(system.project_id != project.pk or not access.covers(system.site_id) for system in systems):
        raise NotAllowed("You are not a manager of all these systems' sites. A manager of the project can do it.")
    wanted = [str(system.pk) for system in systems]
    job = jobs.ask(
        project=project, kind=KIND, key=job_key(id or new_id()), asked_by=actor, arguments={"systems": wanted}
    )
    if set(job.arguments["systems"]) != set(wanted):
        refuse_other_content()
    if job.state == JobState.WAITING and len(systems) <= AT_ONCE:
        job_runs.run(job.pk)
        job.refresh_from_db()
    return job


def job_key(id: UUID) -> str:
    """The key of the job that was asked for with this UUID."""
    return f"{KIND}-{id}"


def run_lay_out(job: Job) -> dict[str, Any]:
    """One system after the other, each wholly or not at all. Run twice, the second run finds it done."""
    access = access_or_none(user=job.asked_by, project=job.project)
    if access is None:
        raise NotAllowed("You are no longer a member of this project.")
    systems = list(systems_for(access).filter(pk__in=job.arguments["systems"]).order_by("tag"))
    lines = 0
    for done, system in enumerate(systems):
        jobs.heartbeat(job, f"laying out {system.tag}", done, len(systems))
        with jobs.writing(job):
            procedure = copy_procedure(actor=job.asked_by, project=job.project, key=system.kind)
            lines += apply_procedure(actor=job.asked_by, system=system, procedure=procedure)["added"]
    return {"systems": len(systems), "lines": lines}
