"""Dossiers for tests: asked for, built in this process, read back with programs that know nothing of the product."""

from __future__ import annotations

import subprocess
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.core.files.storage import default_storage

from commissioning.dossier.check import Finding
from commissioning.models import Dossier, JobState, User
from commissioning.services import job_runs
from commissioning.services.dossier_check import check_file
from commissioning.services.dossiers import ask_dossier
from tests.support.world import World


def ask(world: World, *, actor: User | None = None, **more: Any) -> Dossier:
    """A dossier of the world's system, waiting for its worker."""
    scope = {"scope": "system", "system": world.system} if "scope" not in more else {}
    return ask_dossier(actor=actor or world.manager, project=world.project, **scope, **more)


def built(world: World, **more: Any) -> Dossier:
    """A dossier that is built."""
    return run(ask(world, **more))


def run(dossier: Dossier) -> Dossier:
    """Build it in this process, as a worker would."""
    job = job_runs.run(dossier.job_id)
    assert job is not None
    assert job.state == JobState.DONE, job.error
    return fresh(dossier)


def fresh(dossier: Dossier) -> Dossier:
    return Dossier.objects.select_related("job", "project", "supersedes").get(pk=dossier.pk)


def pdf_of(dossier: Dossier) -> bytes:
    with default_storage.open(dossier.pdf.name) as file:
        return file.read()


def checked(data: bytes) -> Finding:
    """What the check says of a file with these bytes."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "claimed.pdf"
        path.write_bytes(data)
        return check_file(path).finding


def pages_of(dossier: Dossier, folder: Path, *, order: str = "-layout") -> list[str]:
    """The words of each page on one line: row by row as they stand, or with `-raw` cell by cell as they were drawn."""
    path = folder / "dossier.pdf"
    path.write_bytes(pdf_of(dossier))
    text = subprocess.run(["pdftotext", order, path, "-"], check=True, capture_output=True, text=True).stdout
    return [" ".join(page.split()) for page in text.split("\f")[:-1]]
