"""Does the record behind a dossier still hold together: its rows, the audit log, its files, and what it printed?

Three witnesses say what was issued: the dossier's row, the entry of the audit log (bound by hashes to the entries
around it), and the content file (whose hash both name). Whoever edits one in the database contradicts the others.
What the dossier printed is then frozen anew for the same moment and held against it: what differs though no entry of
the audit log tells of a change was edited past the product. Nothing is written.
"""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from django.core.files.storage import default_storage

from commissioning.dossier import compare, content, content_file
from commissioning.dossier.canonical import FrozenContent
from commissioning.models import Acceptance, AuditEntry, Dossier
from commissioning.services.audit import entry_hash, sha256_of
from commissioning.services.dossier_build import one_snapshot, wanted
from commissioning.services.dossier_check import built_entry, row_facts

WORDS = {
    "pdf_sha256": "the SHA-256 of the PDF",
    "pdf_bytes": "the length of the PDF",
    "content_sha256": "the SHA-256 of the content",
    "interim": "whether it is interim",
    "pages": "the number of pages",
    "unsigned_sha256": "the SHA-256 before signing",
    "unsigned_bytes": "the length before signing",
}
#: The page looks at what was printed of so many systems; the command looks at all.
SYSTEMS_ON_A_PAGE = 10
SHOWN = 20
#: Entries that change nothing of what a dossier prints.
OF_DOSSIERS = (
    "job_asked", "job_asked_again", "job_done", "job_failed", "job_cancelled", "dossier_asked", "dossier_built",
    "dossier_received",
)  # fmt: skip
#: Fields of the content that say where the project stands, not what a record says.
NOT_RECORDS = frozenset({"state", "title", "scope", "missing", "glossary", "sources"})


@dataclass(frozen=True)
class RecordCheck:
    """`faults`: what contradicts what. `changed`: what was changed in order since, as the audit log tells."""

    faults: tuple[str, ...]
    changed: tuple[str, ...]
    compared: bool

    @property
    def holds(self) -> bool:
        return not self.faults


def check_record(dossier: Dossier, *, systems: int | None = None) -> RecordCheck:
    """Hold the witnesses against each other; what was printed is compared where it covers at most `systems`."""
    faults = [*_issue_faults(dossier), *_pdf_faults(dossier)]
    changed: list[str] = []
    compared = False
    with tempfile.TemporaryDirectory() as folder:
        printed = _printed(dossier, Path(folder), faults)
        if printed is not None:
            faults += _log_faults(printed, dossier)
            faults += _signature_faults(printed)
            compared = systems is None or len(printed["systems"]) <= systems
            if compared:
                _held_against(dossier, printed, Path(folder), faults, changed)
    return RecordCheck(tuple(faults), tuple(changed), compared)


def _issue_faults(dossier: Dossier) -> Iterator[str]:
    """Row against audit log."""
    entry = built_entry(dossier)
    if entry is None:
        yield "Audit log: there is no entry that says this dossier was built."
        return
    yield from _entry_faults(entry, f"the one that says {dossier.label} was built")
    row = row_facts(dossier)
    for name, words in WORDS.items():
        if name in entry.data and entry.data[name] != row[name]:
            yield (
                f"Row of the dossier: {words} is {row[name]} there, but {entry.data[name]} in the audit log "
                f"(entry {entry.sequence})."
            )


def _entry_faults(entry: AuditEntry, which: str) -> Iterator[str]:
    before = AuditEntry.objects.filter(project=entry.project_id, sequence=entry.sequence - 1).first()
    if entry.hash != entry_hash(entry):
        yield f"Audit log: entry {entry.sequence}, {which}, was edited: its hash is not that of what it says."
    elif entry.previous_hash != (before.hash if before else "0" * 64):
        yield f"Audit log: entry {entry.sequence}, {which}, does not follow the entry before it."


def _pdf_faults(dossier: Dossier) -> Iterator[str]:
    entry = built_entry(dossier)
    wanted_hash = (entry.data if entry else {}).get("pdf_sha256", dossier.pdf_sha256)
    found = _stored_hash(str(dossier.pdf.name))
    if found is None:
        yield "Stored PDF: it is not in the storage."
    elif found != wanted_hash:
        yield "Stored PDF: its SHA-256 is not the one in the audit log."


