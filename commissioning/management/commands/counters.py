"""manage.py counters audit | rebuild: what lists show, compared with the rows, or counted anew."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from commissioning.models import System
from commissioning.selectors.counters_audit import differences
from commissioning.services.counters import BATCH, recount


class Command(BaseCommand):
    help = "Compares the counters of systems and stages with their rows (audit), or counts all of them anew (rebuild)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=["audit", "rebuild"])
        parser.add_argument("--project", help="code of one project; without it, all of them")

    def handle(self, *args: Any, **options: Any) -> None:
        systems = System.objects.all()
        if code := options["project"]:
            systems = systems.filter(project__code=code)
        if options["what"] == "audit":
            self._audit(systems)
        else:
            self._rebuild(systems)

    def _audit(self, systems: Any) -> None:
        wrong = 0
        for difference in differences(systems):
            wrong += 1
            self.stdout.write(str(difference))
        if wrong:
            raise CommandError(f"{wrong} counters are wrong. Count them anew: manage.py counters rebuild")
        self.stdout.write(f"Counters of {systems.count()} systems say what their rows say.")

    def _rebuild(self, systems: Any) -> None:
        ids = list(systems.order_by("pk").values_list("pk", flat=True))
        for start in range(0, len(ids), BATCH):
            recount(ids[start : start + BATCH])
            self.stdout.write(f"{min(start + BATCH, len(ids))} of {len(ids)} systems counted")
