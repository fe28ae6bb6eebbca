"""What a backup holds, written beside it: made of which version, which files, which hashes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any

from django.db import connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

FORMAT = "commissioning tracker backup 1"
NAME = "manifest.json"
SUMS = "SHA256SUMS"


class NotABackup(Exception):
    """The folder cannot be restored; the words say why and what to do."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """One backup, as its manifest.json says."""

    made_at: str
    version: str
    database: str
    database_file: str
    database_sha256: str
    migrations: list[str]
    tables: dict[str, dict[str, Any]]
    #: Files of the store: name → {"bytes": …, "sha256": …}
    files: dict[str, dict[str, Any]]
    #: Files that the record names and the store did not have.
    missing: list[str] = field(default_factory=list)
    #: Keys that the embedded product made for itself.
    own: dict[str, str] = field(default_factory=dict)
    format: str = FORMAT

    @property
    def at(self) -> datetime:
        return datetime.fromisoformat(self.made_at)

    @property
    def bytes(self) -> int:
        return sum(int(one["bytes"]) for one in self.files.values())

    def sums(self) -> str:
        """The hashes in the form that `sha256sum --check` reads."""
        hashes = {self.database_file: self.database_sha256}
        hashes |= {f"files/{name}": one["sha256"] for name, one in self.files.items()}
        hashes |= {f"own/{name}": digest for name, digest in self.own.items()}
        return "".join(f"{_escaped(digest, name)}\n" for name, digest in sorted(hashes.items()))

    def write(self, folder: Path) -> None:
        (folder / SUMS).write_text(self.sums(), "utf-8")
        (folder / NAME).write_text(json.dumps(asdict(self), indent=1, sort_keys=True, ensure_ascii=False), "utf-8")


def read(folder: Path) -> Manifest:
    """The manifest of a backup; refuses a folder that is none, or of a format that this version does not know."""
    try:
        said: Mapping[str, Any] = json.loads((folder / NAME).read_text("utf-8"))
    except OSError as error:
        raise NotABackup(f"{folder} holds no backup: {NAME} cannot be read ({error.strerror}).") from error
    except ValueError as error:
        raise NotABackup(f"{folder}/{NAME} is damaged: take another backup.") from error
    if not isinstance(said, dict) or said.get("format") != FORMAT:
        raise NotABackup(f"{folder} is of a format that this version does not read.")
    try:
        return Manifest(**said)
    except TypeError as error:
        raise NotABackup(f"{folder}/{NAME} is damaged ({error}): take another backup.") from error


def applied_migrations() -> list[str]:
    return sorted(f"{app}.{name}" for app, name in MigrationRecorder(connection).applied_migrations())


def known_migrations() -> set[str]:
    """Migrations that this version of the code has."""
    return {f"{app}.{name}" for app, name in MigrationLoader(None, ignore_no_migrations=True).disk_migrations}


def _escaped(digest: str, name: str) -> str:
    """A name with a backslash or a line break is marked by a leading backslash, as coreutils do."""
    plain = name.replace("\\", "\\\\").replace("\n", "\\n")
    mark = "" if plain == name else "\\"
    return f"{mark}{digest}  {plain}"
