"""A project put into an installation that does not have it, and proved to be the same before anything is kept."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import fields as fields_of
from itertools import islice
from pathlib import Path
from typing import Any

from django.core.files.storage import default_storage
from django.core.management.color import no_style
from django.db import IntegrityError, connection, transaction
from django.db.models import Model

from commissioning.models import Project, System, User
from commissioning.services.audit import first_broken_link
from commissioning.services.counters import recount
from commissioning.stored_files import put_back, referenced_name, sha256_of_file, sha256_of_stored

from . import manifest as names
from .manifest import FORMAT, Manifest, NotAnExport, content_sha256, migrations
from .rows import record_of
from .tables import Table, tables
from .writer import PERSON, content_of

CHUNK = 1000
#: More than this once unpacked is no project.
LARGEST = 1 << 42
Say = Callable[[str], None]


def import_project(path: Path, *, say: Say = lambda words: None) -> Manifest:
    """Take a project in: all of it, the same as it was, or nothing."""
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = checked(archive)
            placed: list[str] = []
            try:
                with transaction.atomic():
                    _refuse_what_is_there(archive, manifest)
                    say(f"taking in {manifest.rows} rows")
                    _put_rows(archive)
                    _prove(manifest)
                    recount(System.objects.filter(project__pk=manifest.project["id"]).values_list("pk", flat=True))
                    say(f"taking in {len(manifest.files)} files")
                    _put_files(archive, manifest, placed)
            except BaseException:
                for name in placed:
                    default_storage.delete(name)
                raise
    except (zipfile.BadZipFile, OSError) as error:
        raise NotAnExport(f"{path} cannot be read as an export: {error}") from error
    except IntegrityError as error:
        raise NotAnExport(f"The rows of the export do not hold together, so nothing was taken in: {error}") from error
    return manifest


def checked(archive: zipfile.ZipFile) -> Manifest:
    """The manifest, once every entry is what it says, and this version has tables of the same shape."""
    manifest = _read_manifest(archive)
    there = {info.filename: info for info in archive.infolist()}
    if len(there) != len(archive.infolist()):
        raise NotAnExport("The archive holds two entries of one name. Do not use it.")
    expected = {*manifest.entries, names.NAME, names.SUMS}
    if set(there) != expected:
        other = sorted(set(there) ^ expected)
        raise NotAnExport(f"The archive does not hold what its manifest says: {', '.join(other[:5])}")
    if sum(info.file_size for info in there.values()) > LARGEST:
        raise NotAnExport("Unpacked it would be larger than any project. Do not use it.")
    if manifest.content_sha256 != content_sha256(manifest.entries):
        raise NotAnExport("The manifest was changed since the export was made: take another one.")
    if manifest.migrations != migrations():
        other = sorted(set(manifest.migrations) ^ set(migrations()))
        raise NotAnExport(
            f"The export was made by a version whose tables differ ({', '.join(other[:3])}): "
            "bring the installation that it comes from and this one to the same version, and export again."
        )
    for name, one in manifest.entries.items():
        same_size = referenced_name(name) and there[name].file_size == one["bytes"]
        if not same_size or _sha256(archive, name) != one["sha256"]:
            raise NotAnExport(f"{name} is not what the manifest says: take another export.")
    return manifest


def _read_manifest(archive: zipfile.ZipFile) -> Manifest:
    try:
        said = json.loads(archive.read(names.NAME))
    except (KeyError, ValueError) as error:
        raise NotAnExport(f"There is no readable {names.NAME} in it: this is no export of a project.") from error
    if not isinstance(said, dict) or said.get("format") != FORMAT:
        raise NotAnExport("The export is of a format that this version does not read.")
    if set(said) != {field.name for field in fields_of(Manifest)}:
        raise NotAnExport(f"{names.NAME} is damaged: take another export.")
    return Manifest(**said)


def _refuse_what_is_there(archive: zipfile.ZipFile, manifest: Manifest) -> None:
    """A project is taken in once; people keep their numbers, since the audit log's hashes are taken over them."""
    code, id = manifest.project["code"], manifest.project["id"]
    if Project.objects.filter(code=code).exists() or Project.objects.filter(pk=id).exists():
        raise NotAnExport(f"The project {code} is here already. Take it into an installation that does not have it.")
    for person in _json_lines(archive, names.PEOPLE):
        same_number = User.objects.filter(pk=person["id"]).first()
        same_name = User.objects.filter(username=person["username"]).first()
        if same_number != same_name:
            raise NotAnExport(
                f"Here the number {person['id']} or the name {person['username']} belongs to somebody else. "
                "Take the project into an empty installation."
            )