def _printed(dossier: Dossier, folder: Path, faults: list[str]) -> FrozenContent | None:
    """The content file, where it is what was frozen."""
    entry = built_entry(dossier)
    wanted_hash = (entry.data if entry else {}).get("content_sha256", dossier.content_sha256)
    found = _stored_hash(str(dossier.content.name))
    if found == wanted_hash:
        with default_storage.open(str(dossier.content.name)) as file:
            return content_file.load(file, folder / "printed")
    what = "it is not in the storage" if found is None else "its SHA-256 is not the one in the audit log"
    faults.append(f"Content file: {what}, so what was printed cannot be compared with the record.")
    return None


def _stored_hash(name: str) -> str | None:
    digest = hashlib.sha256()
    try:
        with default_storage.open(name) as file:
            while block := file.read(1 << 20):
                digest.update(block)
    except OSError:
        return None
    return digest.hexdigest()


def _log_faults(printed: Mapping[str, Any], dossier: Dossier) -> Iterator[str]:
    """Entries of the audit log that the dossier prints, against those that stand there now."""
    rows = {row["seq"]: row for row in printed["audit_extract"]["entries"]}
    found = AuditEntry.objects.filter(project=dossier.project_id, sequence__in=list(rows)).order_by("sequence")
    seen = set()
    for entry in found.iterator():
        seen.add(entry.sequence)
        if entry.hash != rows[entry.sequence]["hash"] or entry.hash != entry_hash(entry):
            yield f"Audit log: entry {entry.sequence} ({entry.words}) is not the one that the dossier prints."
    for sequence in sorted(set(rows) - seen):
        yield f"Audit log: entry {sequence} ({rows[sequence]['object']}), which the dossier prints, is gone."


def _signature_faults(printed: Mapping[str, Any]) -> Iterator[str]:
    """Acceptances that the dossier prints, against their rows."""
    for system in printed["systems"]:
        shown = {acceptance["hash"]: stage["name"] for stage in system["stages"] for acceptance in stage["acceptances"]}
        rows = {one.signed_hash: one for one in Acceptance.objects.filter(signed_hash__in=list(shown))}
        for digest, stage in shown.items():
            place = f"Acceptance of {system['tag']}, {stage}"
            if digest not in rows:
                yield f"{place}: no row has the hash {digest[:16]}… that the dossier prints."
            elif sha256_of(rows[digest].signed_content) != digest:
                yield f"{place}: its row is not what was signed; the hash {digest[:16]}… is of something else."


# What was printed, frozen anew ------------------------------------------------------------------------------------


def _held_against(
    dossier: Dossier, printed: FrozenContent, folder: Path, faults: list[str], changed: list[str]
) -> None:
    """Freeze the same scope for the moment of issue; what differs is a fault where the audit log says nothing of it."""
    at = datetime.fromisoformat(printed["issued_at"])
    with one_snapshot():
        now = content.freeze(wanted(dossier, at), folder / "now", at=at).content
    tags = {system["tag"]: system["id"] for system in printed["systems"]}
    told = _told_since(dossier, printed["audit_extract"]["head_hash"])
    for row in compare.changes(_records(printed), _records(now)):
        system = tags.get(row["where"].partition(",")[0])
        words = f"{row['where']}: {_before_and_now(row)}"
        if told if system is None else (system in told or None in told):
            changed.append(words)
        elif len(faults) < SHOWN:
            faults.append(f"Record, {words}. The audit log tells of no change: it was edited past the product.")
    del changed[SHOWN:]


def _records(content: FrozenContent) -> Mapping[str, Any]:
    return {key: content[key] for key in content if key not in NOT_RECORDS}


def _told_since(dossier: Dossier, head: str) -> set[str | None]:
    """Systems (None: the project) of which the audit log tells something behind the entry that was its last then."""
    rows = AuditEntry.objects.filter(project=dossier.project_id).exclude(action__in=OF_DOSSIERS)
    last = AuditEntry.objects.filter(project=dossier.project_id, hash=head).first()
    rows = rows.filter(sequence__gt=last.sequence) if last else rows
    return {str(system) if system else None for system in rows.values_list("system_id", flat=True)}


def _before_and_now(row: Mapping[str, str]) -> str:
    if row["kind"] == "added":
        return f"not printed, now '{row['after']}'"
    if row["kind"] == "removed":
        return f"printed '{row['before']}', now gone"
    return f"printed '{row['before']}', now '{row['after']}'"
