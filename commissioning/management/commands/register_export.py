"""Write a project's register to a workbook that the import reads back."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand

from commissioning.management.commands.register_import import manager_access
from commissioning.register_import.export import export_register


class Command(BaseCommand):
    help = "Write the register to an .xlsx workbook; imported again, it changes nothing."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("project", help="code of the project")
        parser.add_argument("file", type=Path, help="workbook to write")
        parser.add_argument("--as", dest="username", default="", help="manager whose sites are written")

    def handle(self, *, project: str, file: Path, username: str, **options: Any) -> None:
        access = manager_access(project, username)
        with file.open("wb") as out:
            export_register(access=access, out=out)
        self.stdout.write(f"Wrote {file}.")
