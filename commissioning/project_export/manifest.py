"""What an export holds: every entry with its bytes and SHA-256, and the one hash of all of it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from django.conf import settings
from django.db.migrations.loader import MigrationLoader

from commissioning.services.audit import sha256_of

FORMAT = "commissioning tracker project export 1"
NAME, SUMS, FIELDS, PEOPLE, README_NAME = "manifest.json", "SHA256SUMS", "fields.json", "people.jsonl", "README.txt"


class NotAnExport(Exception):
    """The file cannot be imported; the words say why and what to do."""


@dataclass(frozen=True, slots=True)
class Manifest:
    """One export, as its manifest.json says."""

    project: dict[str, str]
    made_at: str
    migrations: list[str]
    #: Entry → {"bytes": …, "sha256": …}, tables also {"rows": …}
    entries: dict[str, dict[str, Any]]
    audit: dict[str, Any]
    content_sha256: str
    format: str = FORMAT

    def as_json(self) -> dict[str, Any]:
        return asdict(self)

    @property
    def rows(self) -> int:
        return sum(int(one.get("rows", 0)) for one in self.entries.values())

    @property
    def files(self) -> dict[str, dict[str, Any]]:
        """Files of the record by their names in the store."""
        return {name.removeprefix("files/"): one for name, one in self.entries.items() if name.startswith("files/")}


def content_sha256(entries: dict[str, dict[str, Any]]) -> str:
    """One hash of the record and its files: two exports of the same project have the same, whenever they were made."""
    return sha256_of({name: one for name, one in entries.items() if name not in (README_NAME, FIELDS)})


def migrations() -> list[str]:
    """The shape of the tables, by the migrations of this version that made it."""
    found = MigrationLoader(None, ignore_no_migrations=True).disk_migrations
    return sorted(f"{app}.{name}" for app, name in found if app in settings.EXPORTED_APPS)
