"""A dossier built and signed once a process; tests of the dossier need no database."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from commissioning.dossier.check import Known
from commissioning.dossier.render import BuildReport, build
from commissioning.dossier.sign import make_demo_certificate, sign
from tests.commissioning.dossier import sample

AT = datetime(2025, 4, 1, 12, 5, tzinfo=UTC)


@dataclass(frozen=True)
class Issued:
    """A dossier that was built and signed."""

    content: dict[str, Any]
    pdf: Path
    signed: Path
    report: BuildReport
    known: Known


@pytest.fixture(scope="session")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Issued:
    """Two systems with everything in them, among them a tag in Arabic, one in Hebrew, one in Chinese."""
    folder = tmp_path_factory.mktemp("dossier")
    content = sample.content(2)
    content["systems"][0]["equipment"] += sample.SCRIPTS
    files = sample.files_for(content, folder / "files")
    pdf, signed = folder / "d.pdf", folder / "signed.pdf"
    report = build(content, files=files, workdir=folder / "work", out=pdf)
    certificate, key = make_demo_certificate(name="Ombrefell Water", at=AT)
    sign(pdf, signed, certificate=certificate, key=key, name="Dov Marrick", reason="Issued", at=AT)

    def rebuild() -> Path:
        again = folder / "again.pdf"
        build(content, files=files, workdir=folder / "work-again", out=again)
        return again

    return Issued(content, pdf, signed, report, known_of(content, report, pdf, signed, rebuild))


def known_of(content: Any, report: BuildReport, pdf: Path, signed: Path, rebuild: Any) -> Known:
    """What is put on record when a dossier is issued."""
    data = signed.read_bytes()
    return Known(
        number=content["number"],
        revision=content["revision"],
        content_sha256=report.content_sha256,
        unsigned_sha256=report.sha256,
        unsigned_length=pdf.stat().st_size,
        rebuild=rebuild,
        signed_sha256=hashlib.sha256(data).hexdigest(),
        signed_length=len(data),
    )
