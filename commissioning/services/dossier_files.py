"""Where a dossier's files lie: results in the default storage, scratch on this machine."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files import File
from django.core.files.storage import default_storage

from commissioning.dossier.images import FileDiffers
from commissioning.models import Dossier, Job

#: Finished sections of a build that nobody asks for again are kept for so long.
KEPT_SECONDS = 7 * 24 * 3600


class Workplace:
    """Scratch of one run. Finished sections are shared by all runs of one dossier, everything else is the run's own."""

    def __init__(self, dossier: Dossier, job: Job) -> None:
        token = f"{job.attempts}-{job.lease_holder[-12:]}"
        self.shared = work_root() / str(dossier.pk)
        self.own = self.shared / f"run-{token}"
        self.sections = self.shared / "sections"
        self.prefix = f"dossiers/{dossier.project_id}/{dossier.pk}/{token}"

    @contextmanager
    def opened(self) -> Iterator[Workplace]:
        """The folders, while a run works; what later runs can use stays behind."""
        self.sections.mkdir(parents=True, exist_ok=True)
        shutil.rmtree(self.own, ignore_errors=True)
        self.own.mkdir()
        (self.own / "sections").symlink_to(self.sections, target_is_directory=True)
        try:
            yield self
        finally:
            shutil.rmtree(self.own, ignore_errors=True)

    def clear(self) -> None:
        """Everything of this dossier goes: it is built."""
        shutil.rmtree(self.shared, ignore_errors=True)

    def finished_sections(self) -> int:
        return sum(1 for path in self.sections.glob("*") if not path.suffix)


def work_root() -> Path:
    return Path(settings.DOSSIER_WORK_DIR)


def clear_forgotten() -> None:
    """Remove the scratch of dossiers that nobody has worked on for long."""
    for folder in work_root().glob("*"):
        try:
            if folder.stat().st_mtime < time.time() - KEPT_SECONDS:
                shutil.rmtree(folder, ignore_errors=True)
        except OSError:
            continue  # another run removed it just now


def keep(path: Path, name: str) -> str:
    """Store a finished file; nothing half-written stays behind. Answers with the name under which it is stored."""
    try:
        with path.open("rb") as file:
            return str(default_storage.save(name, File(file)))
    except OSError:
        discard(name)
        raise


def keep_json(value: Any, name: str, folder: Path) -> str:
    path = folder / Path(name).name
    path.write_text(json.dumps(value), "utf-8")
    return keep(path, name)


def discard(*names: str) -> None:
    """Remove files that nothing refers to."""
    for name in names:
        try:
            default_storage.delete(name)
        except OSError:
            continue


def beside(dossier: Dossier, name: str) -> str:
    """The storage name of a file that was stored with the content."""
    return f"{str(dossier.content.name).rpartition('/')[0]}/{name}"


def read_json(name: str) -> Any:
    with default_storage.open(name) as file:
        return json.load(file)


def shared_prefix(dossier: Dossier) -> str:
    """Where in the storage the drawn systems of a dossier lie until it is built."""
    return f"dossiers/{dossier.project_id}/{dossier.pk}/units"


def fetch(name: str, path: Path) -> str:
    """Copy a stored file to this machine; answers with its SHA-256."""
    digest = hashlib.sha256()
    with default_storage.open(name) as source, path.open("wb") as target:
        while block := source.read(1 << 20):
            digest.update(block)
            target.write(block)
    return digest.hexdigest()


def local(name: str, path: Path) -> Path:
    """A stored file as a file of this machine: itself, or a copy at `path` where the storage has no paths."""
    try:
        return Path(default_storage.path(name))
    except NotImplementedError:
        return _fetched(name, path)


def finder(names: Mapping[str, str], folder: Path) -> Callable[[str], Path]:
    """Photos and certificates by their SHA-256, as files on this machine."""
    folder.mkdir(parents=True, exist_ok=True)

    def find(digest: str) -> Path:
        if digest not in names:
            raise FileDiffers(f"the file {digest} is not on record")
        return local(names[digest], folder / digest)

    return find


def _fetched(name: str, path: Path) -> Path:
    """A copy of a file from a storage that has no paths."""
    if not path.exists():
        half = path.with_name(f"{path.name}.{os.getpid()}.part")
        fetch(name, half)
        os.replace(half, path)
    return path
