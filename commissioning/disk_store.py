"""The store on a local disk: a file is there whole under its name, or not at all.

Django's own writes under the final name, so a killed process or a full disk leaves half a file there, and whoever looks
whether the file exists already takes the half for the whole.
"""

from __future__ import annotations

import os
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.core.files.storage import FileSystemStorage

#: Folder of the store where files lie while they are written; nothing in it belongs to the record.
HALF = ".half"


class WholeFileStorage(FileSystemStorage):
    """Writes beside, onto the disk, and only then gives the file its name; nothing is ever overwritten."""

    def _save(self, name: str, content: Any) -> str:
        half = Path(self.location) / HALF / uuid4().hex
        half.parent.mkdir(parents=True, exist_ok=True)
        try:
            with half.open("xb") as file:
                for chunk in content.chunks():
                    file.write(chunk)
                file.flush()
                os.fsync(file.fileno())
            if self.file_permissions_mode is not None:
                half.chmod(self.file_permissions_mode)
            return self._named(half, name)
        finally:
            half.unlink(missing_ok=True)

    def _named(self, half: Path, name: str) -> str:
        while True:
            path = Path(self.path(name))
            path.parent.mkdir(parents=True, exist_ok=True)
            try:
                os.link(half, path)
            except FileExistsError:
                name = self.get_available_name(name)
                continue
            _to_disk(path.parent)
            return str(name).replace("\\", "/")

    def listdir(self, path: str) -> tuple[list[str], list[str]]:
        folders, files = super().listdir(path)
        return [one for one in folders if one != HALF], files


def clear_forgotten(root: Path, before: datetime) -> None:
    """Remove what killed processes left half-written in the store at `root` before this moment."""
    for half in (root / HALF).glob("*"):
        with suppress(FileNotFoundError):
            if half.stat().st_mtime < before.timestamp():
                half.unlink()


def _to_disk(folder: Path) -> None:
    """The name itself survives a power cut."""
    opened = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)
