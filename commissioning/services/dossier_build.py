"""One run of a dossier's job: freeze, draw, join, sign, store. Run again, it goes on where it stopped."""

from __future__ import annotations

import errno
import hashlib
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.files.storage import default_storage
from django.db import connection, transaction
from django.utils import timezone

from commissioning.dossier import content, content_file, render, sign
from commissioning.dossier.canonical import FrozenContent, write_canonical
from commissioning.dossier.content_batch import zone_of
from commissioning.dossier.content_schema import ContentRefused
from commissioning.dossier.content_words import moment, upto
from commissioning.dossier.images import FileDiffers
from commissioning.errors import NoRoom, ServiceError
from commissioning.models import Dossier, Job, Membership, NoticeKind, Project, Role, Site, StageKind, System
from commissioning.rules.gate_parts import NOTHING
from commissioning.selectors.dossiers import revisions_of, scope_words, systems_of
from commissioning.services import dossier_files, dossier_units, jobs
from commissioning.services.audit import record
from commissioning.services.dossier_files import Workplace
from commissioning.services.dossier_signing import NAME, Signing, signing
from commissioning.services.dossier_units import Sharing
from commissioning.services.notices import News, tell

#: Progress is written to the job's row no more often than this.
TOLD_EVERY_SECONDS = 0.4
NO_ROOM = "There is no room left on the disk for the dossier. Make room, then ask for it again; finished sections stay."
NOT_WRITTEN = "A file of the dossier could not be read or written ({what}). See to it, then ask for it again."
DIFFERS = "It cannot be built: {what}. A dossier prints only what is proved to be the file on record."
NOT_WHOLE = "The record holds something that a dossier cannot print: {what}. Whoever runs the product needs to see it."


def build_dossier(*, job: Job, dossier: Dossier) -> None:
    """Build the dossier of a job and finish the job; what goes wrong is said in words."""
    place = Workplace(dossier, job)
    try:
        dossier_files.clear_forgotten()
        dossier_units.clear_forgotten()
        with place.opened():
            _build(job, dossier, place)
        place.clear()
    except OSError as error:
        full = error.errno in (errno.ENOSPC, errno.EDQUOT)
        if full:
            raise NoRoom(NO_ROOM) from error
        raise ServiceError(NOT_WRITTEN.format(what=error.strerror or type(error).__name__)) from error
    except FileDiffers as error:
        raise ServiceError(DIFFERS.format(what=error)) from error
    except ContentRefused as error:
        raise ServiceError(NOT_WHOLE.format(what=error)) from error


def _build(job: Job, dossier: Dossier, place: Workplace) -> None:
    certificate = signing()  # refused before the work, not after it
    frozen = _thawed(dossier, place) if dossier.content else _frozen(job, dossier, place)
    names = dossier_files.read_json(dossier_files.beside(dossier, "files.json"))
    progress = Progress(job, len(frozen["systems"]) + 1, place.finished_sections())
    shared = _shared(job, dossier, frozen, place)
    unsigned, signed = place.own / "unsigned.pdf", place.own / "signed.pdf"
    report = render.build(
        frozen,
        files=dossier_files.finder(names, place.shared / "files"),
        workdir=place.own,
        out=unsigned,
        shared=shared,
        progress=progress,
    )
    drawers = shared.drawers() if shared else 1
    if report.content_sha256 != dossier.content_sha256:
        raise FileDiffers("the frozen content is not what was frozen: its SHA-256 differs")
    progress.last("signing and storing")
    _signed(dossier, unsigned, signed, certificate)
    _finish(job, dossier, place, Made(report, unsigned, signed, drawers, own_made=certificate.own_made))


def _shared(job: Job, dossier: Dossier, frozen: FrozenContent, place: Workplace) -> Sharing | None:
    """Helpers are called for a large dossier, also by a run that follows a dead one."""
    if not dossier.units.exists():
        return None
    dossier_units.call_helpers(dossier)
    return Sharing(dossier, frozen, sections=place.own / "sections", holder=job.lease_holder)


# Content ---------------------------------------------------------------------------------------------------------


