"""Files of the record in whatever store they lie: listed, copied out and put back under their own names."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO

from django.core.files import File
from django.core.files.storage import default_storage

from commissioning.disk_store import HALF, clear_forgotten

CHUNK = 1 << 20
#: What goes out to a browser at a time.
BLOCK = 256 * 1024
#: What is half-written for longer is of a process that was killed.
HALF_KEPT = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Stored:
    """A file in the store, by its name there."""

    name: str
    size: int
    modified: datetime


def every_file(under: str = "") -> Iterator[Stored]:
    """Every file whose name begins with this folder, in the order of names."""
    prefix = f"{under.strip('/')}/" if under.strip("/") else ""
    bucket = getattr(default_storage, "bucket", None)
    if bucket is not None:  # one request for a thousand files, however many folders they stand in
        for one in bucket.objects.filter(Prefix=prefix):
            yield Stored(one.key, one.size, one.last_modified)
        return
    root = Path(default_storage.path(""))
    walked = [Path(folder) / name for folder, _, names in os.walk(root / prefix) for name in names]
    found = [path for path in walked if HALF not in path.parts]
    for path in sorted(found, key=lambda path: path.relative_to(root).as_posix()):
        try:
            found_now = path.stat()
        except FileNotFoundError:
            continue  # removed just now
        yield Stored(
            path.relative_to(root).as_posix(), found_now.st_size, datetime.fromtimestamp(found_now.st_mtime, tz=UTC)
        )


def clear_half_written() -> None:
    """Take away what killed processes left half-written: it has no name yet, and takes room all the same."""
    before = datetime.now(tz=UTC) - HALF_KEPT
    bucket = getattr(default_storage, "bucket", None)
    if bucket is None:
        clear_forgotten(Path(default_storage.path("")), before)
        return
    for upload in bucket.multipart_uploads.all():
        if upload.initiated < before:
            upload.abort()


def top_folders() -> list[str]:
    """Folders at the top of the store: one a kind of file."""
    try:
        return sorted(default_storage.listdir("")[0])
    except FileNotFoundError:
        return []  # nothing was ever stored


def copy_out(name: str, out: IO[bytes]) -> tuple[int, str]:
    """Write a stored file to `out`; answers with its size and its SHA-256."""
    digest, size = hashlib.sha256(), 0
    with default_storage.open(name) as file:
        while chunk := file.read(CHUNK):
            out.write(chunk)
            digest.update(chunk)
            size += len(chunk)
    return size, digest.hexdigest()


def part_of(name: str, first: int, length: int) -> Iterator[bytes]:
    """The bytes of a stored file from `first` on, in blocks; from a bucket no more is fetched than is wanted.

    Raises FileNotFoundError at once where it is not there.
    """
    bucket = getattr(default_storage, "bucket", None)
    if bucket is None or not length:
        return _blocks(default_storage.open(name), first, length)
    try:
        got = bucket.Object(name).get(Range=f"bytes={first}-{first + length - 1}")
    except bucket.meta.client.exceptions.NoSuchKey as error:
        raise FileNotFoundError(name) from error
    return _blocks(got["Body"], 0, length)


def sha256_of_stored(name: str) -> str:
    """SHA-256 of a stored file as it lies there now."""
    with default_storage.open(name) as file:
        return sha256_of_file(file)


def sha256_of_file(file: IO[bytes]) -> str:
    digest = hashlib.sha256()
    while chunk := file.read(CHUNK):
        digest.update(chunk)
    return digest.hexdigest()


def put_back(name: str, file: IO[bytes]) -> None:
    """Store a file under exactly this name; one that is there is replaced."""
    if default_storage.exists(name):
        default_storage.delete(name)
    kept = default_storage.save(name, File(file))
    if kept != name:
        default_storage.delete(kept)
        raise OSError(f"The file store gives {name} another name ({kept}).")


def referenced_name(name: str) -> bool:
    """True for a plain relative name: nothing that leads out of the store."""
    return bool(name) and not name.startswith("/") and "\\" not in name and ".." not in name.split("/")


def _blocks(file: IO[bytes], first: int, length: int) -> Iterator[bytes]:
    with closing(file):
        if first:
            file.seek(first)
        while length > 0 and (block := file.read(min(BLOCK, length))):
            length -= len(block)
            yield block
