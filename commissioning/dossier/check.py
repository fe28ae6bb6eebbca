"""Checking a file that claims to be one of our dossiers: unchanged, or which part of it differs."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

import pikepdf
from pyhanko.pdf_utils.misc import PdfError as HankoError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko.sign.validation.status import SignatureCoverageLevel
from pyhanko_certvalidator import ValidationContext

from commissioning.dossier import parts
from commissioning.dossier.filebytes import found_in, sha256_of
from commissioning.dossier.own_thread import in_own_thread

IDENTITY = re.compile(rb"/ID\s{0,8}\[\s{0,8}<([0-9a-fA-F]{32})>")
IDENTITY_LENGTH = 64
#: A PDF says within so many bytes of its end where its table is. Without that nobody looks further back: a reader that
#: does takes minutes over a file that is padded.
END_LENGTH = 1024
ENDING = re.compile(rb"startxref\s+\d+\s+%%EOF")


class Outcome(StrEnum):
    """What a file turned out to be."""

    UNCHANGED = "unchanged"
    UNSIGNED = "unsigned original"
    UPDATED = "changed by an appended update"
    CHANGED = "changed"
    NOT_OURS = "not ours"


@dataclass(frozen=True)
class Known:
    """What is on record about an issued dossier.

    `rebuild` builds the unsigned file again from the frozen content and gives its path; it is only asked when the
    bytes differ.
    """

    number: str
    revision: str
    content_sha256: str
    unsigned_sha256: str
    unsigned_length: int
    rebuild: Callable[[], Path]
    signed_sha256: str = ""
    signed_length: int = 0
    superseded_by: str = ""


@dataclass(frozen=True)
class Finding:
    """What a check found: the outcome, which dossier it is, and which parts differ."""

    outcome: Outcome
    words: str
    number: str = ""
    revision: str = ""
    superseded_by: str = ""
    signature: str = "no signature"
    parts: tuple[str, ...] = ()

    @property
    def ours(self) -> bool:
        """True when the file is, or once was, a dossier of ours."""
        return self.outcome is not Outcome.NOT_OURS

    @property
    def unchanged(self) -> bool:
        """True when not a byte differs from what was issued."""
        return self.outcome in {Outcome.UNCHANGED, Outcome.UNSIGNED}


def check(pdf: Path, known: Sequence[Known]) -> Finding:
    """Say whether the file is one of ours, unchanged, which revision, superseded or not, or which part differs.

    The file is read a block at a time and never held whole, however large it is.
    """
    digest = sha256_of(pdf)
    signature = signature_state(pdf)
    for one in known:
        if digest == one.signed_sha256:
            return _finding(one, Outcome.UNCHANGED, "unchanged since it was signed", signature)
        if digest == one.unsigned_sha256:
            return _finding(
                one, Outcome.UNSIGNED, "the unsigned original, unchanged; it carries no signature", signature
            )
    for one in known:
        if one.unsigned_length and sha256_of(pdf, one.unsigned_length) == one.unsigned_sha256:
            return _after_original(pdf, one, signature)
    claimed = _claimed(pdf, known)
    if claimed is None:
        return Finding(Outcome.NOT_OURS, "no dossier on record is this file or was once this file", signature=signature)
    found = _compared(pdf, claimed.rebuild())
    return _finding(claimed, Outcome.CHANGED, f"changed: {'; '.join(found)}", signature, found)


def _finding(one: Known, outcome: Outcome, words: str, signature: str, found: Sequence[str] = ()) -> Finding:
    standing = f"superseded by revision {one.superseded_by}" if one.superseded_by else "the latest revision"
    whole = f"Dossier {one.number} revision {one.revision}, {standing}: {words}."
    return Finding(outcome, whole, one.number, one.revision, one.superseded_by, signature, tuple(found))


def _after_original(pdf: Path, one: Known, signature: str) -> Finding:
    """The printed dossier is whole; what follows it is not the signature that was put there."""
    if one.signed_length and sha256_of(pdf, one.signed_length) == one.signed_sha256:
        added = pdf.stat().st_size - one.signed_length
        names = [f"appended update of {added} bytes", *_updated(pdf, one)]
        return _finding(one, Outcome.UPDATED, f"bytes were added after signing: {'; '.join(names)}", signature, names)
    words = "the pages are unchanged, but the signature is not the one that was put there"
    return _finding(one, Outcome.CHANGED, words, signature, ["signature"])


def _updated(pdf: Path, one: Known) -> list[str]:
    """What the appended update changes, seen as a reader would show it."""
    try:
        return _logical(one.rebuild(), pdf)
    except pikepdf.PdfError:
        return ["the file cannot be opened with it"]


def identities(pdf: Path) -> set[str]:
    """Marks by which the file says which dossier it is: first half of the content's hash, in hex."""
    marks = {match.decode().lower() for match in found_in(pdf, IDENTITY, IDENTITY_LENGTH)}
    try:
        with pikepdf.open(pdf) as opened:
            marks.add(parts.attachment_hashes(opened).get("content.json", "")[:32])
            if "/ID" in opened.trailer:
                marks.add(bytes(opened.trailer.ID[0]).hex())
    except (pikepdf.PdfError, TypeError, ValueError):
        pass  # a file too damaged to open can still carry its identity in plain bytes
    return marks - {""}


