"""An upload from the page: looked at first, then applied as it was looked at. Small ones run while the page waits."""

from __future__ import annotations

import hashlib
from typing import IO
from uuid import UUID

from commissioning.errors import Conflict
from commissioning.models import Job, JobState, Project, User
from commissioning.models.base import new_id
from commissioning.services import job_runs, jobs
from commissioning.services.repeats import refuse_other_content

from .apply import require_importer
from .archives import is_workbook, open_zip, size_of
from .jobs import KIND, keep_upload

#: Unpacked, so much of a workbook is read and compared while the page waits (about 1,700 rows of five columns); more
#: goes to the background.
AT_ONCE_BYTES = 2**19
#: A workbook takes about six bytes for what a CSV file says in one.
CSV_WEIGHT = 6
LONGEST_NAME = 200


def look_at_upload(*, actor: User, project: Project, file: IO[bytes], name: str, id: UUID | None = None) -> Job:
    """Keep the upload and compare it with the register. Writes nothing to the register. Sent twice, it is one job.

    Raises `Unreadable` at once for what is no register at all.
    """
    require_importer(actor=actor, project=project)
    key = look_key(id or new_id())
    if found := Job.objects.filter(project=project, key=key).first():
        if found.arguments.get("sha256", "") not in ("", _sha256(file)):
            refuse_other_content()
        return found
    size = weight_of(file)
    path = keep_upload(file=file, job_key=key, project_id=project.pk)
    arguments = {"path": path, "name": name[:LONGEST_NAME], "dry_run": True, "bytes": size, "sha256": _sha256(file)}
    return _ask(project=project, actor=actor, key=key, arguments=arguments)


def look_again(*, actor: User, job: Job, id: UUID | None = None) -> Job:
    """Compare an upload with the register as it stands now."""
    require_importer(actor=actor, project=job.project)
    arguments = {name: job.arguments[name] for name in ("path", "name", "bytes") if name in job.arguments}
    key = look_key(id or new_id())
    return _ask(project=job.project, actor=actor, key=key, arguments={**arguments, "dry_run": True})


def apply_upload(*, actor: User, job: Job, digest: str | None = None) -> Job:
    """Do what the plan of this job says, all of it or nothing. Asked twice, it is done once.

    With a digest, only where it is this plan's: nobody agrees to a plan that they have not seen.
    """
    require_importer(actor=actor, project=job.project)
    if job.state != JobState.DONE or not job.arguments.get("dry_run") or not job.result.get("can_apply"):
        raise Conflict("This plan cannot be applied. Correct what it lists, upload the file again and look at that.")
    if digest is not None and digest != job.result["digest"]:
        raise Conflict("This is not the digest of this plan. Look at the plan again, and agree to what it says.")
    arguments = {
        "path": job.arguments["path"],
        "name": job.arguments["name"],
        "bytes": job.arguments.get("bytes", 0),
        "digest": job.result["digest"],
        "plan": str(job.pk),
    }
    return _ask(project=job.project, actor=actor, key=apply_key(job), arguments=arguments)


def look_key(id: UUID) -> str:
    """The key of the job that looks at the upload of this UUID."""
    return f"{KIND}-look-{id}"


def apply_key(job: Job) -> str:
    """The key of the job that applies this job's plan: there is one at most."""
    return f"{KIND}-apply-{job.pk}"


def _sha256(file: IO[bytes]) -> str:
    file.seek(0)
    digest = hashlib.file_digest(file, "sha256").hexdigest()  # type: ignore[arg-type]
    file.seek(0)
    return digest


def weight_of(file: IO[bytes]) -> int:
    """How much there is to read, in bytes of a workbook; refuses what is no register before anything of it is kept."""
    archive = open_zip(file)
    if archive is None:
        return size_of(file) * CSV_WEIGHT
    with archive:
        weight = 1 if is_workbook(archive) else CSV_WEIGHT
        return weight * sum(member.file_size for member in archive.infolist())


def _ask(*, project: Project, actor: User, key: str, arguments: dict) -> Job:
    job = jobs.ask(project=project, kind=KIND, key=key, asked_by=actor, arguments=arguments)
    if job.state == JobState.WAITING and arguments.get("bytes", AT_ONCE_BYTES + 1) <= AT_ONCE_BYTES:
        # Whoever takes the lease does the work, this process or a worker: never both.
        job_runs.run(job.pk)
        job.refresh_from_db()
    return job
