"""Take a whole project in from an archive that `export_project` wrote."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from commissioning.project_export.manifest import NotAnExport
from commissioning.project_export.reader import import_project


class Command(BaseCommand):
    help = "Import a project that this installation does not have: all of it, the same as it was, or nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="zip file that export_project wrote")

    def handle(self, *, file: Path, **options: Any) -> None:
        try:
            manifest = import_project(file, say=self.stdout.write)
        except NotAnExport as error:
            raise CommandError(f"Nothing was imported. {error}") from error
        self.stdout.write(f"Imported {manifest.project['code']}: {manifest.rows} rows, {len(manifest.files)} files.")
        self.stdout.write(f"Content {manifest.content_sha256}")
        self.stdout.write("People came without passwords: set one with `manage.py changepassword`, or invite them.")
