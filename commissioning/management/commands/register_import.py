"""Import a register workbook, or show what it would change."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from commissioning.errors import ServiceError
from commissioning.models import Membership, Project, Role
from commissioning.register_import.apply import apply_plan, plan_import
from commissioning.register_import.plan import Plan
from commissioning.selectors.access import Access, access_or_none


def manager_access(code: str, username: str) -> Access:
    """The access of the named manager, or of the project's first manager of all sites."""
    project = Project.objects.filter(code=code).first()
    if project is None:
        raise CommandError(f"There is no project {code}.")
    managers = Membership.objects.filter(project=project, role=Role.MANAGER, left_at=None).select_related("user")
    named = managers.filter(user__username=username) if username else managers.filter(all_sites=True)
    membership = named.order_by("pk").first()
    access = access_or_none(user=membership.user, project=project) if membership else None
    if access is None:
        raise CommandError(f"There is no such manager in {code}. Name one with --as USERNAME.")
    return access


class Command(BaseCommand):
    help = "Import sites, systems, equipment and more from an .xlsx workbook, a CSV file, or a zip or folder of them."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("project", help="code of the project")
        parser.add_argument("file", type=Path, help="workbook, CSV file, zip or folder")
        parser.add_argument("--dry-run", action="store_true", help="show what would change, and write nothing")
        parser.add_argument("--as", dest="username", default="", help="manager in whose name it is recorded")

    def handle(self, *, project: str, file: Path, dry_run: bool, username: str, **options: Any) -> None:
        access = manager_access(project, username)
        if not file.exists():
            raise CommandError(f"There is no file {file}.")
        try:
            plan = plan_import(access=access, file=file, name=file.name)
            self.show(plan)
            if plan.problems:
                raise CommandError(f"Nothing was imported: {len(plan.problems)} to correct.")
            if not dry_run:
                apply_plan(access=access, plan=plan, name=file.name)
        except ServiceError as error:
            raise CommandError(error.words) from error
        self.stdout.write("Dry run: nothing was written." if dry_run else "Imported.")

    def show(self, plan: Plan) -> None:
        for note in plan.notes:
            self.stdout.write(f"Note: {note}")
        for sheet in plan.sheets.values():
            counts = f"{len(sheet.added)} added, {len(sheet.changed)} changed, {sheet.same} left alone"
            self.stdout.write(f"{sheet.sheet.title}: {counts}")
            for planned in sheet.changed:
                row = sheet.shown(planned)
                words = "; ".join(f"{one['column']}: {one['old']} → {one['new']}" for one in row["changes"])
                self.stdout.write(f"  row {row['row']}, {row['label']}: {words}")
        for problem in plan.problems:
            self.stderr.write(problem.words)
