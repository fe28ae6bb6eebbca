"""Files in the store that nothing on record names: what a process left that died between storing a file and its row.

They do no harm but take room. A file goes only when it is older than a day, so that no work in hand still means to
name it. Nothing goes where much would: this store is another database's then, or the database was put back to an
earlier day.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime, timedelta

from django.core.files.storage import default_storage
from django.utils import timezone

from commissioning.models import Dossier, DossierUnit, Job
from commissioning.services import project_export
from commissioning.stored_files import Stored, every_file
from deploy.operations import seen
from deploy.operations.backup.making import named_files

log = logging.getLogger(__name__)

KEPT_HOURS = 24
#: So many may always go; more only while they are no more than this part of the files that are old enough.
FEW, MOST = 20, 0.1
#: Where strays are looked for; what lies elsewhere is not known here and stays.
FOLDERS = ("photos", "certificates", "recordings", "dossiers", "imports", "exports", "health")
#: Stored with a dossier's content, under names that follow from its name.
BESIDE_CONTENT = ("files.json", "essentials.json")
EXPORTS, RECORDINGS = "exports/", "recordings/"
Say = Callable[[str], None]


class TooMany(Exception):
    """So much would go that something else must be wrong."""


def strays(*, hours: int = KEPT_HOURS, however_many: bool = False) -> list[Stored]:
    """What nothing names; raises TooMany where that is more than accidents leave."""
    now = timezone.now()
    before = now - timedelta(hours=hours)
    # Listed before the names are read: what is put on record meanwhile is found among the names.
    old = [one for folder in FOLDERS for one in every_file(folder) if one.modified < before]
    named = named_anywhere()
    found = [one for one in old if not _needed(one, named, now)]
    if not however_many and len(found) > max(FEW, MOST * len(old)):
        raise TooMany(
            f"Nothing names {len(found)} of {len(old)} files. Is this the store of this database, and the database of "
            "today? If it is, say --however-many."
        )
    return found


def sweep(*, hours: int = KEPT_HOURS, however_many: bool = False, say: Say = log.info) -> list[Stored]:
    """Take away what nothing names; answers what went."""
    gone = []
    for one in strays(hours=hours, however_many=however_many):
        if not _as_listed(one):
            continue  # gone already, or stored anew since
        default_storage.delete(one.name)
        gone.append(one)
        say(f"{one.name}, {one.size} bytes of {one.modified:%Y-%m-%d %H:%M}, was named by nothing and is gone")
    seen.note("strays", facts={"files": len(gone), "bytes": sum(one.size for one in gone)})
    return gone


def named_anywhere() -> set[str]:
    """Names that rows hold, in whatever column, and of what lies beside a dossier's content."""
    named = named_files()
    contents = Dossier.objects.exclude(content="").values_list("content", flat=True)
    for content in contents.iterator(chunk_size=5000):
        named.update(f"{content.rpartition('/')[0]}/{name}" for name in BESIDE_CONTENT)
    named.update(DossierUnit.objects.exclude(stored="").values_list("stored", flat=True))
    uploads = Job.objects.filter(arguments__has_key="path").values_list("arguments__path", flat=True)
    named.update(uploads.iterator(chunk_size=5000))
    return named


def _needed(one: Stored, named: set[str], now: datetime) -> bool:
    if one.name.startswith(EXPORTS):
        return one.modified > now - project_export.KEPT
    return one.name in named or _drawn_from(one.name) in named


def _drawn_from(name: str) -> str:
    """The raw recording beside which this one lies, as its head or its columns."""
    folder, _, last = name.rpartition("/")
    return f"{folder}/{last.partition('.')[0]}" if name.startswith(RECORDINGS) else name


def _as_listed(one: Stored) -> bool:
    try:
        return default_storage.get_modified_time(one.name) == one.modified
    except FileNotFoundError:
        return False
