"""Write the index of the search anew from the record, or say how far the two are apart."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import connection

from commissioning.finding import postgres
from commissioning.finding.index import differences, lay_down, rebuild


class Command(BaseCommand):
    help = (
        "Write the index of the search anew, with the triggers that keep it. --check changes nothing and ends with 1 "
        "where the index and the record differ."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="only compare")

    def handle(self, *, check: bool, **options: Any) -> None:
        if check:
            if apart := differences(connection):
                raise CommandError(f"{apart} entries differ from the record. Run manage.py find_rebuild.", returncode=1)
            self.stdout.write("The index is as the record has it.")
            return
        lay_down(connection)
        self.stdout.write(f"{rebuild(connection)} things can be found.")
        if connection.vendor == "postgresql" and not postgres.has_trigrams(connection):
            self.stdout.write(postgres.WITHOUT)