def _frozen(job: Job, dossier: Dossier, place: Workplace) -> FrozenContent:
    """Read the record in one snapshot, and put the content away before anything is drawn of it."""
    at, folder = timezone.now(), place.own / "content"
    jobs.heartbeat(job, "reading the record", 0, 0)
    earlier = revisions_of(dossier).last()
    previous = _content_of(earlier, place.own / "previous") if earlier else None
    with one_snapshot():
        frozen = content.freeze(wanted(dossier, at), folder, at=at, previous=previous, step=_reads(job))
    jobs.heartbeat(job, "putting the content away", 0, 0)
    path = place.own / "content.json"
    with path.open("wb") as file:
        written = write_canonical(frozen.content, file)
    names = [
        dossier_files.keep(path, f"{place.prefix}/content.json"),
        dossier_files.keep_json(frozen.files, f"{place.prefix}/files.json", place.own),
        dossier_files.keep_json(frozen.essentials, f"{place.prefix}/essentials.json", place.own),
    ]
    interim = frozen.content["state"] != "complete"
    try:
        with jobs.writing(job):
            Dossier.objects.filter(pk=dossier.pk, built_at=None).update(
                content=names[0], content_sha256=written.sha256, interim=interim
            )
            dossier_units.lay_out(dossier, written)
    except (jobs.LeaseLost, jobs.JobCancelled):
        dossier_files.discard(*names)
        raise
    dossier.content, dossier.content_sha256, dossier.interim = names[0], written.sha256, interim
    return frozen.content


def _reads(job: Job) -> content.Step:
    """Progress while the snapshot is read: kept in memory, since nothing is written in that transaction."""

    def step(done: int, total: int) -> None:
        job.words, job.done, job.total = f"reading the record, system {done} of {total}", done, total

    return step


def _thawed(dossier: Dossier, place: Workplace) -> FrozenContent:
    """The content that an earlier run froze."""
    return _content_of(dossier, place.own / "content")


def _content_of(dossier: Dossier, folder: Path) -> FrozenContent:
    with default_storage.open(str(dossier.content.name)) as file:
        return content_file.load(file, folder)


@contextmanager
def one_snapshot() -> Iterator[None]:
    """A read transaction in which the record stands still, without holding up anybody who writes."""
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield
    else:
        with _deferred(), transaction.atomic():
            yield


@contextmanager
def _deferred() -> Iterator[None]:
    """With its write-ahead log SQLite reads a snapshot; a transaction that begins as a writer would lock others out."""
    usual = getattr(connection, "transaction_mode", None)
    connection.transaction_mode = "DEFERRED"  # type: ignore[attr-defined]
    try:
        yield
    finally:
        connection.transaction_mode = usual  # type: ignore[attr-defined]


def wanted(dossier: Dossier, at: datetime) -> content.Wanted:
    project, zone = dossier.project, zone_of_scope(dossier.project, site=dossier.site, system=dossier.system)
    up_to = dossier.job.arguments.get("up_to", "")
    name = str(dossier.system or dossier.site or project.name)
    ids = systems_of(project=project, site=dossier.site, system=dossier.system).values_list("pk", flat=True)
    words = scope_words(dossier)
    head: dict[str, Any] = {
        "number": number_of(dossier),
        "revision": str(dossier.revision),
        "title": name,
        "issued_at": moment(at, zone),
        "requested_by": {"name": str(dossier.asked_by), "role": _role(dossier)},
        "url": check_url(dossier),
        "project": {"code": project.code, "name": project.name, "client": project.client_name},
        "scope": {
            "kind": dossier.scope,
            "name": name,
            "words": f"{words[:1].upper()}{words[1:]}",
            "stages": [StageKind(kind).label for kind in upto(up_to)],
        },
        "paper": dossier.job.arguments.get("paper") or "A4",
        "revisions": [_revision(one) for one in revisions_of(dossier)] + [_revision(dossier, moment(at, zone))],
    }
    if earlier := revisions_of(dossier).last():
        head["previous"] = {"revision": str(earlier.revision), "content_sha256": earlier.content_sha256}
    return content.Wanted(project, list(ids), head, zone, up_to)


def zone_of_scope(
    project: Project, *, site: Site | None = None, system: System | None = None, scope: str = ""
) -> ZoneInfo:
    """The zone in which a dossier tells times: its site's, or the project's."""
    return zone_of(site or (system.site if system else Site(project=project, time_zone="")))


def _revision(dossier: Dossier, issued_at: str = "") -> dict[str, str]:
    first = "First issue" if dossier.revision == 1 else "Issued again"
    built = moment(dossier.built_at, zone_of(Site(project=dossier.project, time_zone="")))
    return {
        "revision": str(dossier.revision),
        "issued_at": issued_at or built,
        "state": "interim" if dossier.interim else "complete",
        "by": str(dossier.asked_by),
        "reason": dossier.job.arguments.get("reason") or first,
        "content_sha256": "" if issued_at else dossier.content_sha256,
    }


