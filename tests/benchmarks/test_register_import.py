"""Twenty thousand rows into the register: against the workbook library reading the same file alone, and in what memory.

Run with `pytest -m benchmark_ratio -n 0 tests/benchmarks/test_register_import.py`.
"""

from __future__ import annotations

import io
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from openpyxl import load_workbook

from commissioning.models import Equipment
from commissioning.register_import.apply import apply_plan, import_workbook
from commissioning.register_import.reading import read_upload
from commissioning.register_import.register_sheets import keepers
from commissioning.selectors.access import access_or_404
from tests.support import books, world

pytestmark = pytest.mark.benchmark_ratio

ROWS = 20_000
#: Rows per second of the whole import as a part of the library's own; 0.38 was measured on SQLite.
FLOOR = 0.2
PEAK_MEGABYTES = 300
ROOT = Path(__file__).resolve().parents[2]

_HEADS = ["tag", "system", "parent", "description", "kind", "serial number", "maker", "model", "cells", "rated current"]


def _workbook(system: str) -> io.BytesIO:
    rows = (
        [
            f"TAG-{at:05d}",
            system,
            f"TAG-{at - 1:05d}" if at % 10 else None,
            f"cubicle {at} way {at % 24}",
            "battery",
            f"SN-{at}",
            "Harrowmere",
            "HN-100",
            54,
            25.5,
        ]
        for at in range(ROWS)
    )
    return books.xlsx({"Equipment": [_HEADS, *rows]})


@pytest.mark.django_db
def test_an_import_keeps_pace_with_the_reading_of_its_file(small_world: world.World) -> None:
    file = _workbook(small_world.system.tag)
    start = time.perf_counter()
    count = sum(1 for tab in load_workbook(file, read_only=True) for _ in tab.iter_rows(values_only=True))
    alone = time.perf_counter() - start
    assert count == ROWS + 1

    start = time.perf_counter()
    workbook = read_upload(file=file, name="register.xlsx", sheets=[keeper.sheet for keeper in keepers()])
    plan = import_workbook(actor=small_world.manager, project=small_world.project, workbook=workbook)
    whole = time.perf_counter() - start
    assert Equipment.objects.count() == ROWS
    print(f"\n{ROWS / whole:.0f} rows/s, {alone / whole:.2f} of the library's own {ROWS / alone:.0f} rows/s")
    assert alone / whole >= FLOOR

    access = access_or_404(user=small_world.manager, project=small_world.project)
    again = apply_plan(access=access, plan=plan)
    assert again.changes_nothing


_SETUP = """
import django; django.setup()
from django.core.management import call_command
call_command("migrate", verbosity=0)
from tests.support import world
world.Project.objects.all().delete()
print(world.make_project().project.code)
"""


def test_an_import_stays_within_its_memory(tmp_path: Path) -> None:
    """A process of its own, on the embedded database: the most that it ever held, as the system counted it."""
    unset = {"DATABASE_URL", "TRACKER_TEST_RUN_DIR", "PYTEST_XDIST_WORKER"}
    env = {name: value for name, value in os.environ.items() if name not in unset}
    env |= {"DJANGO_SETTINGS_MODULE": "deploy.settings", "TRACKER_DATA_DIR": str(tmp_path / "data")}
    made = subprocess.run([sys.executable, "-c", _SETUP], cwd=ROOT, env=env, capture_output=True, text=True, check=True)
    code = made.stdout.split()[-1]
    path = tmp_path / "register.xlsx"
    path.write_bytes(_workbook("GUB10").getvalue())
    process = subprocess.Popen(
        [sys.executable, "manage.py", "register_import", code, str(path)], cwd=ROOT, env=env, stdout=subprocess.DEVNULL
    )
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    assert process.returncode == 0
    peak = usage.ru_maxrss / 1024
    print(f"\n{peak:.0f} MB at most")
    assert peak < PEAK_MEGABYTES
