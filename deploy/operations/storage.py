"""How much the record takes, and how much room there is yet."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

from django.core.cache import cache
from django.core.files.storage import default_storage

from commissioning.stored_files import every_file
from deploy.operations.backup.database import size_in_bytes

#: A store of many files is counted anew after so many seconds.
KEPT_SECONDS = 600
#: Below this share of free room the page says so.
LITTLE = 0.1


def used() -> dict[str, Any]:
    """Files and bytes in the store, bytes of the database, and what is free where that is known."""
    counted = cache.get("deploy.files")
    if counted is None:
        sizes = [one.size for one in every_file()]
        counted = {"files": len(sizes), "bytes": sum(sizes)}
        cache.set("deploy.files", counted, KEPT_SECONDS)
    return {**counted, "database": size_in_bytes(), **_room()}


def _room() -> dict[str, Any]:
    """A disk has an end; a bucket has the one that its own operator gave it, which it does not tell."""
    if getattr(default_storage, "bucket", None) is not None:
        return {"bucket": default_storage.bucket.name}  # type: ignore[attr-defined]
    folder = Path(default_storage.path(""))
    while not folder.exists():
        folder = folder.parent
    disk = shutil.disk_usage(folder)
    return {"free": disk.free, "total": disk.total, "little": disk.free < disk.total * LITTLE}
