"""The fault drill: `python -m deploy.drills.faults [--only NAME …] [--rounds N]`.

A whole installation of its own (gunicorn, workers for short and long jobs, scheduler, PostgreSQL, Redis) is put under
load: people raise punch items with photos under UUIDs of their own and ask for dossiers. Then things break, one after
the other; nobody helps but what starts dead processes again. Afterwards it counts what was acknowledged in the database
and in the files, prints the counts, and ends with 1 where anything is lost, done twice, half-written or not recovered.

As root on Linux the network is a namespace whose cable is pulled and the disk a small tmpfs that is filled; elsewhere a
relay and RLIMIT_FSIZE stand in, and it says so. PostgreSQL's programs and redis-server must be installed.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import psycopg

from . import verdict
from .ground import Ground, ground
from .pressure import Person, Told, ask_for_dossiers, at_work, write_items
from .servers import DrillFailed, product, wait_for

WRITERS = 4
#: How long something stays broken, so that people meet it.
BROKEN_SECONDS = 8.0
#: Longer than this nobody should wait for a machine that mends itself.
RECOVERY_SECONDS = 120.0
#: A recovered product takes so many writes again.
TAKEN_AGAIN = 8
TOKENS = """
from datetime import timedelta
from commissioning.models import System, User
from commissioning.services.api_tokens import make_token
import json
people = User.objects.in_bulk(["tobin", "isolde"], field_name="username").values()
made = {one.username: make_token(user=one, name="drill", scope="write", lasts=timedelta(hours=3))[1] for one in people}
systems = {one.tag: str(one.pk) for one in System.objects.filter(project__code="OMB")}
print(json.dumps({"tokens": made, "systems": systems}))
"""
#: What the product does by itself once a day, for files older than a day.
SWEEP = "call_command('sweep_files', hours=0, however_many=True)"


@dataclass
class Line:
    """One fault, as the table tells it."""

    fault: str
    taken: int = 0
    unanswered: int = 0
    refusals: int = 0
    not_ready: bool = False
    back_seconds: float = 0.0
    must_be_met: bool = True


class Drill:
    """The faults, each a method that breaks something and mends it, or leaves that to the product."""

    def __init__(self, ground: Ground, told: Told) -> None:
        self.ground, self.told = ground, told

    def worker_in_a_dossier(self) -> None:
        """kill -9 of the worker in the middle of a dossier"""
        process = 0

        def drawing() -> bool:
            nonlocal process
            found = self._rows(
                "SELECT lease_holder FROM commissioning_job WHERE kind = 'dossier' AND state = 'running' "
                "AND words LIKE 'drawing%'"
            )
            process = int(str(found[0][0]).split(":")[1]) if found else 0
            return bool(found)

        wait_for("a dossier that is being drawn", drawing)
        with suppress(ProcessLookupError, StopIteration):
            self.ground.kill(self.ground.worker_of(process))

    def web_in_a_write(self) -> None:
        """kill -9 of the web server in the middle of writes"""
        self._wait_for_writes(3)
        self.ground.kill("web")

    def redis_restarted(self) -> None:
        """kill -9 of Redis, which comes back empty"""
        self.ground.kill("redis", away=BROKEN_SECONDS / 2)

    def postgres_killed(self) -> None:
        """kill -9 of PostgreSQL in the middle of writes"""
        self._wait_for_writes(3)
        self.ground.kill("postgres", away=BROKEN_SECONDS / 2)

    def disk_full(self) -> None:
        """the disk is full"""
        end = time.monotonic() + BROKEN_SECONDS
        while time.monotonic() < end:
            self.ground.disk.fill(self.ground.processes())
            time.sleep(0.05)
        self.ground.disk.empty(self.ground.processes())

    def network_cut(self) -> None:
        """the network between web, workers and database is cut"""
        self.ground.network.cut()
        time.sleep(BROKEN_SECONDS * 2)
        self.ground.network.join()

    def two_schedulers(self) -> None:
        """two schedulers at once, and a worker killed under them"""
        self.ground.add_scheduler("second scheduler")
        time.sleep(BROKEN_SECONDS / 2)
        self.worker_in_a_dossier()
        time.sleep(BROKEN_SECONDS * 2)
        self.ground.servers.pop("second scheduler").stop()

    def _rows(self, query: str) -> list[tuple[object, ...]]:
        with psycopg.connect(self.ground.url, connect_timeout=5) as connection:
            return connection.execute(query).fetchall()  # type: ignore[call-overload, no-any-return]

    def _wait_for_writes(self, more: int) -> None:
        before = self.told.writes
        wait_for("people who write", lambda: self.told.writes >= before + more)


FAULTS: dict[str, Callable[[Drill], None]] = {
    "worker": Drill.worker_in_a_dossier,
    "web": Drill.web_in_a_write,
    "redis": Drill.redis_restarted,
    "postgres": Drill.postgres_killed,
    "disk": Drill.disk_full,
    "network": Drill.network_cut,
    "schedulers": Drill.two_schedulers,
}


def drill(folder: Path, names: list[str], rounds: int) -> int:
    """Every fault under load, then the counts; 0 when they are all nothing."""
    told = Told()
    with ground(folder) as laid:
        print(f"network: {laid.network.kind}\ndisk: {laid.disk.kind}", flush=True)
        known = json.loads(product(TOKENS, env=laid.env).strip().splitlines()[-1])
        systems = list(known["systems"].values())
        engineer, manager = (Person(laid.port, known["tokens"][name], told) for name in ("tobin", "isolde"))
        targets = [{"scope": "project"}, *({"scope": "system", "system": one} for one in systems)]
        deeds = [partial(write_items, engineer, systems=systems[number:]) for number in range(WRITERS)]
        deeds += [partial(ask_for_dossiers, manager, targets=targets[part::2]) for part in range(2)]
        drilled = Drill(laid, told)
        with at_work([lambda stop, deed=deed: deed(stop=stop) for deed in deeds]) as stop:  # type: ignore[misc]
            wait_for("people who write", lambda: told.writes > TAKEN_AGAIN)
            lines = [strike(drilled, FAULTS[name]) for _ in range(rounds) for name in names]
        assert stop.is_set()  # noqa: S101
        wait_for("every job to end", lambda: _all_ended(laid.url), seconds=RECOVERY_SECONDS)
        product("call_command('audit_verify'); call_command('counters', 'audit')", env=laid.env)
        swept = product(SWEEP, env=laid.env).strip().splitlines()[-1]
        found = verdict.count(laid.url, laid.files, told)
    print(f"\nnamed by nothing, as a process that dies between a file and its row leaves it: {swept}")
    return report(lines, told, found)


def strike(drilled: Drill, fault: Callable[[Drill], None]) -> Line:
    """One fault: broken, mended, and waited for until everything is taken again."""
    told = drilled.told
    line = Line(" ".join((fault.__doc__ or "").split()))
    before, answers = told.writes, told.answers.copy()
    watched = threading.Event()

    def watch() -> None:
        while not watched.wait(0.3):
            line.not_ready |= not drilled.ground.ready()

    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    fault(drilled)
    mended, at = time.monotonic(), told.writes
    wait_for(f"writes after: {line.fault}", lambda: told.writes >= at + TAKEN_AGAIN, seconds=RECOVERY_SECONDS)
    wait_for(f"readiness after: {line.fault}", drilled.ground.ready, seconds=RECOVERY_SECONDS)
    line.back_seconds = time.monotonic() - mended
    # A killed worker is met by a job, which the fault itself waited for; the pages never notice.
    line.must_be_met = fault not in (Drill.worker_in_a_dossier, Drill.two_schedulers)
    watched.set()
    watcher.join()
    since = told.answers - answers
    line.taken, line.unanswered = told.writes - before, since[0]
    line.refusals = sum(times for status, times in since.items() if status >= 500)
    print(f"  {line.back_seconds:5.1f} s  {line.fault}", flush=True)
    return line


def report(lines: list[Line], told: Told, found: dict[str, int]) -> int:
    """The tables, and whether all is well."""
    unmet = [one.fault for one in lines if one.must_be_met and not one.unanswered + one.refusals and not one.not_ready]
    found = found | {
        "faults that nobody met": len(unmet),
        "failures without words": len(told.wordless),
        "refused without reason": len(told.refused),
    }
    print("\n| fault | writes taken | tries without answer | answered 5xx in words | not ready said | back after |")
    print("| --- | --- | --- | --- | --- | --- |")
    for one in lines:
        said = "yes" if one.not_ready else "no"
        print(f"| {one.fault} | {one.taken} | {one.unanswered} | {one.refusals} | {said} | {one.back_seconds:.1f} s |")
    print(
        f"\n{len(told.items)} punch items, {len(told.photos)} photos and {len(told.jobs)} dossiers were acknowledged."
    )
    print("\n| what must not be | count |\n| --- | --- |")
    for words, number in found.items():
        print(f"| {words} | {number} |")
    for words in [*told.wordless, *told.refused][:10]:
        print(f"  {words}")
    wrong = sum(found.values())
    print("The drill passed." if not wrong else f"THE DRILL FAILED: {wrong} of what must not be.")
    return 1 if wrong else 0


def _all_ended(url: str) -> bool:
    with psycopg.connect(url, connect_timeout=5) as connection:
        row = connection.execute("SELECT count(*) FROM commissioning_job WHERE state IN ('waiting', 'running')")
        return row.fetchone() == (0,)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--only", nargs="+", choices=list(FAULTS), default=list(FAULTS), help="these faults only")
    parser.add_argument("--rounds", type=int, default=1, help="all of them so many times")
    parser.add_argument("--keep", type=Path, help="a folder where logs and data stay")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="tracker-drill-") as name:
        folder = given.keep or Path(name)
        folder.mkdir(parents=True, exist_ok=True)
        os.chmod(folder, 0o755)  # noqa: S103 (PostgreSQL runs as somebody else)
        try:
            return drill(folder, given.only, given.rounds)
        except DrillFailed as failure:
            print(f"THE DRILL FAILED: {failure}")
            return 1


if __name__ == "__main__":
    sys.exit(main())
