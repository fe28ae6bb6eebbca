"""A backup brings everything back and proves it by hashes; what is damaged, foreign or in the way is refused."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection

from commissioning.models import AuditEntry, Project, User
from commissioning.models.append_only import missing_triggers
from deploy.operations import state
from deploy.operations.backup import database, making
from deploy.operations.backup.digest import differences
from tests.support.world import make_project

real = pytest.mark.django_db(transaction=True)  # the database's own tools look from outside of a test's transaction


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return tmp_path / "backups"


@pytest.fixture
def world(tmp_path, settings):
    """A project with files, in a store that other tests do not share."""
    settings.DATA_DIR = tmp_path / "data"
    settings.DATA_DIR.mkdir()
    settings.MEDIA_ROOT = tmp_path / "files"
    # Emptied tables miss what migrating adds (a content type of a library's replaced model), and restoring migrates.
    call_command("migrate", interactive=False, verbosity=0)
    made = make_project(name="Ombrefell – 'quoted', \\backslash\\ and\nline break")
    default_storage.save("photos/one.jpg", ContentFile(b"\xff\xd8one"))
    default_storage.save("dossiers/deep/er/two.pdf", ContentFile(b"%PDF two" * 999))
    return made


def backup(folder: Path, **options: object) -> Path:
    call_command("backup", to=folder, **options)
    return making.complete(folder)[-1]


def spoil() -> None:
    """What a bad day leaves: rows and a file gone, a file changed, something new."""
    User.objects.filter(username__startswith="stranger").delete()
    Project.objects.update(name="spoilt")
    default_storage.delete("photos/one.jpg")
    default_storage.delete("dossiers/deep/er/two.pdf")
    default_storage.save("dossiers/deep/er/two.pdf", ContentFile(b"spoilt"))
    default_storage.save("photos/later.jpg", ContentFile(b"later"))


@real
def test_everything_comes_back_as_it_was_and_nothing_is_overwritten_unasked(world, folder):
    before = database.digests_now()
    made = backup(folder)
    subprocess.run(["sha256sum", "--check", "--strict", "--quiet", "SHA256SUMS"], cwd=made, check=True)
    manifest = json.loads((made / "manifest.json").read_text())
    assert set(manifest["files"]) == {"photos/one.jpg", "dossiers/deep/er/two.pdf"}
    assert manifest["tables"]["commissioning_project"]["rows"] == 1
    spoil()
    spoilt = database.digests_now()
    assert differences(before, spoilt)
    with pytest.raises(CommandError, match=r"Nothing was changed.*not empty"):
        call_command("restore", made)
    assert differences(spoilt, database.digests_now()) == []

    call_command("restore", made, replace=True)
    assert differences(before, database.digests_now()) == []
    with default_storage.open("dossiers/deep/er/two.pdf") as file:
        assert file.read() == b"%PDF two" * 999
    with default_storage.open("photos/one.jpg") as file:
        assert file.read() == b"\xff\xd8one"
    assert not default_storage.exists("photos/later.jpg")
    assert Project.objects.get().name == world.project.name
    assert missing_triggers(connection) == set()
    with pytest.raises(DatabaseError, match="never changed or deleted"):
        AuditEntry.objects.update(action="another")
    make_project()  # keys and sequences go on where they were


def damages(made: Path) -> Iterator[tuple[str, Callable[[Path], object], str]]:
    """What can be wrong with a backup, and what has to be said."""
    manifest = json.loads((made / "manifest.json").read_text())

    def says(**other: object) -> Callable[[Path], object]:
        return lambda copy: (copy / "manifest.json").write_text(json.dumps(manifest | other))

    def flip(copy: Path) -> None:
        dump = bytearray((copy / database.file_name()).read_bytes())
        dump[len(dump) // 2] ^= 1
        (copy / database.file_name()).write_bytes(dump)

    outside = {**manifest["files"], "../outside": {"bytes": 0, "sha256": "0"}}
    yield "photo", lambda copy: (copy / "files/photos/one.jpg").write_bytes(b"\xff\xd8two"), "was changed"
    yield "database", flip, "was changed"
    yield "missing", lambda copy: (copy / "files/photos/one.jpg").unlink(), "is missing"
    yield "manifest", lambda copy: (copy / "manifest.json").write_text('{"format": "commiss'), "damaged"
    yield "nothing", lambda copy: (copy / "manifest.json").unlink(), "holds no backup"
    yield "format", says(format="of another kind"), "does not read"
    yield "field", says(colour="blue"), "damaged"
    yield "outside", says(files=outside), "outside its folder"
    yield "newer", says(migrations=["commissioning.9999_later"]), "newer version"
    yield "engine", says(database="oracle"), "export_project"


@real
def test_what_cannot_be_trusted_is_refused_before_anything_is_touched(world, folder, tmp_path):
    made = backup(folder)
    before = database.digests_now()
    for name, damage, words in damages(made):
        copy = tmp_path / name
        shutil.copytree(made, copy)
        damage(copy)
        with pytest.raises(CommandError, match="Nothing was changed") as refused:
            call_command("restore", copy, replace=True)
        assert words in str(refused.value), name
    assert differences(before, database.digests_now()) == []


@real
def test_the_next_backup_takes_over_what_is_still_good_and_the_oldest_goes(world, folder, monkeypatch):
    same, other = "files/dossiers/deep/er/two.pdf", "files/photos/one.jpg"
    for name in ("photos/one.jpg", "dossiers/deep/er/two.pdf"):
        os.utime(default_storage.path(name), (1, 1))
    (folder / "tracker-19990101T000000Z.part").mkdir(parents=True)
    first = backup(folder)
    assert not list(folder.glob("*.part")), "what was cut off is cleared away"

    Path(default_storage.path("photos/one.jpg")).write_bytes(b"\xff\xd8two")
    second = backup(folder)
    assert (first / same).stat().st_ino == (second / same).stat().st_ino
    assert (second / other).read_bytes() == b"\xff\xd8two"

    (second / same).write_bytes(b"%PDF bad")  # and in the first: they are one file
    third = backup(folder, keep=2)
    assert (third / same).read_bytes() == b"%PDF two" * 999
    assert making.complete(folder) == [second, third]


@real
def test_a_backup_that_breaks_off_leaves_nothing_and_one_that_lacks_a_file_says_which(world, folder, monkeypatch):
    first = backup(folder)

    def full(*args: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(making, "copy_out", full)
        with pytest.raises(CommandError, match=r"No backup was made.*No space"):
            backup(folder)
    if connection.vendor == "postgresql":
        with monkeypatch.context() as patch:
            patch.setattr(shutil, "which", lambda name: None)
            with pytest.raises(CommandError, match="client programs"):
                backup(folder)
    assert [path for path in folder.iterdir() if path.is_dir()] == [first]
    assert state.last_backup().facts["name"] == first.name

    monkeypatch.setattr(making, "named_files", lambda: {"photos/gone.jpg", "photos/one.jpg"})
    with pytest.raises(CommandError, match=r"1 files that the record names.*photos/gone\.jpg"):
        backup(folder)
    assert json.loads((making.complete(folder)[-1] / "manifest.json").read_text())["missing"] == ["photos/gone.jpg"]


def test_two_at_once_do_not_mix_and_a_backup_needs_a_place(folder, settings):
    folder.mkdir()
    with making._alone(folder), pytest.raises(CommandError, match="Another backup"):
        call_command("backup", to=folder)
    settings.BACKUP_DIR = ""
    with pytest.raises(CommandError, match="TRACKER_BACKUP_DIR"):
        call_command("backup")
