"""A project written into one archive, in one snapshot of the record."""

from __future__ import annotations

import hashlib
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import IO, Any

from django.db import models
from django.utils import timezone

from commissioning.models import AuditChain, Project, User
from commissioning.services.dossier_build import one_snapshot
from commissioning.stored_files import copy_out, every_file, top_folders

from . import manifest as names
from .described import README, described
from .manifest import Manifest, NotAnExport, content_sha256, migrations
from .registers import registers
from .rows import line_of, lines, plain
from .tables import Table, tables

#: Kinds of file in the store that are no part of the record.
PASSING = frozenset({"exports", "health", "dossier-work"})
#: Compressed already: packing them again costs time and saves nothing.
PACKED = (".jpg", ".jpeg", ".png", ".pdf", ".parquet", ".zip", ".xlsx")
PERSON = ("id", "username", "name", "email", "is_active", "date_joined")
Said = dict[str, Any]
Say = Callable[[str], None]


def write_export(project: Project, out: IO[bytes], *, say: Say = lambda words: None) -> Manifest:
    """Write everything of the project; answers with the manifest that went into it."""
    archive = Archive(out)
    try:
        return _written(archive, project, say)
    finally:
        archive.zip.close()


def _written(archive: Archive, project: Project, say: Say) -> Manifest:
    with one_snapshot():
        project = Project.objects.get(pk=project.pk)
        archive.text(names.README_NAME, README)
        archive.text(names.FIELDS, _pretty({table.name: described(table) for table in tables()}))
        people: set[int] = set()
        wanted: set[str] = set()
        for table in tables():
            say(f"writing {table.name}")
            archive.lines(table.file, _table(table, project, people, wanted))
        archive.lines(names.PEOPLE, _people(people))
        for name, rows in registers(project):
            archive.lines(name, rows)
        chain = AuditChain.objects.filter(project=project).first()
    say("writing files")
    _files(archive, project, wanted)
    manifest = Manifest(
        project={"id": str(project.pk), "code": project.code, "name": project.name},
        made_at=timezone.now().isoformat(timespec="seconds"),
        migrations=migrations(),
        entries=dict(sorted(archive.entries.items())),
        audit={"entries": chain.last_sequence, "last_hash": chain.last_hash} if chain else {},
        content_sha256=content_sha256(archive.entries),
    )
    archive.finish(manifest)
    return manifest


class Archive:
    """A zip file that keeps count of what went into it; the same content gives the same bytes."""

    def __init__(self, out: IO[bytes]) -> None:
        self.zip = zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=6)
        self.entries: dict[str, Said] = {}

    def text(self, name: str, content: str) -> None:
        self.lines(name, [content.encode()])
        self.entries[name].pop("rows")

    def lines(self, name: str, content: Iterable[bytes]) -> None:
        """An entry of lines, which are counted."""
        digest, size, rows = hashlib.sha256(), 0, 0
        with self._entry(name) as entry:
            for line in content:
                entry.write(line)
                digest.update(line)
                size += len(line)
                rows += 1
        self.entries[name] = {"bytes": size, "sha256": digest.hexdigest(), "rows": rows}

    def stored(self, name: str) -> None:
        """A file of the record, under the name that its row gives it."""
        with self._entry(f"files/{name}") as entry:
            size, digest = copy_out(name, entry)
        self.entries[f"files/{name}"] = {"bytes": size, "sha256": digest}

    def finish(self, manifest: Manifest) -> None:
        sums = "".join(f"{one['sha256']}  {name}\n" for name, one in manifest.entries.items())
        for name, content in ((names.SUMS, sums), (names.NAME, _pretty(manifest.as_json()))):
            with self._entry(name) as entry:
                entry.write(content.encode())

    @contextmanager
    def _entry(self, name: str) -> Iterator[IO[bytes]]:
        info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
        info.external_attr = 0o600 << 16
        packed = name.lower().endswith(PACKED)
        info.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
        with self.zip.open(info, "w", force_zip64=True) as entry:
            yield entry


def content_of(project: Project) -> dict[str, Said]:
    """Rows and hash of every table and of the people, without writing anything: what an import is compared by."""
    people: set[int] = set()
    found = {table.file: _hashed(_table(table, project, people, set())) for table in tables()}
    return found | {names.PEOPLE: _hashed(_people(people))}


def _hashed(content: Iterable[bytes]) -> Said:
    digest, size, rows = hashlib.sha256(), 0, 0
    for line in content:
        digest.update(line)
        size += len(line)
        rows += 1
    return {"bytes": size, "sha256": digest.hexdigest(), "rows": rows}


def _table(table: Table, project: Project, people: set[int], wanted: set[str]) -> Iterator[bytes]:
    """The lines of a table; on the way it is noted whom and which files they name."""
    who = table.people
    held = [field.attname for field in table.fields if isinstance(field, models.FileField)]
    for row, line in lines(table, project):
        people.update(row[name] for name in who if row[name] is not None)
        wanted.update(row[name] for name in held if row[name])
        yield line


def _people(ids: set[int]) -> Iterator[bytes]:
    """Everybody whom the record names: no password, no rights in this installation."""
    for values in User.objects.filter(pk__in=ids).order_by("pk").values_list(*PERSON).iterator():
        yield line_of({name: plain(value) for name, value in zip(PERSON, values, strict=True)})


def _files(archive: Archive, project: Project, wanted: set[str]) -> None:
    """Files lie below <kind>/<project>/: what rows name, and what was kept beside it."""
    there = {one.name for kind in top_folders() if kind not in PASSING for one in every_file(f"{kind}/{project.pk}")}
    for name in sorted(there | wanted):
        try:
            archive.stored(name)
        except FileNotFoundError as error:
            if name in wanted:
                raise NotAnExport(f"The file {name}, which the record names, is not in the store.") from error
            archive.entries.pop(f"files/{name}", None)


def _pretty(value: Any) -> str:
    return json.dumps(value, indent=1, sort_keys=True, ensure_ascii=False) + "\n"
