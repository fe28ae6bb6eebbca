"""Files that come from a phone in parts: resumable, checked by their hash, and swept when nobody needed them.

What a file holds is checked by the service that takes it (a photo by the punch list's); here it is only octets.
"""

from __future__ import annotations

import hashlib
from datetime import timedelta
from io import BytesIO

from django.db.models import Sum
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput
from commissioning.models import OutboxFile, OutboxFilePart, OutboxItem, OutboxState
from commissioning.selectors.access import Access
from commissioning.services.permissions import EVERYONE, require
from commissioning.services.state_change import state_change

#: As much as one request brings, and as large as one file gets (what the punch list takes of a photo).
PART_LIMIT = 1024 * 1024
FILE_LIMIT = 15 * 1024 * 1024
#: As much as may wait of one person in one project: some 400 photos as a phone sends them.
WAITING_LIMIT = 400 * 1024 * 1024
KEPT_FOR = timedelta(days=7)


class OtherPlace(Conflict):
    """The part is not the next one; `have` says where to go on."""

    def __init__(self, words: str, have: int) -> None:
        super().__init__(words)
        self.have = have


def file_of(*, access: Access, sha256: str) -> OutboxFile | None:
    """What is there of the person's file with this hash."""
    return OutboxFile.objects.filter(project=access.project, by=access.user, sha256=sha256).first()


@state_change()
def add_part(*, access: Access, sha256: str, offset: int, size: int, data: bytes) -> OutboxFile:
    """Add the next part. The last one closes the file: its hash must be what it was announced to be."""
    require(actor=access.user, project=access.project, roles=EVERYONE, site=None, to="send a file")
    _check(offset=offset, size=size, data=data)
    now = timezone.now()
    OutboxFile.objects.get_or_create(
        project=access.project, by=access.user, sha256=sha256, defaults={"size": size, "touched_at": now}
    )
    file = OutboxFile.objects.select_for_update().get(project=access.project, by=access.user, sha256=sha256)
    if file.whole_at:
        return file
    if file.size != size:
        _begin_anew(file, size)
    if offset != file.have:
        raise OtherPlace(f"The server has {file.have} octets of this file. Go on from there.", file.have)
    if offset == 0:
        _refuse_too_much(access, size)
    OutboxFilePart.objects.create(file=file, offset=offset, data=data)
    file.have, file.touched_at = offset + len(data), now
    if file.have == file.size:
        _close(file)
    file.save(update_fields=["size", "have", "whole_at", "touched_at"])
    return file


def _check(*, offset: int, size: int, data: bytes) -> None:
    problems: dict[str, str] = {}
    if not 0 < size <= FILE_LIMIT:
        problems["size"] = f"A file has between 1 octet and {FILE_LIMIT // 1024 // 1024} MB."
    elif not 0 <= offset < size:
        problems["offset"] = "This is not a place in the file."
    elif not data:
        problems["data"] = "The part is empty."
    elif len(data) > PART_LIMIT:
        problems["data"] = f"Send parts of at most {PART_LIMIT // 1024} kB."
    elif offset + len(data) > size:
        problems["data"] = "The part is longer than what is left of the file."
    if problems:
        raise InvalidInput(problems)


def _begin_anew(file: OutboxFile, size: int) -> None:
    """A file of this hash has one size only; whichever was wrong before, the parts are asked for again."""
    file.parts.all().delete()
    file.size, file.have = size, 0
    file.save(update_fields=["size", "have"])


def _refuse_too_much(access: Access, size: int) -> None:
    waiting = OutboxFile.objects.filter(project=access.project, by=access.user).aggregate(Sum("size"))["size__sum"] or 0
    if waiting > WAITING_LIMIT:
        raise InvalidInput(
            {"size": "More photos of yours wait here than the server keeps. Send the items that they belong to first."}
        )


def _close(file: OutboxFile) -> None:
    """All of it is here. If its hash is not the announced one, nothing of it is kept and it is asked for again."""
    digest = hashlib.sha256()
    for data in file.parts.order_by("offset").values_list("data", flat=True).iterator():
        digest.update(data)
    if digest.hexdigest() == file.sha256:
        file.whole_at = timezone.now()
    else:
        file.parts.all().delete()
        file.have = 0


def opened(*, access: Access, sha256: str) -> BytesIO:
    """The person's whole file with this hash, or a refusal that asks for it."""
    file = file_of(access=access, sha256=sha256)
    if file is None or file.whole_at is None:
        raise InvalidInput({"sha256": "The picture is not here yet, or was swept since. Send it again."})
    return BytesIO(b"".join(file.parts.order_by("offset").values_list("data", flat=True)))


def sweep_files() -> int:
    """Drop files that nothing touched for KEPT_FOR, except those that an item which needs somebody still names."""
    old = OutboxFile.objects.filter(touched_at__lt=timezone.now() - KEPT_FOR)
    waiting = OutboxItem.objects.filter(state=OutboxState.NEEDS_YOU, project__in=old.values("project"))
    named = {(row.project_id, row.by_id, row.body.get("sha256")) for row in waiting.only("project", "by", "body")}
    swept = [file.pk for file in old.iterator() if (file.project_id, file.by_id, file.sha256) not in named]
    OutboxFile.objects.filter(pk__in=swept).delete()
    return len(swept)
