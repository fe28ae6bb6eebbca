"""What the product is made of: what it runs on is told from what builds it, and silence is not taken for safety."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from deploy.checks import supply


def test_what_it_runs_on_is_told_from_what_tests_it():
    found = supply.packages_of("commissioning-tracker")
    assert {"django", "psycopg-binary", "pyhanko", "boto3"} <= found, "extras of what it needs belong to it"
    assert not {"pytest", "ruff", "moto"} & found


@pytest.mark.parametrize(
    ("said", "audited", "skipped", "found"),
    [
        ({"dependencies": [{"name": "a", "skip_reason": "not found"}]}, 0, ["a"], []),
        ({"dependencies": [{"name": "a", "version": "1", "vulns": [{"id": "X-1"}]}]}, 1, [], ["a 1: X-1"]),
        ({"dependencies": [{"name": "a", "version": "1", "vulns": []}]}, 1, [], []),
        (None, 0, ["everything"], []),
    ],
)
def test_a_package_that_was_not_audited_is_not_counted_as_well(
    monkeypatch, tmp_path: Path, said, audited, skipped, found
):
    out = json.dumps(said) if said else "no connection"
    monkeypatch.setattr(subprocess, "run", lambda *_, **__: subprocess.CompletedProcess([], 0, out, ""))
    assert supply.advisories(tmp_path / "advisories.json") == (audited, skipped, found)
