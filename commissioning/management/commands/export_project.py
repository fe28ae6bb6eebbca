"""Write a whole project into one archive of open formats."""

from __future__ import annotations

import os
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from commissioning.models import Project
from commissioning.project_export.manifest import NotAnExport
from commissioning.project_export.writer import write_export


class Command(BaseCommand):
    help = "Export a whole project: JSON Lines, CSV, PDF and photos with their SHA-256, in one zip file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("project", help="code of the project")
        parser.add_argument("file", type=Path, nargs="?", help="zip file to write (CODE.zip)")

    def handle(self, *, project: str, file: Path | None, **options: Any) -> None:
        found = Project.objects.filter(code=project).first()
        if found is None:
            raise CommandError(f"There is no project {project}.")
        target = file or Path(f"{project}.zip")
        half = target.with_name(f"{target.name}.part")
        try:
            with half.open("wb") as out:
                manifest = write_export(found, out)
                out.flush()
                os.fsync(out.fileno())
            half.replace(target)
        except (NotAnExport, OSError) as error:
            half.unlink(missing_ok=True)
            raise CommandError(f"Nothing was exported. {error}") from error
        self.stdout.write(f"{target}: {manifest.rows} rows, {len(manifest.files)} files.")
        self.stdout.write(f"Content {manifest.content_sha256}")
