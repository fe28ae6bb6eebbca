"""`manage.py backup`: database and files into one folder, complete or not at all."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from deploy.operations.backup.database import CannotDump
from deploy.operations.backup.making import Running, make_backup


class Command(BaseCommand):
    help = "Write database and files into a new folder, with the SHA-256 of everything; keep the last few."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", type=Path, default=None, help="folder of backups (TRACKER_BACKUP_DIR)")
        parser.add_argument("--keep", type=int, default=settings.BACKUPS_KEPT, help="how many stay (%(default)s)")

    def handle(self, *, to: Path | None, keep: int, **options: Any) -> None:
        folder = to or (Path(settings.BACKUP_DIR) if settings.BACKUP_DIR else None)
        if folder is None:
            raise CommandError("Say where: --to FOLDER, or TRACKER_BACKUP_DIR. It belongs on another machine's disk.")
        if keep < 1:
            raise CommandError("--keep is one or more.")
        try:
            made, manifest = make_backup(folder, keep=keep, say=self.stdout.write)
        except (CannotDump, Running, OSError) as error:
            raise CommandError(f"No backup was made. {error}") from error
        rows = sum(int(one["rows"]) for one in manifest.tables.values())
        self.stdout.write(f"{made}: {rows} rows, {len(manifest.files)} files, {manifest.bytes} bytes of files.")
        if manifest.missing:
            raise CommandError(
                f"The backup is complete as far as the store goes, but {len(manifest.missing)} files that the record "
                f"names are not in the store: {', '.join(manifest.missing[:5])}. Look for them in an older backup."
            )
