"""Say whether a PDF is one of our dossiers, unchanged, and whether a later revision exists."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from commissioning.errors import ServiceError
from commissioning.models import Dossier
from commissioning.services.dossier_check import check_file
from commissioning.services.dossier_record import check_record


class Command(BaseCommand):
    help = (
        "Check a PDF against the dossiers on record, and the record behind it. Ends with 1 where the file is none "
        "of them, unchanged, or where the record was edited past the product."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="the PDF")

    def handle(self, *, file: Path, **options: Any) -> None:
        try:
            checked = check_file(file)
        except OSError as error:
            raise CommandError(f"{file} cannot be read: {error.strerror}.") from error
        except ServiceError as error:
            raise CommandError(error.words) from error
        found = checked.finding
        self.stdout.write(f"{found.words[:1].upper()}{found.words[1:]}")
        self.stdout.write(f"Signature: {found.signature}.")
        holds = checked.dossier is None or self.tell_record(checked.dossier)
        if not found.unchanged:
            raise CommandError("It is not a dossier of ours, unchanged.", returncode=1)
        if not holds:
            raise CommandError("The file is unchanged, but the record here is not: see above.", returncode=1)

    def tell_record(self, dossier: Dossier) -> bool:
        """Say whether the record behind the dossier holds together."""
        record = check_record(dossier)
        if record.holds:
            self.stdout.write("Record here: row, audit log, content file and what was printed agree.")
        for fault in record.faults:
            self.stdout.write(f"Record here: {fault}")
        for change in record.changed:
            self.stdout.write(f"Changed since, as the audit log tells: {change}")
        return record.holds
