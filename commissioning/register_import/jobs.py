"""The import as background work: a large workbook is read, compared and written while the page shows how far it is."""

from __future__ import annotations

from collections.abc import Callable
from typing import IO, Any

from django.core.files.storage import default_storage

from commissioning.errors import InvalidInput
from commissioning.models import Job
from commissioning.selectors.access import access_or_none
from commissioning.services import jobs

from .apply import HasProblems, import_workbook, plan_import
from .archives import UPLOAD_BYTES
from .plan import Plan
from .reading import read_upload
from .register_sheets import keepers

KIND = "register_import"


def keep_upload(*, file: IO[bytes], job_key: str, project_id: Any) -> str:
    """Store an upload for the background run under a path of our own; answers the path for the job's arguments."""
    file.seek(0, 2)
    if file.tell() > UPLOAD_BYTES:
        raise InvalidInput({"file": f"The file is larger than {UPLOAD_BYTES >> 20} MB. Split it into several files."})
    file.seek(0)
    safe = "".join(letter for letter in job_key if letter.isalnum() or letter in "-_")[:80]
    return default_storage.save(f"imports/{project_id}/{safe}.upload", file)


def run_register_import(job: Job) -> dict[str, Any]:
    """Arguments: `path` in default storage, `name` as uploaded, `dry_run`, and `digest` of the plan agreed to.

    Safe to run twice: the second run finds everything recorded and changes nothing. A plan with problems is a result,
    not a failure: it lists them all.
    """
    told = _teller(job)
    path, name = job.arguments["path"], job.arguments.get("name", "the workbook")
    with default_storage.open(path, "rb") as file:
        if job.arguments.get("dry_run"):
            access = access_or_none(user=job.asked_by, project=job.project)
            if access is None:
                raise InvalidInput({"file": "You are no longer a member of this project."})
            return _result(plan_import(access=access, file=file, name=name, progress=told), applied=False)
        sheets = [keeper.sheet for keeper in keepers()]
        workbook = read_upload(file=file, name=name, sheets=sheets, progress=told)
    try:
        with jobs.writing(job):
            plan = import_workbook(
                actor=job.asked_by,
                project=job.project,
                workbook=workbook,
                name=name,
                digest=job.arguments.get("digest", ""),
                progress=told,
            )
            result = _result(plan, applied=True)
            jobs.finish(job, result)
    except HasProblems as refusal:
        return _result(refusal.plan, applied=False)
    return result


def _teller(job: Job) -> Callable[[int, int, str], None]:
    return lambda done, total, words: jobs.heartbeat(job, words, done, total)


def _result(plan: Plan, *, applied: bool) -> dict[str, Any]:
    return {"applied": applied, **plan.summary()}
