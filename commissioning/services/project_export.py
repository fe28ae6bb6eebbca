"""A whole project exported in the background, for a manager to take away."""

from __future__ import annotations

import logging
import tempfile
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from django.core.files import File
from django.core.files.storage import default_storage
from django.utils import timezone

from commissioning.errors import NotAllowed, ServiceError
from commissioning.models import Job, JobState, Project, User
from commissioning.project_export.manifest import NotAnExport
from commissioning.project_export.writer import write_export
from commissioning.services import jobs
from commissioning.services.permissions import MANAGERS, require
from commissioning.stored_files import every_file, sha256_of_file

log = logging.getLogger(__name__)

KIND = "export_project"
#: An export is a copy, and lies here for so long.
KEPT = timedelta(days=7)
NOT_HERE = "This export is no longer kept here. Ask for a new one."


def ask_export(*, actor: User, project: Project, id: UUID) -> Job:
    """Have the whole project exported; asked twice under one key there is one export."""
    access = require(actor=actor, project=project, roles=MANAGERS, site=None, to="export the whole project")
    if not access.manages_every_site:
        raise NotAllowed("The whole project is exported by a manager of all its sites.")
    return jobs.ask(project=project, kind=KIND, key=f"{KIND}-{id}", asked_by=actor, arguments={})


def run_export(job: Job) -> dict[str, Any]:
    """Reads the record and writes one file; run twice, the second file takes the place of the first."""
    jobs.heartbeat(job, "reading the whole record and its files", 0, 0)
    _drop_old(job.project)
    name = f"exports/{job.project_id}/{job.pk}/{job.project.code}-{job.asked_at:%Y%m%d}.zip"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "export.zip"
        try:
            with path.open("wb") as out:
                manifest = write_export(job.project, out)
        except NotAnExport as error:
            raise ServiceError(f"{error} Restore it from a backup, then ask for the export again.") from error
        with path.open("rb") as made:
            digest = sha256_of_file(made)
        with jobs.writing(job):
            default_storage.delete(name)
            with path.open("rb") as made:
                kept = default_storage.save(name, File(made))
    return {
        "file": kept,
        "bytes": default_storage.size(kept),
        "sha256": digest,
        "content_sha256": manifest.content_sha256,
        "rows": manifest.rows,
        "files": len(manifest.files),
    }


def exported_file(job: Job) -> str:
    """The name of an export's file in the store. Raises ServiceError where it is not there any more."""
    name = str(job.result.get("file", ""))
    if job.kind != KIND or job.state != JobState.DONE or not name or not default_storage.exists(name):
        raise ServiceError(NOT_HERE)
    return name


def _drop_old(project: Project) -> None:
    before = timezone.now() - KEPT
    for one in list(every_file(f"exports/{project.pk}")):
        if one.modified < before:
            default_storage.delete(one.name)
