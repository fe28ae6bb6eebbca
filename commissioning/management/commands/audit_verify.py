"""Walk the audit chains from the first entry to the last, and name the first broken link."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Iterator
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from commissioning.models import Project
from commissioning.models.append_only import missing_triggers
from commissioning.selectors.audit import chain_standing
from commissioning.services.audit_anchors import anchor_faults


class Command(BaseCommand):
    help = (
        "Verify the audit log of a project, or of all: every entry's hash, its place, the head of the chain, the links "
        "that dossiers carry, and whether the database still refuses changes. Ends with 1 at the first fault."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("project", nargs="?", default="", help="code of one project; without it, every project")

    def handle(self, *, project: str, **options: Any) -> None:
        projects = list(Project.objects.filter(code=project) if project else Project.objects.order_by("code"))
        if project and not projects:
            raise CommandError(f"There is no project {project}.")
        faults = [fault for one in projects for fault in self._walk(one)]
        if gone := missing_triggers(connection):
            faults.append(f"The database no longer refuses changes: {', '.join(sorted(gone))}. Run manage.py migrate.")
        if faults:
            raise CommandError("\n".join(faults), returncode=1)

    def _walk(self, project: Project) -> Iterator[str]:
        found = chain_standing(project)
        if found.broken:
            yield f"{project.code}: broken at entry {found.broken.sequence}, {found.broken.at:%Y-%m-%d %H:%M} UTC."
        elif found.cut_off:
            yield f"{project.code}: entries at the end are missing; the head says {found.entries}."
        anchored = list(anchor_faults(project))
        for fault in anchored:
            yield f"{project.code}: {fault.dossier}: {fault.words}."
        if found.holds and not anchored:
            self.stdout.write(f"{project.code}: {found.entries} entries hold, head {found.last_hash}.")
