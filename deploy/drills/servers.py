"""Servers that a drill starts for itself, on ports and in folders of its own, and ends again."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

import psycopg

ROOT = Path(__file__).resolve().parent.parent.parent
#: What the drill's own environment must not hand on: the product's settings are the drill's to make.
_OURS = ("TRACKER_", "DATABASE_URL", "REDIS_URL", "DJANGO_", "PG")


class DrillFailed(Exception):
    """The drill could not be carried out, or found what must not be; the words say what."""


def clean_environment(**given: str) -> dict[str, str]:
    """This process's environment without anything that the product reads, and with what is given."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(_OURS)}
    return {**kept, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1", **given}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for(what: str, condition: Callable[[], object], *, seconds: float = 60) -> float:
    """Wait until it holds; how long that took."""
    begin = time.monotonic()
    while not condition():
        if time.monotonic() - begin > seconds:
            raise DrillFailed(f"waited {seconds:g} s in vain for {what}")
        time.sleep(0.05)
    return time.monotonic() - begin


_SETUP = "import django; django.setup(); from django.core.management import call_command; "


def product(code: str, *, env: Mapping[str, str]) -> str:
    """Have the product do something in a process of its own; answers with what it said."""
    command = [sys.executable, "-c", _SETUP + code]
    done = subprocess.run(command, cwd=ROOT, env=dict(env), capture_output=True, text=True, check=False)
    if done.returncode:
        raise DrillFailed(f"{code[:80]}: {(done.stderr or done.stdout).strip()[-1500:]}")
    return done.stdout


@dataclass
class Server:
    """One program in a process group of its own, started, killed outright and started again."""

    name: str
    command: Sequence[str]
    log: Path
    env: Mapping[str, str]
    user: str | None = None
    #: Words in front of the command, such as `ip netns exec NAME`.
    before: Sequence[str] = ()
    process: subprocess.Popen[bytes] | None = field(default=None)

    def start(self) -> Server:
        with self.log.open("ab") as out:
            self.process = subprocess.Popen(
                [*self.before, *self.command],
                stdin=subprocess.DEVNULL,
                stdout=out,
                stderr=out,
                env=dict(self.env),
                user=None if self.before else self.user,
                cwd=ROOT,
                start_new_session=True,
            )
        return self

    @property
    def alive(self) -> bool:
        return self.process is not None and self.process.poll() is None

    def kill(self) -> None:
        """`kill -9` of the program and of all that it started."""
        self._end(signal.SIGKILL)

    def stop(self, seconds: float = 15) -> None:
        if self.process is None:
            return
        if self.alive:
            self.process.terminate()
            with suppress(subprocess.TimeoutExpired):
                self.process.wait(seconds)
        self._end(signal.SIGKILL)

    def _end(self, how: signal.Signals) -> None:
        if self.process is not None:
            with suppress(ProcessLookupError):
                os.killpg(self.process.pid, how)
            self.process.wait()


def redis_server(folder: Path, *, host: str = "127.0.0.1", before: Sequence[str] = ()) -> tuple[Server, str]:
    """A Redis that keeps nothing, and its address: what the broker loses, the record rings for again."""
    port = free_port()
    command = [_program("redis-server"), "--port", str(port), "--bind", host, "--save", "", "--dir", str(folder)]
    command += ["--protected-mode", "no"]
    return Server("Redis", command, folder / "redis.log", os.environ, before=before), f"redis://{host}:{port}/0"


def postgres_server(folder: Path, *, host: str = "127.0.0.1", before: Sequence[str] = ()) -> tuple[Server, str]:
    """A PostgreSQL of the drill's own, every commit on its disk (fsync on); and the address of its first database."""
    programs = postgres_programs()
    user = "postgres" if os.geteuid() == 0 else None  # it refuses to run as root
    home = folder / "postgres"
    home.mkdir(exist_ok=True)
    if user:
        shutil.chown(home, user)
    port = free_port()
    made = subprocess.run(
        [str(programs / "initdb"), "-D", str(home / "data"), "-U", "postgres", "-A", "trust", "-E", "UTF8"],
        user=user, cwd=home, capture_output=True, text=True, check=False,
    )  # fmt: skip
    if made.returncode:
        raise DrillFailed(f"initdb: {made.stderr.strip()}")
    with (home / "data" / "pg_hba.conf").open("a") as rules:
        rules.write("host all all samenet trust\n")
    command = [str(programs / "postgres"), "-D", str(home / "data"), "-p", str(port), "-k", str(home), "-h", host]
    command += ["-c", "max_connections=150", "-c", "shared_buffers=64MB"]
    if before and user:
        before = [*before, "runuser", "-u", user, "--"]
    log = folder / "postgres.log"
    server = Server("PostgreSQL", command, log, clean_environment(), user=user, before=before)
    return server, f"postgresql://postgres@{host}:{port}/postgres"


def postgres_programs() -> Path:
    for found in sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True):
        if (found / "initdb").exists():
            return found
    found_here = shutil.which("initdb")
    if found_here:
        return Path(found_here).parent
    raise DrillFailed("PostgreSQL's own programs (initdb, postgres) are not on this machine: install `postgresql`.")


def postgres_answers(url: str) -> bool:
    try:
        with psycopg.connect(url, connect_timeout=2, autocommit=True) as connection:
            connection.execute("SELECT 1")
    except psycopg.Error:
        return False
    return True


def named_database(url: str, name: str) -> str:
    """The same server's database of another name."""
    return url.rsplit("/", 1)[0] + f"/{name}"


def make_database(url: str, name: str, *, like: str = "template1") -> str:
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}" TEMPLATE "{like}"')  # type: ignore[call-overload]
    return named_database(url, name)


def drop_database(url: str, name: str) -> None:
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')  # type: ignore[call-overload]


def _program(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        raise DrillFailed(f"{name} is not on this machine: install it.")
    return found
