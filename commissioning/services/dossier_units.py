"""A large dossier drawn by several workers: each takes a system that nobody draws, until none is left.

The rows are the truth, as with jobs: a unit is claimed with a lease that its drawer renews, and a worker that dies
loses it. What is drawn lies in the default storage, so workers need not share a disk. Only the worker that has the
dossier's job joins, signs and stores; the others draw ahead for it, and if none comes it draws everything itself.
"""

from __future__ import annotations

import hashlib
import logging
import os
import socket
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

from celery import current_app
from django.conf import settings
from django.db import DatabaseError, connection, transaction
from django.db.models import F, Q, QuerySet
from django.utils import timezone

from commissioning.dossier import units
from commissioning.dossier.canonical import Written
from commissioning.models import Dossier, DossierUnit, JobState
from commissioning.services import dossier_files

log = logging.getLogger(__name__)

#: The door in commissioning/tasks.py, by name, so that services need not know tasks.
DRAW_TASK = "commissioning.tasks.draw_units"
#: Content smaller than this is drawn by one worker sooner than it is shared out.
SHARED_FROM_BYTES = 1_000_000
#: So many drawers may fall silent over one unit; then only the worker with the job tries it, and says what is wrong.
ATTEMPTS = 3
LOOK_SECONDS = 0.2


class UnitLost(Exception):
    """Somebody else has the unit now, or nobody wants it any more: what was drawn of it is not kept."""


def lay_out(dossier: Dossier, written: Written) -> None:
    """A row a system, inside the transaction that puts the content on record; small dossiers are not shared."""
    if len(written.systems) < 2 or sum(length for _, length in written.systems) < SHARED_FROM_BYTES:
        return
    DossierUnit.objects.bulk_create(
        DossierUnit(dossier=dossier, number=number, start=start, length=length)
        for number, (start, length) in enumerate(written.systems)
    )


def call_helpers(dossier: Dossier) -> None:
    """Ring for workers that have nothing else to do. A bell that is lost only means that fewer draw."""
    free = _free().filter(dossier=dossier).count()
    for _ in range(min(settings.DOSSIER_HELPERS, free - 1)):
        try:
            current_app.send_task(DRAW_TASK, args=[str(dossier.pk)], retry=False, expires=settings.JOB_SILENCE_SECONDS)
        except Exception:
            log.warning("No helper could be called for dossier %s; it is drawn all the same.", dossier.pk)
            return


def claim(dossier_id: Any, holder: str) -> DossierUnit | None:
    """Take the largest unit that nobody draws: one conditional UPDATE, so of two workers one gets it."""
    while True:
        wanted = _free().filter(dossier=dossier_id).order_by("-length", "number").first()
        if wanted is None:
            return None
        taken = _free().filter(pk=wanted.pk).update(
            lease_holder=holder, lease_until=_lease_end(), attempts=F("attempts") + 1
        )  # fmt: skip
        if taken:
            return DossierUnit.objects.get(pk=wanted.pk)


def _free() -> QuerySet[DossierUnit]:
    """Units to be had: not drawn, leased by nobody who lives, of a dossier that is still wanted."""
    unheard = Q(lease_until=None) | Q(lease_until__lt=timezone.now())
    wanted = Q(dossier__job__state__in=(JobState.WAITING, JobState.RUNNING))
    return DossierUnit.objects.filter(unheard & wanted, stored="", attempts__lt=ATTEMPTS)


def draw(unit: DossierUnit, text: bytes, *, size: str, folder: Path, prefix: str, told: units.Told | None) -> Path:
    """Draw a claimed unit and put its file into the storage for all; raises UnitLost when it was taken away."""
    work = units.Unit(unit.number, size, text)
    with _kept_alive(unit):
        path = units.draw(work, folder, told=told)
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
        token = f"{unit.attempts}-{unit.lease_holder[-12:]}"  # no storage may overwrite what another drew
        name = dossier_files.keep(path, f"{prefix}/{unit.number:05}-{token}")
    if not _held(unit).update(stored=name, stored_sha256=digest, key=work.key, lease_until=None):
        dossier_files.discard(name)
        raise UnitLost(str(unit.pk))
    return path


def give_back(unit: DossierUnit) -> None:
    """Let another try a unit that could not be drawn here."""
    _held(unit).update(lease_until=None)


def new_holder() -> str:
    return f"{socket.gethostname()[:40]}:{os.getpid()}:{uuid4().hex[:12]}"


def process_of(holder: str) -> str:
    """The machine and process of a holder."""
    return holder.rpartition(":")[0]


def _held(unit: DossierUnit) -> QuerySet[DossierUnit]:
    return DossierUnit.objects.filter(pk=unit.pk, lease_holder=unit.lease_holder, stored="")


def _lease_end() -> Any:
    return timezone.now() + timedelta(seconds=settings.JOB_LEASE_SECONDS)


@contextmanager
def _kept_alive(unit: DossierUnit) -> Iterator[None]:
    """Renew the lease beside the drawing: a large system takes longer than a lease."""
    stop = threading.Event()
    beat = threading.Thread(target=_renew_until, args=(unit, stop), name=f"lease of unit {unit.pk}", daemon=True)
    beat.start()
    try:
        yield
    finally:
        stop.set()
        beat.join()


