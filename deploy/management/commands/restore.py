"""`manage.py restore FOLDER`: a backup put back and proved."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from deploy.operations.backup.database import CannotDump
from deploy.operations.backup.manifest import NotABackup
from deploy.operations.backup.restoring import NotEmpty, NotTheSame, restore_backup


class Command(BaseCommand):
    help = "Put a backup back into an empty installation, and prove by its hashes that nothing is missing."
    requires_system_checks: list[str] = []
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, help="one backup, as `manage.py backup` made it")
        parser.add_argument("--replace", action="store_true", help="overwrite what is in this installation")

    def handle(self, *, folder: Path, replace: bool, **options: Any) -> None:
        try:
            manifest = restore_backup(folder, replace=replace, say=self.stdout.write)
        except (NotABackup, NotEmpty) as error:
            raise CommandError(f"Nothing was changed. {error}") from error
        except (CannotDump, NotTheSame, OSError) as error:
            raise CommandError(f"It was not restored: {error} Run it again with --replace, or take another.") from error
        rows = sum(int(one["rows"]) for one in manifest.tables.values())
        self.stdout.write(f"Restored the backup of {manifest.made_at}: {rows} rows and {len(manifest.files)} files, ")
        self.stdout.write("each with the hash that it was kept with; every audit log holds.")
