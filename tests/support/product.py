"""The running product for tests: the web server and a worker, on the database of the test process."""

from __future__ import annotations

import os
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from django.conf import settings
from django.db import connection

from tests.support.programs import free_port, running, wait_until

ROOT = Path(__file__).resolve().parent.parent.parent


@dataclass(frozen=True)
class Product:
    """Where the running product answers, and where it writes what it has to say."""

    address: str
    log: Path


def environment(**more: str) -> dict[str, str]:
    """The environment of a process that works on this test process's database, files and broker."""
    return {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": "tests.support.settings",
        "TRACKER_TEST_PROCESS": settings.PROCESS,
        "TRACKER_TEST_DATABASE": str(connection.settings_dict["NAME"]),
        "PYTHONPATH": str(ROOT),
        "PYTHONUNBUFFERED": "1",
        **more,
    }


@contextmanager
def web_server(folder: Path) -> Iterator[Product]:
    """Gunicorn with the configuration that the product is run with."""
    port = free_port()
    command = [sys.executable, "-m", "gunicorn", "--config", "deploy/gunicorn_config.py", "deploy.wsgi"]
    env = environment(TRACKER_BIND=f"127.0.0.1:{port}")
    log = folder / "web.log"
    with running(command, log, env=env, cwd=ROOT):
        wait_until(lambda: responds(f"http://127.0.0.1:{port}/"), what=f"the web server, see {log}")
        yield Product(address=f"http://127.0.0.1:{port}", log=log)


@contextmanager
def worker(folder: Path, **env: str) -> Iterator[int]:
    """A Celery worker as the product runs it; answers with its process number once it listens."""
    log = folder / f"worker-{free_port()}.log"
    command = [sys.executable, "-m", "celery", "-A", "deploy", "worker", "--concurrency", "1", "--loglevel", "INFO"]
    command += ["--without-gossip", "--without-mingle", "--without-heartbeat"]
    with running(command, log, env=environment(**env), cwd=ROOT) as process:
        wait_until(lambda: log.exists() and " ready." in log.read_text(), what=f"the worker, see {log}")
        yield process.pid


class WorkerOnCall:
    """The worker of the running product: there while a test needs it, away while a test brings workers of its own."""

    def __init__(self, folder: Path) -> None:
        self._folder, self._running = folder, ExitStack()
        self._listens = False

    def start(self) -> None:
        """It listens afterwards."""
        if not self._listens:
            self._running.enter_context(worker(self._folder))
            self._listens = True

    def stop(self) -> None:
        """It is gone afterwards."""
        self._running.close()
        self._listens = False


def responds(address: str) -> bool:
    """True when a web server answers there, whatever it says."""
    try:
        urllib.request.urlopen(address, timeout=5).close()
    except urllib.error.HTTPError:
        return True
    except OSError:
        return False
    return True