def _renew_until(unit: DossierUnit, stop: threading.Event) -> None:
    end = time.monotonic() + settings.JOB_SILENCE_SECONDS  # a drawing that hangs is not kept alive for ever
    try:
        while not stop.wait(settings.JOB_LEASE_SECONDS / 3) and time.monotonic() < end:
            try:
                if not _held(unit).update(lease_until=_lease_end()):
                    return
            except DatabaseError:
                log.warning("The lease of unit %s could not be renewed just now; it is tried again.", unit.pk)
    finally:
        connection.close()


# Helping ---------------------------------------------------------------------------------------------------------


def help_out(dossier_id: Any) -> int:
    """Draw units of a dossier until none is to be had; how many were drawn. Whatever goes wrong, the job finds out."""
    holder, done = new_holder(), 0
    unit = claim(dossier_id, holder)
    if unit is None:
        return 0
    dossier = Dossier.objects.select_related("job").get(pk=dossier_id)
    root = dossier_files.work_root()
    root.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=root, prefix=f"{dossier.pk}-help-") as scratch:
        folder = Path(scratch)
        while unit is not None:
            try:
                done += _helped(dossier, unit, folder)
            except UnitLost:
                pass
            except Exception:
                log.exception("Unit %s of dossier %s could not be drawn here.", unit.number, dossier.pk)
                give_back(unit)
                return done
            unit = claim(dossier_id, holder)
    return done


def _helped(dossier: Dossier, unit: DossierUnit, folder: Path) -> int:
    with dossier_files.local(str(dossier.content.name), folder / "content.json").open("rb") as file:
        file.seek(unit.start)
        text = file.read(unit.length)
    size = str(dossier.job.arguments.get("paper", "A4"))
    path = draw(unit, text, size=size, folder=folder, prefix=f"{dossier_files.shared_prefix(dossier)}", told=None)
    path.unlink(missing_ok=True)
    return 1


# The worker with the job ------------------------------------------------------------------------------------------


class Sharing:
    """Draws beside the helpers, waits for what they have in hand, and fetches what they drew."""

    def __init__(self, dossier: Dossier, content: Any, *, sections: Path, holder: str) -> None:
        self.dossier, self.content, self.sections, self.holder = dossier, content, sections, holder

    def __call__(self, paths: Sequence[Path], step: Callable[[str, int, int], None]) -> None:
        """Have as many of these files in place as can be had."""
        self.paths, self.step = paths, step
        while (unit := claim(self.dossier.pk, self.holder)) or self._in_hand():
            if unit is None:
                self._tell("waiting for systems that other workers draw")
                time.sleep(LOOK_SECONDS)
                continue
            try:
                self._draw(unit)
            except UnitLost:
                continue
            except BaseException:
                give_back(unit)
                raise
        for unit in self.dossier.units.exclude(stored=""):
            self._fetch(unit)

    def drawers(self) -> int:
        """How many workers drew a part; one that helps and later takes the job over has two names, and is one."""
        holders = self.dossier.units.exclude(stored="").values_list("lease_holder", flat=True)
        return len(set(map(process_of, holders)))

    def _draw(self, unit: DossierUnit) -> None:
        count = len(self.paths) - 1
        lead = f"drawing system {unit.number + 1} of {count}"
        text = self.content["systems"].text(unit.number)
        size = units.size_of(self.content)
        prefix = dossier_files.shared_prefix(self.dossier)

        def told(section: str) -> None:
            self._tell(f"{lead}: {section.replace('_', ' ')}")

        told("start")
        draw(unit, text, size=size, folder=self.sections, prefix=prefix, told=told)

    def _in_hand(self) -> bool:
        """Whether somebody who lives draws a unit now."""
        return self.dossier.units.filter(stored="", lease_until__gte=timezone.now()).exists()

    def _tell(self, words: str) -> None:
        self.step(words, self.dossier.units.exclude(stored="").count(), len(self.paths))

    def _fetch(self, unit: DossierUnit) -> None:
        """Take what another drew, if it is whole and drawn with these very tools; else it is drawn here."""
        path = self.paths[unit.number]
        if path.exists() or unit.key != path.name:
            return
        half = path.with_name(f"{path.name}.{os.getpid()}.part")
        try:
            if dossier_files.fetch(unit.stored, half) == unit.stored_sha256:
                os.replace(half, path)
        except FileNotFoundError:
            log.warning("What was drawn of unit %s is not in the storage any more; it is drawn again.", unit.pk)
        finally:
            half.unlink(missing_ok=True)


def clear_forgotten() -> None:
    """Remove what was drawn of dossiers that failed or were cancelled, and that nobody asked for again for long."""
    long_ago = timezone.now() - timedelta(seconds=dossier_files.KEPT_SECONDS)
    given_up = Q(dossier__job__state__in=(JobState.FAILED, JobState.CANCELLED), dossier__job__finished_at__lt=long_ago)
    rows = DossierUnit.objects.filter(given_up)
    names = list(rows.exclude(stored="").values_list("stored", flat=True))
    rows.update(stored="", stored_sha256="", key="", lease_until=None, lease_holder="", attempts=0)
    dossier_files.discard(*names)


def forget(dossier: Dossier) -> list[str]:
    """Remove the rows of a dossier that is built, inside its last transaction; answers with the files to discard."""
    with transaction.atomic():
        names = list(dossier.units.exclude(stored="").values_list("stored", flat=True))
        dossier.units.all().delete()
    return names
