"""Ask for a dossier and build it in this process: for a server without a browser, and for looking into a failure."""

from __future__ import annotations

import shutil
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.files.storage import default_storage
from django.core.management.base import BaseCommand, CommandError

from commissioning.errors import ServiceError
from commissioning.management.commands.register_import import manager_access
from commissioning.models import Dossier, JobState, StageKind
from commissioning.selectors.access import Access, sites_for, systems_for
from commissioning.services import job_runs
from commissioning.services.dossiers import PAPERS, ask_dossier


class Command(BaseCommand):
    help = "Build the handover dossier of a project, one of its sites (--site) or one of its systems (--system)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("project", help="code of the project")
        parser.add_argument("--site", default="", help="code of a site")
        parser.add_argument("--system", default="", help="tag of a system")
        parser.add_argument("--up-to", dest="up_to", default="", choices=["", *StageKind.values], help="last stage")
        parser.add_argument("--paper", default="A4", choices=list(PAPERS), help="paper to draw it on")
        parser.add_argument("--reason", default="", help="why it is issued; printed beside the revision")
        parser.add_argument("--as", dest="username", default="", help="manager in whose name it is asked for")
        parser.add_argument("--out", type=Path, help="where to put a copy of the PDF")

    def handle(self, *, project: str, username: str, out: Path | None, **given: Any) -> None:
        access = manager_access(project, username)
        try:
            dossier = ask_dossier(
                actor=access.user,
                project=access.project,
                **target_of(access, given["site"], given["system"]),
                up_to=given["up_to"],
                paper=given["paper"],
                reason=given["reason"],
            )
        except ServiceError as error:
            raise CommandError(error.words) from error
        job = job_runs.run(dossier.job_id)
        if job is None:
            raise CommandError(f"A worker builds {dossier.label} just now. Wait for it, then ask again.")
        if job.state != JobState.DONE:
            raise CommandError(job.error or f"{dossier.label} was not built: its job is {job.state}.")
        dossier.refresh_from_db()
        self.tell(dossier)
        if out is not None:
            copy_to(dossier, out)

    def tell(self, dossier: Dossier) -> None:
        state = "interim" if dossier.interim else "complete"
        self.stdout.write(f"{dossier.label}: {state}, {dossier.pages} pages, {dossier.pdf_bytes} bytes")
        self.stdout.write(f"SHA-256 {dossier.pdf_sha256}")


def target_of(access: Access, site: str, system: str) -> dict[str, Any]:
    """The scope as the service takes it."""
    if system:
        found = systems_for(access).filter(tag=system).first()
        if found is None:
            raise CommandError(f"There is no system {system} in {access.project.code}.")
        return {"scope": "system", "system": found}
    if site:
        place = sites_for(access).filter(code=site).first()
        if place is None:
            raise CommandError(f"There is no site {site} in {access.project.code}.")
        return {"scope": "site", "site": place}
    return {"scope": "project"}


def copy_to(dossier: Dossier, out: Path) -> None:
    try:
        with default_storage.open(str(dossier.pdf.name)) as source, out.open("wb") as target:
            shutil.copyfileobj(source, target)
    except OSError as error:
        raise CommandError(f"{out} cannot be written: {error.strerror}. The dossier itself is stored.") from error