def _claimed(pdf: Path, known: Sequence[Known]) -> Known | None:
    """The dossier whose identity the file carries, in its trailer or in its attached content."""
    marks = identities(pdf)
    return next((one for one in known if one.content_sha256[:32] in marks), None)


def _compared(pdf: Path, original: Path) -> list[str]:
    """Names of the parts that differ: by place when the bytes line up, else by what a reader would show."""
    exact: list[str] = []
    if pdf.stat().st_size >= original.stat().st_size:
        with pikepdf.open(original) as opened:
            names = parts.owners(opened)
        exact = parts.differing_parts(original, pdf, names)
    if 0 < len(exact) <= 10 and not any(part.startswith(parts.STRUCTURE) for part in exact):
        return exact
    try:
        return _logical(original, pdf) or exact or [parts.STRUCTURE]
    except pikepdf.PdfError:
        return exact[:10] or ["the file is too damaged to be opened"]


def _logical(original: Path, pdf: Path) -> list[str]:
    with pikepdf.open(original) as old, pikepdf.open(pdf) as new:
        found = _page_differences(parts.page_prints(old), parts.page_prints(new))
        if not found:
            pairs = enumerate(zip(parts.link_prints(old), parts.link_prints(new), strict=True), 1)
            found = [f"links of page {number}" for number, (one, other) in pairs if one.strip() != other.strip()]
        return found + _attachment_differences(parts.attachment_hashes(old), parts.attachment_hashes(new))


def _page_differences(old: list[str], new: list[str]) -> list[str]:
    found = [f"{len(new)} pages instead of {len(old)}"] if len(old) != len(new) else []
    places = {print_: number for number, print_ in enumerate(old, 1)}
    for number, print_ in enumerate(new, 1):
        if number > len(old) or print_ != old[number - 1]:
            moved = places.get(print_)
            found.append(f"page {number} shows what was page {moved}" if moved else f"page {number}")
    return found


def _attachment_differences(old: dict[str, str], new: dict[str, str]) -> list[str]:
    found = [f"attachment {name} was removed" for name in old if name not in new]
    found += [f"attachment {name} was added" for name in new if name not in old]
    return found + [f"attachment {name}" for name in old if name in new and old[name] != new[name]]


def signature_state(pdf: Path) -> str:
    """The state of the signature itself, in words: whole and covering everything, or not."""
    with pdf.open("rb") as file:
        file.seek(max(0, pdf.stat().st_size - END_LENGTH))
        if not ENDING.search(file.read()):
            return "unreadable: the file does not end as a PDF does"
        try:
            embedded = PdfFileReader(file, strict=False).embedded_signatures
            if not embedded:
                return "no signature"
            # Whether the signature holds is asked, not whether the signer is trusted: that is the reader's to decide.
            own = ValidationContext(trust_roots=[embedded[-1].signer_cert], allow_fetching=False)
            status = in_own_thread(validate_pdf_signature, embedded[-1], own)
        except (HankoError, ValueError, KeyError, TypeError, IndexError, AttributeError, OSError):
            return "unreadable: the file is damaged"
    if not (status.intact and status.valid):
        return "broken: what was signed was changed"
    if status.coverage is SignatureCoverageLevel.ENTIRE_FILE:
        return "intact, covers the whole file"
    return "intact, but bytes were added after it"
