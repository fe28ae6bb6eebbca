"""Is a file one of our dossiers, unchanged, is there a later revision, and does the record here hold together?

Nothing is written.
"""

from __future__ import annotations

import hashlib
import tempfile
from dataclasses import dataclass
from functools import reduce
from operator import or_
from pathlib import Path
from typing import Any

from django.core.files.storage import default_storage
from django.db.models import Q

from commissioning.dossier.check import Finding, Known, check, identities
from commissioning.dossier.filebytes import sha256_of
from commissioning.errors import InvalidInput, ServiceError
from commissioning.models import AuditEntry, Dossier
from commissioning.selectors.dossiers import revisions_of
from commissioning.services.dossier_build import number_of

#: What the page takes; a file is read a block at a time, so this bounds what is uploaded, not memory.
LARGEST = 512 * 2**20
TOO_LARGE = "The file is larger than 512 MB. Check it on the server: manage.py dossier_check FILE.pdf."
LOST = "Its own file on record cannot be read or is not what was stored, so nothing can be compared with it."
BUILT = "dossier_built"


@dataclass(frozen=True)
class Checked:
    """What was found, and the dossier that the file is or was."""

    finding: Finding
    dossier: Dossier | None


def check_file(pdf: Path) -> Checked:
    """Look at a file that claims to be one of our dossiers; it is never held whole."""
    if not pdf.stat().st_size:
        raise InvalidInput({"file": "The file is empty. Choose the PDF of a dossier."})
    rows = _candidates(pdf)
    with tempfile.TemporaryDirectory() as folder:
        finding = check(pdf, [_known(row, Path(folder)) for row in rows])
    found = next((row for row in rows if _names(row) == (finding.number, finding.revision)), None)
    return Checked(finding, found)


def _candidates(pdf: Path) -> list[Dossier]:
    """Dossiers whose hash the file has, or whose identity it carries, by their row or by the audit log.

    The log is asked as well, so that a row that was edited does not make its own file a stranger.
    """
    digest = sha256_of(pdf)
    marks = [mark for mark in identities(pdf) if len(mark) == 32]
    by_row = [Q(content_sha256__startswith=mark) for mark in marks]
    by_log = [Q(data__content_sha256__startswith=mark) for mark in marks]
    logged = AuditEntry.objects.filter(reduce(or_, by_log, Q(data__pdf_sha256=digest)), action=BUILT)
    named = list(logged.values_list("object_id", flat=True))
    rows = Dossier.objects.filter(reduce(or_, by_row, Q(pdf_sha256=digest) | Q(pk__in=named)), built_at__isnull=False)
    return list(rows.select_related("project", "job").order_by("-built_at"))


def _names(dossier: Dossier) -> tuple[str, str]:
    return number_of(dossier), str(dossier.revision)


def _known(dossier: Dossier, folder: Path) -> Known:
    """What is on record; where row and audit log disagree the log is believed, which is bound by hashes."""
    latest = revisions_of(dossier).last()
    number, revision = _names(dossier)
    told = issue_of(dossier)
    return Known(
        number=number,
        revision=revision,
        content_sha256=told["content_sha256"],
        unsigned_sha256=told["unsigned_sha256"],
        unsigned_length=told["unsigned_bytes"],
        rebuild=lambda: _original(dossier, told, folder),
        signed_sha256=told["pdf_sha256"],
        signed_length=told["pdf_bytes"],
        superseded_by=str(latest.revision) if latest and latest.revision != dossier.revision else "",
    )


def issue_of(dossier: Dossier) -> dict[str, Any]:
    """What was put on record when the dossier was issued: the row's words, overruled by the audit log's."""
    entry = built_entry(dossier)
    return {**row_facts(dossier), **(entry.data if entry else {})}


def built_entry(dossier: Dossier) -> AuditEntry | None:
    """The entry of the audit log that says the dossier was built."""
    return AuditEntry.objects.filter(object_id=str(dossier.pk), action=BUILT).order_by("sequence").first()


def row_facts(dossier: Dossier) -> dict[str, Any]:
    """What the dossier's rows say of its issue."""
    return {
        "pdf_sha256": dossier.pdf_sha256,
        "pdf_bytes": dossier.pdf_bytes,
        "content_sha256": dossier.content_sha256,
        "interim": dossier.interim,
        "pages": dossier.pages,
        "unsigned_sha256": dossier.job.result.get("unsigned_sha256", ""),
        "unsigned_bytes": dossier.job.result.get("unsigned_bytes", 0),
    }


def _original(dossier: Dossier, told: dict[str, Any], folder: Path) -> Path:
    """The unsigned file: the signature was appended to it, so it is the first part of what is stored."""
    path, digest, left = folder / f"{dossier.pk}.pdf", hashlib.sha256(), int(told["unsigned_bytes"])
    try:
        with default_storage.open(str(dossier.pdf.name)) as file, path.open("wb") as target:
            while left > 0 and (block := file.read(min(left, 1 << 20))):
                digest.update(block)
                target.write(block)
                left -= len(block)
    except OSError as error:
        raise ServiceError(LOST) from error
    if digest.hexdigest() != told["unsigned_sha256"]:
        raise ServiceError(LOST)
    return path
