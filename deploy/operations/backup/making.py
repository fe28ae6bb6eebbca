"""One backup: database first, then the files that it names; complete under its final name, or not there at all."""

from __future__ import annotations

import fcntl
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from django.apps import apps
from django.conf import settings
from django.db import models
from django.utils import timezone

from commissioning.stored_files import copy_out, every_file, referenced_name, sha256_of_file
from deploy.operations import seen
from deploy.operations.backup import database
from deploy.operations.backup.manifest import NAME, Manifest, applied_migrations, read
from deploy.operations.versions import version

PREFIX = "tracker-"
#: Folders of the store that hold nothing of the record.
PASSING_FOLDERS = ("exports/", "health/", "dossier-work/")
#: Keys that the embedded product made for itself, beside its database.
OWN_FILES = ("secret_key", "signing.pem")
#: A store's clock and ours may differ by so much.
CLOCKS_DIFFER = timedelta(minutes=5)
Say = Callable[[str], None]


class Running(Exception):
    """Another backup is being made into the same folder."""


def make_backup(folder: Path, *, keep: int, say: Say = lambda words: None) -> tuple[Path, Manifest]:
    """Make a backup below `folder` and remove all but the last `keep`; answers where it lies and what it holds."""
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    with _alone(folder):
        for half in folder.glob(f"{PREFIX}*.part"):
            shutil.rmtree(half)  # of a run that was cut off: the lock says that nobody works on it
        began = timezone.now()
        final = folder / f"{PREFIX}{began:%Y%m%dT%H%M%S.%fZ}"
        half = final.with_name(f"{final.name}.part")
        half.mkdir(mode=0o700)
        try:
            manifest = _fill(half, began.isoformat(), previous=_last(folder), say=say)
            _to_disk(half)
            half.rename(final)
            _sync(folder)
        except BaseException:
            shutil.rmtree(half, ignore_errors=True)
            raise
        for old in complete(folder)[:-keep]:
            shutil.rmtree(old)
    facts = {
        "name": final.name,
        "files": len(manifest.files),
        "bytes": manifest.bytes,
        "missing": manifest.missing[:20],
    }
    seen.note("backup", facts=facts)
    return final, manifest


def complete(folder: Path) -> list[Path]:
    """Complete backups below the folder, oldest first."""
    return sorted(path for path in folder.glob(f"{PREFIX}*Z") if (path / NAME).exists())


def named_files() -> set[str]:
    """Every file that a row of the record names."""
    found: set[str] = set()
    for model in apps.get_models(include_auto_created=True):
        for field in model._meta.concrete_fields:
            if isinstance(field, models.FileField):
                names = model._base_manager.exclude(**{field.name: ""}).values_list(field.name, flat=True)
                found.update(name for name in names.iterator(chunk_size=5000) if name)
    return found


def _fill(half: Path, made_at: str, *, previous: Path | None, say: Say) -> Manifest:
    say("dumping the database")
    with database.dumped(half) as tables:
        wanted = named_files()
        migrations = applied_migrations()
    manifest = Manifest(
        made_at=made_at,
        version=version(),
        database=database.connection.vendor,
        database_file=database.file_name(),
        database_sha256=_sha256(half / database.file_name()),
        migrations=migrations,
        tables=tables,
        files=_copy_files(half / "files", previous, say),
        own=_copy_own(half / "own"),
    )
    manifest = replace(manifest, missing=sorted(wanted - set(manifest.files)))
    manifest.write(half)
    return manifest


def _copy_files(to: Path, previous: Path | None, say: Say) -> dict[str, dict[str, object]]:
    """Every file of the store; one that the last backup has, and that was not written since, is linked, not fetched."""
    last = read(previous) if previous else None
    kept, unwritten = (last.files, last.at - CLOCKS_DIFFER) if last else ({}, None)
    found: dict[str, dict[str, object]] = {}
    for stored in every_file():
        if stored.name.startswith(PASSING_FOLDERS) or not referenced_name(stored.name):
            continue
        path = to / stored.name
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        before = kept.get(stored.name)
        same = before and unwritten and stored.modified < unwritten and before["bytes"] == stored.size
        if previous and before and same and _linked(previous / "files" / stored.name, path, str(before["sha256"])):
            found[stored.name] = before
            continue
        try:
            with path.open("wb") as out:
                size, digest = copy_out(stored.name, out)
        except FileNotFoundError:
            path.unlink(missing_ok=True)  # removed since it was listed: nothing names it, or it will be said missing
            continue
        found[stored.name] = {"bytes": size, "sha256": digest}
        if len(found) % 1000 == 0:
            say(f"{len(found)} files")
    return found


def _linked(old: Path, new: Path, expected: str) -> bool:
    """Take a file over from the last backup, where it is still what it was."""
    try:
        if _sha256(old) != expected:
            return False
        os.link(old, new)
    except OSError:
        return False
    return True


def _copy_own(to: Path) -> dict[str, str]:
    found = {}
    for name in OWN_FILES:
        path = Path(settings.DATA_DIR) / name
        if not settings.PRODUCTION and path.exists():
            to.mkdir(exist_ok=True, mode=0o700)
            shutil.copy2(path, to / name)
            found[name] = _sha256(to / name)
    return found


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    with (folder / ".lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise Running(f"Another backup is being made into {folder}. Wait until it has ended.") from error
        yield


def _last(folder: Path) -> Path | None:
    found = complete(folder)
    return found[-1] if found else None


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return sha256_of_file(file)


def _to_disk(folder: Path) -> None:
    for path, _, names in os.walk(folder):
        for name in names:
            _sync(Path(path) / name)
        _sync(Path(path))


def _sync(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
