"""Whose certificate a dossier is signed with."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from commissioning.dossier.sign import make_demo_certificate
from commissioning.errors import ServiceError
from commissioning.services.dossier_signing import signing, signing_words


def test_the_operators_certificate_is_used_where_it_is_named(settings: Any, tmp_path: Path) -> None:
    certificate, key = make_demo_certificate(name="Ombrefell Water", at=datetime(2031, 1, 1, tzinfo=UTC))
    (tmp_path / "c.pem").write_bytes(certificate)
    (tmp_path / "k.pem").write_bytes(key)
    settings.SIGNING_CERTIFICATE, settings.SIGNING_KEY = str(tmp_path / "c.pem"), str(tmp_path / "k.pem")
    found = signing()
    assert (found.certificate, found.key, found.own_made) == (certificate, key, False)
    assert signing_words() == ""
    settings.SIGNING_KEY = str(tmp_path / "lost.pem")
    with pytest.raises(ServiceError, match="cannot be read"):
        signing()


def test_an_installation_makes_one_certificate_for_itself_and_says_so(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR = tmp_path
    with ThreadPoolExecutor(2) as two_workers:
        found = [one.result() for one in [two_workers.submit(signing) for _ in range(2)]]
    assert found[0] == found[1] == signing()
    assert found[0].own_made
    assert (tmp_path / "signing.pem").stat().st_mode & 0o077 == 0
    assert "not who signed" in signing_words()


def test_production_signs_with_nothing_of_its_own_making(settings: Any, tmp_path: Path) -> None:
    settings.DATA_DIR, settings.PRODUCTION = tmp_path, True
    with pytest.raises(ServiceError, match="TRACKER_SIGNING_CERTIFICATE"):
        signing()
    assert "No signing certificate is named" in signing_words()
    assert not list(tmp_path.iterdir())
