"""Is this process alive, and can it serve? Each check does what it is named after, within a time limit.

`live` touches nothing but this process: a machine must not be thrown away because the database is. `ready` writes to
the database, compares migrations, asks the broker and stores and reads a file; what does not answer in time has failed.
The answers say which check failed and nothing more; the reason goes to the log.
"""

from __future__ import annotations

import logging
import socket
import threading
import time
from collections.abc import Callable, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from functools import cache
from pathlib import Path
from uuid import uuid4

import redis
from django.conf import settings
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import connection, connections, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.http import HttpRequest, JsonResponse

from deploy.operations import seen

log = logging.getLogger(__name__)

SECONDS = 4.0
HOST = socket.gethostname()[:60]


def database() -> None:
    """A committed write: a read-only copy or a full disk is not ready."""
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SET LOCAL statement_timeout = '3s'")
        seen.note("ready", HOST)


def migrations() -> None:
    """Every migration of this version of the code is applied; more may be, while a newer version moves in."""
    missing = _migrations_of_the_code() - set(MigrationRecorder(connection).applied_migrations())
    if missing:
        raise RuntimeError(f"not applied: {sorted(missing)}")


def broker() -> None:
    """Redis answers, or the embedded broker's folder takes a message."""
    if settings.REDIS_URL:
        with redis.Redis.from_url(settings.REDIS_URL, socket_timeout=2, socket_connect_timeout=2) as client:
            client.ping()
        return
    path = Path(settings.DATA_DIR) / "broker-control" / f"ready-{HOST}"
    path.write_text("ready")
    path.unlink()


def files() -> None:
    """What is stored is read back the same."""
    content = uuid4().hex.encode()
    name = default_storage.save(f"health/{HOST}", ContentFile(content))
    try:
        with default_storage.open(name) as file:
            if file.read() != content:
                raise RuntimeError("the file store gives back other bytes than it was given")
    finally:
        default_storage.delete(name)


CHECKS: dict[str, Callable[[], None]] = {
    "database": database,
    "migrations": migrations,
    "broker": broker,
    "files": files,
}


class Prober:
    """Runs the checks side by side. One that hangs is not started a second time: it counts as failed until it ends."""

    def __init__(self, checks: Mapping[str, Callable[[], None]], seconds: float = SECONDS) -> None:
        self.checks, self.seconds = checks, seconds
        self._pool = ThreadPoolExecutor(max_workers=len(checks), thread_name_prefix="ready")
        self._running: dict[str, Future[bool]] = {}
        self._lock = threading.Lock()

    def ask(self) -> dict[str, bool]:
        """Each check by name: True where it held within the time."""
        with self._lock:
            for name, check in self.checks.items():
                if name not in self._running or self._running[name].done():
                    self._running[name] = self._pool.submit(_held, name, check)
            running = dict(self._running)
        end = time.monotonic() + self.seconds
        return {name: _in_time(name, future, end - time.monotonic()) for name, future in running.items()}


@cache
def prober() -> Prober:
    """The one of this process, made where it is first asked: threads do not survive a fork."""
    return Prober(CHECKS)


def live(request: HttpRequest) -> JsonResponse:
    """This process answers."""
    return _answer({"live": True}, 200)


def ready(request: HttpRequest) -> JsonResponse:
    """200 while this process can do all of its work, 503 otherwise."""
    found = prober().ask()
    held = all(found.values())
    words = {name: "ok" if one else "failed" for name, one in found.items()}
    return _answer({"ready": held, "checks": words}, 200 if held else 503)


def _answer(body: Mapping[str, object], status: int) -> JsonResponse:
    return JsonResponse(body, status=status, headers={"Cache-Control": "no-store"})


def _held(name: str, check: Callable[[], None]) -> bool:
    try:
        check()
    except Exception:
        log.warning("Not ready: the check of %s failed.", name, exc_info=True)
        return False
    finally:
        connections.close_all()
    return True


def _in_time(name: str, future: Future[bool], seconds: float) -> bool:
    try:
        return future.result(timeout=max(seconds, 0.0))
    except TimeoutError:
        log.warning("Not ready: the check of %s did not answer in time.", name)
        return False


@cache
def _migrations_of_the_code() -> frozenset[tuple[str, str]]:
    loader = MigrationLoader(None, ignore_no_migrations=True)
    replaced = {key for one in loader.disk_migrations.values() for key in one.replaces}
    return frozenset(set(loader.disk_migrations) - replaced)
