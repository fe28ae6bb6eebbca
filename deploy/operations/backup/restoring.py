"""A backup put back: everything checked before anything is touched, and proved by its hashes afterwards."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

from django.conf import settings
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import connection

from commissioning.models import Project
from commissioning.services.audit import first_broken_link
from commissioning.stored_files import every_file, put_back, referenced_name, sha256_of_file, sha256_of_stored
from deploy.operations.backup import database
from deploy.operations.backup.digest import differences
from deploy.operations.backup.making import PASSING_FOLDERS
from deploy.operations.backup.manifest import Manifest, NotABackup, known_migrations, read

Say = Callable[[str], None]


class NotEmpty(Exception):
    """Somebody's work stands where the backup should go."""


class NotTheSame(Exception):
    """What was put back is not what was kept."""


def restore_backup(folder: Path, *, replace: bool, say: Say = lambda words: None) -> Manifest:
    """Put a backup back: files, database, migrations of a newer version; then prove that it is all there."""
    manifest = checked(folder)
    if not replace and (database.holds_records() or _any_file()):
        raise NotEmpty(
            "This installation is not empty: restoring would overwrite what is in it. "
            "Restore into an empty one, or say --replace, after a backup of what is here."
        )
    say(f"putting back {len(manifest.files)} files")
    _put_files(folder, manifest)
    say("putting back the database")
    database.restore(folder)
    wrong = differences(manifest.tables, database.digests_now())
    if wrong:
        raise NotTheSame("The database is not what was kept: " + "; ".join(wrong[:10]))
    _remove_others(manifest)
    _put_own(folder, manifest)
    say("bringing the database to this version")
    call_command("migrate", interactive=False, verbosity=0)
    _prove(manifest)
    return manifest


def checked(folder: Path) -> Manifest:
    """The manifest, once every file of the backup has the hash that it should have."""
    manifest = read(folder)
    if manifest.database != connection.vendor:
        raise NotABackup(
            f"This backup is of {manifest.database}, and this installation stands on {connection.vendor}. "
            "Take projects over one by one instead: manage.py export_project, manage.py import_project."
        )
    unknown = sorted(set(manifest.migrations) - known_migrations())
    if unknown:
        raise NotABackup(
            f"This backup was made by a newer version ({unknown[-1]} is not known here): install that one."
        )
    for name, digest in _expected(manifest):
        path = folder / name
        if not path.is_file():
            raise NotABackup(f"{name} is missing from the backup: take another one.")
        with path.open("rb") as file:
            if sha256_of_file(file) != digest:
                raise NotABackup(f"{name} was changed since the backup was made: take another one.")
    return manifest


def _expected(manifest: Manifest) -> list[tuple[str, str]]:
    for name in (*manifest.files, *manifest.own):
        if not referenced_name(name):
            raise NotABackup(f"The backup names a file outside its folder: {name!r}. Do not use it.")
    found = [(manifest.database_file, manifest.database_sha256)]
    found += [(f"files/{name}", str(one["sha256"])) for name, one in manifest.files.items()]
    return found + [(f"own/{name}", digest) for name, digest in manifest.own.items()]


def _any_file() -> bool:
    return any(not one.name.startswith(PASSING_FOLDERS) for one in every_file())


def _put_files(folder: Path, manifest: Manifest) -> None:
    there = {one.name: one.size for one in every_file()}
    for name, kept in manifest.files.items():
        if there.get(name) == kept["bytes"] and sha256_of_stored(name) == kept["sha256"]:
            continue
        with (folder / "files" / name).open("rb") as file:
            put_back(name, file)


def _remove_others(manifest: Manifest) -> None:
    """Files that came after the backup: the record that named them is gone."""
    for one in list(every_file()):
        if one.name not in manifest.files:
            default_storage.delete(one.name)


def _put_own(folder: Path, manifest: Manifest) -> None:
    for name in manifest.own:
        target = Path(settings.DATA_DIR) / name
        shutil.copy2(folder / "own" / name, target)
        target.chmod(0o600)


def _prove(manifest: Manifest) -> None:
    """Every file has its hash where it lies now, and every audit chain holds."""
    wrong = [name for name, kept in manifest.files.items() if sha256_of_stored(name) != kept["sha256"]]
    if wrong:
        raise NotTheSame(f"{len(wrong)} files are not what was kept: {', '.join(wrong[:5])}")
    for project in Project.objects.all():
        broken = first_broken_link(project)
        if broken is not None:
            raise NotTheSame(f"The audit log of {project.code} does not hold from entry {broken.sequence} on.")
