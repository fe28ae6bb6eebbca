"""Programs that some tests need beside Python: an address from the environment, else the program on this machine.

Where neither is there the test says why it was skipped. On the build server (CI=true) that is a failure: there the
programs are installed, so a skip would hide a test that never runs.
"""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import NoReturn

import pytest

POSTGRES = "TRACKER_TEST_POSTGRES_URL"
REDIS = "TRACKER_TEST_REDIS_URL"
CHROMIUM = "TRACKER_TEST_CHROMIUM"
Process = subprocess.Popen[bytes]


def missing(what: str, variable: str) -> NoReturn:
    """Skip with the reason; on the build server, fail with it."""
    words = f"needs {what}: install it, or say where it is in {variable}"
    if os.environ.get("CI") == "true":
        pytest.fail(words)
    pytest.skip(words)


def free_port() -> int:
    """A port that nobody listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_until(condition: Callable[[], object], *, what: str, seconds: float = 120) -> None:
    """Wait for something outside this process; fails with `what` when it does not come (a busy machine is slow)."""
    end = time.monotonic() + seconds
    while not condition():
        if time.monotonic() > end:
            pytest.fail(f"waited {seconds:g} s in vain for {what}")
        time.sleep(0.05)


def answers(port: int) -> bool:
    """True when something accepts connections on this port of this machine."""
    with socket.socket() as probe:
        probe.settimeout(1)
        return probe.connect_ex(("127.0.0.1", port)) == 0


def chromium_path() -> str:
    """Chromium's program, or the test is skipped."""
    path = os.environ.get(CHROMIUM) or shutil.which("chromium") or shutil.which("chromium-browser")
    return path if path and Path(path).exists() else missing("Chromium", CHROMIUM)


@contextmanager
def redis_address(folder: Path) -> Iterator[str]:
    """The address of a Redis: the one that is named, or one started for this run."""
    if url := os.environ.get(REDIS):
        yield url
        return
    program = shutil.which("redis-server") or missing("redis-server", REDIS)
    port = free_port()
    command = [program, "--port", str(port), "--bind", "127.0.0.1", "--save", "", "--dir", str(folder)]
    with running(command, folder / "redis.log"):
        wait_until(lambda: answers(port), what="redis-server")
        yield f"redis://127.0.0.1:{port}/0"


@contextmanager
def postgres_address() -> Iterator[str]:
    """The address of a PostgreSQL server's maintenance database: the one that is named, or one started for this run."""
    if url := os.environ.get(POSTGRES):
        yield url
        return
    programs = _postgres_programs() or missing("PostgreSQL", POSTGRES)
    with tempfile.TemporaryDirectory(prefix="tracker-postgres-", ignore_cleanup_errors=True) as name:
        folder, user = Path(name), _user_for_postgres()
        if user:
            shutil.chown(folder, user)
        with _cluster(programs, folder, user) as url:
            yield url


@contextmanager
def _cluster(programs: Path, folder: Path, user: str | None) -> Iterator[str]:
    data, port = folder / "cluster", free_port()
    initdb = [str(programs / "initdb"), "-D", str(data), "-U", "postgres", "-A", "trust", "-E", "UTF8", "--no-sync"]
    subprocess.run(initdb, check=True, capture_output=True, user=user, cwd=folder)
    server = [str(programs / "postgres"), "-D", str(data), "-p", str(port), "-k", str(folder), "-h", "127.0.0.1", "-F"]
    with running(server, folder / "postgres.log", user=user):
        ready = [str(programs / "pg_isready"), "-q", "-h", "127.0.0.1", "-p", str(port)]
        wait_until(lambda: subprocess.run(ready, check=False).returncode == 0, what="PostgreSQL")
        yield f"postgresql://postgres@127.0.0.1:{port}/postgres"


@contextmanager
def running(command: list[str], log: Path, *, user: str | None = None, **more: object) -> Iterator[Process]:
    """A program that runs for the length of the block, in a process group of its own; its words go to `log`."""
    with log.open("ab") as out:
        process = subprocess.Popen(command, stdout=out, stderr=out, user=user, start_new_session=True, **more)  # type: ignore[call-overload]
    try:
        yield process
    finally:
        stop(process)


def stop(process: Process, seconds: float = 10) -> None:
    """End a program that was started by `running`, by force where it does not end by itself."""
    if process.poll() is None:
        process.terminate()
        try:
            process.wait(seconds)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _postgres_programs() -> Path | None:
    found = shutil.which("postgres")
    folders = [Path(found).parent] if found else []
    folders += sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    return next((folder for folder in folders if (folder / "initdb").exists()), None)


def _user_for_postgres() -> str | None:
    """PostgreSQL refuses to run as root: it gets its own user there."""
    if os.geteuid() != 0:
        return None
    try:
        pwd.getpwnam("postgres")
    except KeyError:
        missing("a user named postgres, since PostgreSQL does not run as root", POSTGRES)
    return "postgres"
