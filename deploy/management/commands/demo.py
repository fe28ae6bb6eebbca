"""`manage.py demo`: the whole product on this machine, with the fictional Ombrefell Water in it."""

from __future__ import annotations

import fcntl
import os
import shutil
import signal
import socket
import sys
import time
import urllib.error
import urllib.request
from argparse import ArgumentParser
from collections.abc import Callable
from pathlib import Path
from typing import Any, TextIO

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connections

from commissioning.services import daily_mail, jobs, notices, outbox_files, outgoing
from commissioning.stored_files import clear_half_written
from commissioning.tasks import send_mails
from deploy.demo.load import load_demo
from deploy.demo.people import Login
from deploy.environment import text
from deploy.operations import seen
from deploy.operations.versions import version
from deploy.supervisor import Child, Supervisor
from deploy.tasks import sweep_strays
from punchlist.services import overdue

#: What the product keeps in its data folder, and all that --fresh removes there.
KEPT = (
    *("tracker.sqlite3", "tracker.sqlite3-wal", "tracker.sqlite3-shm"),
    *("files", "broker", "broker-control", "log", "dossier-work"),
)
START_SECONDS = 90
STOP_SECONDS = 8


class Command(BaseCommand):
    help = "Start the product with its demo project: web server and background worker, on this machine only."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--port", type=int, default=8000, help="where the pages answer (8000)")
        parser.add_argument("--fresh", action="store_true", help="throw the demo's data away and start over")

    def handle(self, *args: Any, port: int, fresh: bool, **options: Any) -> None:
        refuse_other_databases()
        refuse_busy_port(port)
        with only_one(settings.DATA_DIR):
            if fresh:
                remove_data(settings.DATA_DIR)
            empty_broker(settings.DATA_DIR)
            call_command("migrate", interactive=False, verbosity=0)
            settings.PUBLIC_URL = public_url(port)  # printed in the QR code of the dossier that is made here
            logins = load_demo(lambda words: self.say(f"making the demo project: {words}"))
            jobs.sweep(everything_waiting=True)
            connections.close_all()
            self.serve(port, logins)

    def serve(self, port: int, logins: list[Login]) -> None:
        """Run the children until Ctrl-C or a termination signal."""
        supervisor = Supervisor(children(port), say=lambda words: self.say(words))
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, lambda *_: setattr(supervisor, "stopping", True))
        address = f"http://localhost:{port}/"
        supervisor.start()
        try:
            self.wait_until_ready(supervisor, port)
            if not supervisor.stopping:
                self.say(welcome(address, logins))
            look_after(supervisor)
        finally:
            self.say("Stopping.")
            supervisor.stop(STOP_SECONDS)
        self.say("Stopped. The data is kept; the same command goes on from here.")

    def wait_until_ready(self, supervisor: Supervisor, port: int) -> None:
        end = time.monotonic() + START_SECONDS
        while not supervisor.stopping and not answers(port):
            if time.monotonic() > end:
                raise CommandError(
                    f"The pages do not answer. What the web server says: {settings.DATA_DIR}/log/web.log"
                )
            supervisor.look_after()
            time.sleep(0.1)

    def say(self, words: str) -> None:
        self.stdout.write(words)
        self.stdout.flush()


def look_after(supervisor: Supervisor) -> None:
    """Keep the children running, and ring again for jobs that fell silent.

    This process sweeps instead of a scheduler beside the worker: it outlives a killed worker, and has no file of its
    own that could be damaged.
    """
    next_sweep = next_files = next_told = next_mail = 0.0
    while not supervisor.stopping:
        supervisor.look_after()
        if time.monotonic() >= next_sweep:
            next_sweep = time.monotonic() + settings.JOB_SWEEP_SECONDS
            sweep(jobs.sweep)
        if time.monotonic() >= next_files:
            next_files = time.monotonic() + settings.FILE_SWEEP_SECONDS
            sweep(sweep_files)
            sweep(notices.drop_old)
            sweep(outgoing.drop_old)
        if time.monotonic() >= next_told:
            next_told = time.monotonic() + settings.TELL_SECONDS
            sweep(overdue.tell_overdue)
            sweep(daily_mail.write_daily)
        if time.monotonic() >= next_mail:
            next_mail = time.monotonic() + settings.MAIL_SECONDS
            sweep(ring_for_mail)
        time.sleep(0.2)


