"""manage.py large_project: an invented project of five hundred sites from a seed, to look at and to measure."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from commissioning.models import Project
from deploy.large.make import Size, make_large


class Command(BaseCommand):
    help = "Makes an invented project as large as the product is made for: the same from the same seed."

    def add_arguments(self, parser: ArgumentParser) -> None:
        whole = Size()
        parser.add_argument("--code", default="LARGE", help="code of the project (LARGE)")
        parser.add_argument("--seed", type=int, default=1)
        parser.add_argument("--sites", type=int, default=whole.sites)
        parser.add_argument("--systems", type=int, default=whole.systems, help="each has four stages")
        parser.add_argument("--items", type=int, default=whole.items, help="punch items")
        parser.add_argument("--readings", type=int, default=whole.readings, help="at the least one a measured line")
        parser.add_argument(
            "--password", help="of its three people (manager-, engineer-, client-CODE); else no sign-in"
        )

    def handle(self, *args: Any, code: str, seed: int, password: str | None, **options: Any) -> None:
        if settings.PRODUCTION and password:
            raise CommandError("Invented people with a password on the command line do not belong in production.")
        if Project.objects.filter(code=code).exists():
            raise CommandError(f"There is a project {code} already.")
        size = Size(**{name: options[name] for name in ("sites", "systems", "items", "readings")})
        if min(size.sites, size.systems) < 1 or size.systems < size.sites:
            raise CommandError("Every site needs a system.")
        start = time.monotonic()
        make_large(code=code, size=size, seed=seed, password=password, say=self._say(start))
        self._say(start)("made")

    def _say(self, start: float) -> Any:
        return lambda words: self.stdout.write(f"{time.monotonic() - start:6.1f} s  {words}")