def _role(dossier: Dossier) -> str:
    role = Membership.objects.filter(project=dossier.project, user=dossier.asked_by).values_list("role", flat=True)
    return Role(role[0]).label if role else ""


def number_of(dossier: Dossier) -> str:
    """Its printed number without the revision."""
    return dossier.label.rpartition(" rev ")[0]


def check_url(dossier: Dossier) -> str:
    """Where the QR code on the cover leads."""
    return f"{settings.PUBLIC_URL}/check/{quote(number_of(dossier))}/{dossier.revision}/"


# Progress --------------------------------------------------------------------------------------------------------


class Progress:
    """Told by the drawing code; tells the job's row, in words, and stops the run where it has to stop."""

    def __init__(self, job: Job, units: int, finished: int) -> None:
        self.job, self.told_at = job, 0.0
        self.units = units
        self.joining = max(1, units // 5)
        self.total = units + self.joining + 1
        begun = f"going on: {finished} of {units} parts are drawn" if finished else "drawing sections"
        jobs.heartbeat(job, begun, 0, self.total)

    def __call__(self, phase: str, done: int, total: int) -> None:
        if time.monotonic() - self.told_at < TOLD_EVERY_SECONDS:
            return
        self.told_at = time.monotonic()
        if phase == "joining pages":
            share = self.joining * done // max(total, 1)
            jobs.heartbeat(self.job, f"{phase}, {done} of {total}", self.units + share, self.total)
        else:
            jobs.heartbeat(self.job, phase, done, self.total)

    def last(self, words: str) -> None:
        jobs.heartbeat(self.job, words, self.total - 1, self.total)


# Result ----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Made:
    """What came out of a run."""

    report: render.BuildReport
    unsigned: Path
    signed: Path
    drawers: int
    own_made: bool


def _signed(dossier: Dossier, unsigned: Path, signed: Path, certificate: Signing) -> None:
    sign.sign(
        unsigned,
        signed,
        certificate=certificate.certificate,
        key=certificate.key,
        name=NAME,
        reason=f"Issued as {dossier.label}",
        at=timezone.now(),
    )


def _finish(job: Job, dossier: Dossier, place: Workplace, made: Made) -> None:
    """Store the file, then the row and the job's end in one transaction: nobody sees a dossier without its file."""
    with made.signed.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    size = made.signed.stat().st_size
    name = dossier_files.keep(made.signed, f"{place.prefix}/{dossier.file_name}")
    try:
        with jobs.writing(job):
            Dossier.objects.filter(pk=dossier.pk, built_at=None).update(
                pdf=name, pdf_sha256=digest, pdf_bytes=size, pages=made.report.pages, built_at=timezone.now(),
                supersedes=revisions_of(dossier).last(),
            )  # fmt: skip
            record(
                project=dossier.project_id,
                actor=None,
                action="dossier_built",
                touches=NOTHING,
                on=dossier,
                system=dossier.system_id,
                words=f"Dossier {dossier.label} was built: {made.report.pages} pages, SHA-256 {digest}.",
                data={
                    "pdf_sha256": digest,
                    "pdf_bytes": size,
                    "content_sha256": dossier.content_sha256,
                    "interim": dossier.interim,
                    "pages": made.report.pages,
                    "unsigned_sha256": made.report.sha256,
                    "unsigned_bytes": made.unsigned.stat().st_size,
                },
            )
            ready = f"Dossier {dossier.label} is built: {made.report.pages} pages."
            news = News(NoticeKind.DOSSIER, f"dossier:{dossier.pk}", ready, "commissioning.dossier", dossier.pk)
            tell(news, project=dossier.project_id, people=[job.asked_by_id])
            drawn = dossier_units.forget(dossier)
            jobs.finish(job, _result(dossier, made))
    except (jobs.LeaseLost, jobs.JobCancelled):
        dossier_files.discard(name)
        raise
    dossier_files.discard(*drawn)


def _result(dossier: Dossier, made: Made) -> dict[str, Any]:
    return {
        "dossier": str(dossier.pk),
        "sections": made.report.sections,
        "reused": made.report.reused,
        "drawers": made.drawers,
        "own_made_certificate": made.own_made,
        "unsigned_sha256": made.report.sha256,
        "unsigned_bytes": made.unsigned.stat().st_size,
    }
