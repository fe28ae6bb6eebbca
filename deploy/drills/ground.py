"""The installation that a drill breaks: every server of a real one, and somebody who starts again what died."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from urllib.parse import urlparse

from .between import Namespace, Relay, ShortFiles, SmallDisk, disk, network
from .servers import (
    Server,
    clean_environment,
    free_port,
    make_database,
    named_database,
    postgres_answers,
    postgres_server,
    product,
    redis_server,
    wait_for,
)
from .tidings import answers_ready, processes_of

#: A disk that holds the database, its log and some hundred photos, and is full in a moment.
MEGABYTES = 700
#: Short leases, so that a drill of minutes sees jobs change hands.
LEASE = {"TRACKER_JOB_LEASE_SECONDS": "6", "TRACKER_JOB_SWEEP_SECONDS": "2"}
FILL = "from deploy.demo.load import load_demo; load_demo()"


class Ground:
    """PostgreSQL and Redis on one machine, web, workers and schedulers on another, one network and one disk."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.network: Namespace | Relay = network()
        self.disk: SmallDisk | ShortFiles = disk(folder / "disk", MEGABYTES)
        self.files = self.disk.folder / "data" / "files"
        self.port = free_port()
        self.servers: dict[str, Server] = {}
        self._held: set[str] = set()
        self._ended = threading.Event()

    def start(self) -> None:
        """Everything runs, with the demo project in it."""
        postgres, url = postgres_server(self.disk.folder, host=self.network.host, before=self.network.before)
        postgres.command = [*postgres.command, "-c", "max_wal_size=96MB", "-c", "min_wal_size=32MB"]
        postgres.log = self.folder / "postgres.log"
        redis, broker = redis_server(self.folder, host=self.network.host, before=self.network.before)
        self.servers |= {"postgres": postgres.start(), "redis": redis.start()}
        server = self._through(url)
        wait_for("PostgreSQL", lambda: postgres_answers(server))
        make_database(server, "tracker")
        self.url = named_database(server, "tracker")
        self.env = clean_environment(
            DATABASE_URL=self.url,
            REDIS_URL=self._through(broker),
            TRACKER_DATA_DIR=str(self.disk.folder / "data"),
            TRACKER_BIND=f"127.0.0.1:{self.port}",
            TRACKER_WEB_PROCESSES="2",
            DJANGO_SETTINGS_MODULE="deploy.settings",
            **LEASE,
        )
        product(f"call_command('migrate', verbosity=0); {FILL}", env=self.env)
        web = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn_config.py", "deploy.wsgi"]
        self.add("web", *web)
        self.add_worker("short worker", "short")
        self.add_worker("long worker", "long")
        self.add_worker("second long worker", "long")
        self.add_scheduler("scheduler")
        threading.Thread(target=self._look_after, daemon=True).start()
        wait_for("the web server", self.ready, seconds=60)

    def add(self, name: str, *command: str) -> None:
        log = self.folder / f"{name.replace(' ', '-')}.log"
        self.servers[name] = Server(name, command, log, self.env).start()

    def add_worker(self, name: str, queue: str) -> None:
        command = [sys.executable, "-m", "celery", "-A", "deploy", "worker", "-Q", queue, "--concurrency", "1"]
        self.add(name, *command, "--loglevel", "INFO", "--hostname", f"{name.replace(' ', '-')}@drill")

    def add_scheduler(self, name: str) -> None:
        self.add(name, sys.executable, "-m", "celery", "-A", "deploy", "beat", "--loglevel", "INFO")

    def kill(self, name: str, *, away: float = 0) -> None:
        """`kill -9`, and whoever looks after the machine starts it again; `away`: after so many seconds."""
        self._held.add(name)
        server = self.servers[name]
        assert server.process is not None  # noqa: S101 (it was started)
        children = processes_of(server.process.pid)[1:]
        server.kill()
        for one in children:  # PostgreSQL's processes are groups of their own
            with suppress(ProcessLookupError):
                os.kill(one, signal.SIGKILL)
        time.sleep(away)
        self._held.discard(name)

    def worker_of(self, process: int) -> str:
        """Which of the workers this process belongs to."""
        group = os.getpgid(process)
        return next(name for name, one in self.servers.items() if one.process and one.process.pid == group)

    def processes(self) -> list[int]:
        """Every process of web, workers and schedulers."""
        own = [
            one.process.pid for name, one in self.servers.items() if one.process and name not in ("postgres", "redis")
        ]
        return [process for one in own for process in processes_of(one)]

    def ready(self) -> bool:
        """What the load balancer asks."""
        return answers_ready(self.port)

    def end(self) -> None:
        self._ended.set()
        self.network.join()
        for name in reversed(list(self.servers)):
            self.servers[name].kill() if name in ("postgres", "redis") else self.servers[name].stop()
        self.network.taken_up()
        self.disk.removed()

    def _through(self, url: str) -> str:
        """The address of a server as the other machine reaches it."""
        port = urlparse(url).port
        assert port is not None  # noqa: S101 (the drill gave it one)
        host, port_there = self.network.address(port)
        return url.replace(f"{self.network.host}:{port}", f"{host}:{port_there}")

    def _look_after(self) -> None:
        """Start again what died, a second later, as `Restart=always` and a compose file do."""
        while not self._ended.wait(1):
            for name, server in list(self.servers.items()):
                if name not in self._held and not server.alive and not self._ended.is_set():
                    server.start()


@contextmanager
def ground(folder: Path) -> Iterator[Ground]:
    """The installation, and nothing of it afterwards."""
    laid = Ground(folder)
    try:
        laid.start()
        yield laid
    finally:
        laid.end()
