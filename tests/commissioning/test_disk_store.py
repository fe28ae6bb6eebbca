"""A file on a local disk is whole under its name, or not there: asked of the file system, not of the store."""

from __future__ import annotations

import errno
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core.files.base import ContentFile

from commissioning.disk_store import HALF, WholeFileStorage, clear_forgotten


class Breaks(ContentFile):
    """The disk is full after the first part."""

    def chunks(self, chunk_size: int | None = None):
        yield b"half of it"
        raise OSError(errno.ENOSPC, "No space left on device")


def files_in(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_a_write_that_breaks_off_leaves_nothing_under_the_name_and_the_next_one_is_whole(tmp_path):
    store = WholeFileStorage(location=tmp_path)
    with pytest.raises(OSError, match="No space"):
        store.save("photos/ab/one.jpg", Breaks(b""))
    assert files_in(tmp_path) == {}
    assert store.save("photos/ab/one.jpg", ContentFile(b"all of it")) == "photos/ab/one.jpg"
    assert files_in(tmp_path) == {"photos/ab/one.jpg": b"all of it"}


def test_nothing_is_overwritten(tmp_path):
    store = WholeFileStorage(location=tmp_path)
    names = [store.save("a/b.txt", ContentFile(text)) for text in (b"first", b"second")]
    assert len(set(names)) == 2
    assert sorted(files_in(tmp_path).values()) == [b"first", b"second"]


def test_what_a_killed_process_left_is_no_file_of_the_record_and_goes_after_a_day(tmp_path):
    store = WholeFileStorage(location=tmp_path)
    store.save("a/b.txt", ContentFile(b"whole"))
    old, young = tmp_path / HALF / "old", tmp_path / HALF / "young"
    for path in (old, young):
        path.write_bytes(b"half")
    yesterday = datetime.now(tz=UTC) - timedelta(days=1)
    os.utime(old, (0, yesterday.timestamp() - 1))
    assert store.listdir("") == (["a"], [])
    clear_forgotten(tmp_path, yesterday)
    assert (old.exists(), young.exists()) == (False, True)