def sweep_files() -> None:
    outbox_files.sweep_files()
    clear_half_written()
    sweep_strays()


def ring_for_mail() -> None:
    """The worker sends what waits: without a mail server it prints it, into its own log."""
    if outgoing.waiting().exists():
        send_mails.apply_async(expires=settings.MAIL_SECONDS)


def sweep(look_through: Callable[[], object]) -> None:
    try:
        look_through()
        seen.note("scheduler", "manage.py demo", facts={"version": version()})
    except DatabaseError as error:
        print(f"The record could not be looked through just now ({error}); tried again soon.", file=sys.stderr)
    finally:
        connections.close_all()


def public_url(port: int) -> str:
    """The address that is printed: as named, else this machine's."""
    return text("TRACKER_PUBLIC_URL", f"http://localhost:{port}")


def children(port: int) -> list[Child]:
    """The web server and one background worker."""
    logs = Path(settings.DATA_DIR) / "log"
    logs.mkdir(exist_ok=True)
    env = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": os.environ.get("DJANGO_SETTINGS_MODULE", "deploy.settings"),
        "PYTHONPATH": os.pathsep.join([str(settings.BASE_DIR), os.environ.get("PYTHONPATH", "")]).rstrip(os.pathsep),
        "TRACKER_DATA_DIR": str(settings.DATA_DIR),
        "TRACKER_BIND": f"127.0.0.1:{port}",
        "TRACKER_PUBLIC_URL": public_url(port),
    }
    config = str(settings.BASE_DIR / "deploy" / "gunicorn_config.py")
    web = [sys.executable, "-m", "gunicorn", "--config", config, "deploy.wsgi"]
    worker = [sys.executable, "-m", "celery", "-A", "deploy", "worker", "--concurrency", "1", "--loglevel", "INFO"]
    worker += ["--without-gossip", "--without-mingle", "--without-heartbeat"]
    return [
        Child("web server", web, logs / "web.log", env),
        Child("background worker", worker, logs / "worker.log", env),
    ]


def welcome(address: str, logins: list[Login]) -> str:
    wide = max(len(login.username) for login in logins)
    lines = [
        f"ready: {address}",
        "",
        "Sign in as",
        *(f"  {login.username:<{wide}}  {login.password}  ({login.role})" for login in logins),
    ]
    return "\n".join([*lines, "", "Everybody and everything in it is invented. Ctrl-C stops it; the data is kept."])


def answers(port: int) -> bool:
    """True when a page comes back; an error of the server's own does not count."""
    try:
        urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=10).close()
    except urllib.error.HTTPError as error:
        return error.code < 500
    except OSError:
        return False
    return True


def refuse_other_databases() -> None:
    if (
        settings.PRODUCTION
        or settings.DATABASES["default"]["ENGINE"] != "django.db.backends.sqlite3"
        or settings.REDIS_URL
    ):
        raise CommandError(
            "The demo keeps its data in a folder of its own. "
            "Unset TRACKER_MODE, DATABASE_URL and REDIS_URL, then start it again."
        )


def refuse_busy_port(port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind(("127.0.0.1", port))
        except (OSError, OverflowError) as error:
            raise CommandError(
                f"Port {port} cannot be used ({error}). Name another: python manage.py demo --port {port % 60000 + 1}"
            ) from error


class only_one:
    """A lock on the data folder: two demos on one folder would take each other's jobs and messages."""

    def __init__(self, folder: Path) -> None:
        self.path = Path(folder) / "demo.lock"

    def __enter__(self) -> TextIO:
        self.file = self.path.open("w")
        try:
            fcntl.flock(self.file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise CommandError(
                f"The demo runs already on the data in {self.path.parent}. Stop it first, "
                "or give this one a folder of its own: TRACKER_DATA_DIR=/another/folder"
            ) from error
        return self.file

    def __exit__(self, *exc: object) -> None:
        self.file.close()


def remove_data(folder: Path) -> None:
    """Remove what the product keeps, by name: the folder may hold other things."""
    for name in KEPT:
        path = Path(folder) / name
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)


def empty_broker(folder: Path) -> None:
    """Messages of an earlier run are only bells, and half a message would trip the worker: the rows hold the jobs."""
    for name in ("broker", "broker-control"):
        shutil.rmtree(Path(folder) / name, ignore_errors=True)
        (Path(folder) / name).mkdir(parents=True)