def _put_rows(archive: zipfile.ZipFile) -> None:
    known = set(User.objects.values_list("pk", flat=True))
    new = (person for person in _json_lines(archive, names.PEOPLE) if person["id"] not in known)
    _insert(User, (_person(one) for one in new))
    for table in tables():
        _insert(table.model, _records(archive, table))
    numbered: list[type[Model]] = [User, *(table.model for table in tables() if not table.fields[0].primary_key)]
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), numbered):
            cursor.execute(statement)


def _records(archive: zipfile.ZipFile, table: Table) -> Iterator[Any]:
    for row in _json_lines(archive, table.file):
        try:
            yield record_of(table.model, table.fields, row)
        except (ValueError, TypeError) as error:
            raise NotAnExport(f"{table.file}: {error}") from error


def _person(said: dict[str, Any]) -> User:
    """Somebody of the record. They get a password of their own from whoever runs this installation."""
    fields = [User._meta.get_field(name) for name in PERSON]
    person = record_of(User, fields, said)  # type: ignore[arg-type]
    assert isinstance(person, User)  # noqa: S101 (the model that was asked for)
    person.set_unusable_password()
    return person


def _insert(model: type[Any], records: Iterator[Any]) -> None:
    """Rows as they are: no time of now in the place of the recorded one."""
    auto = not records_have_keys(model)
    fields = [field for field in model._meta.concrete_fields if not (auto and field.primary_key)]
    while batch := list(islice(records, CHUNK)):
        size = connection.ops.bulk_batch_size([field.name for field in fields], batch)
        for start in range(0, len(batch), size):
            part = batch[start : start + size]
            model._base_manager._insert(part, fields=fields, using=connection.alias, raw=True)


def records_have_keys(model: type[Any]) -> bool:
    """False where the database numbers the rows itself."""
    return model is User or model._meta.pk.get_internal_type() not in ("AutoField", "BigAutoField")


def _prove(manifest: Manifest) -> None:
    """What was written reads back as the export has it, and its audit log holds."""
    project = Project.objects.get(pk=manifest.project["id"])
    for name, found in content_of(project).items():
        if manifest.entries[name] != found:
            raise NotAnExport(f"{name} would not be the same here as where it was exported, so nothing was taken in.")
    broken = first_broken_link(project)
    if broken is not None:
        raise NotAnExport(f"The audit log of the export does not hold from entry {broken.sequence} on.")


def _put_files(archive: zipfile.ZipFile, manifest: Manifest, placed: list[str]) -> None:
    for name, one in manifest.files.items():
        if default_storage.exists(name) and sha256_of_stored(name) != one["sha256"]:
            raise NotAnExport(f"Another file of the name {name} is in the store here.")
        placed.append(name)  # also one that a broken import left: stored anew, it is not swept as old
        with archive.open(f"files/{name}") as file:
            put_back(name, file)
        if sha256_of_stored(name) != one["sha256"]:
            raise NotAnExport(f"The store did not keep {name} as it was.")


def _json_lines(archive: zipfile.ZipFile, name: str) -> Iterator[dict[str, Any]]:
    with archive.open(name) as file:
        for line in file:
            yield json.loads(line)


def _sha256(archive: zipfile.ZipFile, name: str) -> str:
    with archive.open(name) as file:
        return sha256_of_file(file)
