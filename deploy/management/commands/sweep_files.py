"""`manage.py sweep_files`: take away stored files that nothing on record names."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from deploy.operations.strays import KEPT_HOURS, TooMany, strays, sweep


class Command(BaseCommand):
    help = "Take away stored files that nothing on record names: what a process left that died in the middle of work."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--dry-run", action="store_true", help="say what would go, and take nothing away")
        parser.add_argument("--hours", type=int, default=KEPT_HOURS, help="only what is older (%(default)s)")
        parser.add_argument("--however-many", action="store_true", help="also where much of the store would go")

    def handle(self, *, dry_run: bool, hours: int, however_many: bool, **options: Any) -> None:
        if hours < 0:
            raise CommandError("--hours is no less than 0.")
        try:
            if dry_run:
                found = strays(hours=hours, however_many=however_many)
                for one in found:
                    self.stdout.write(f"{one.name}, {one.size} bytes of {one.modified:%Y-%m-%d %H:%M}")
            else:
                found = sweep(hours=hours, however_many=however_many, say=self.stdout.write)
        except TooMany as error:
            raise CommandError(f"Nothing was taken away. {error}") from error
        words = "would be taken away" if dry_run else "were taken away"
        self.stdout.write(f"{len(found)} files of {sum(one.size for one in found)} bytes {words}.")
