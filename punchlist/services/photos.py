"""Photos of punch items: checked by content, drawn anew, filed by content, at most ten an item."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import IO
from uuid import UUID

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import Site, User
from commissioning.rules.gate_parts import NOTHING
from commissioning.services.audit import record
from commissioning.services.permissions import EVERYONE, require
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change
from punchlist.models import Photo, PunchItem
from punchlist.models.items import photo_path, thumbnail_path
from punchlist.selectors.zones import zone_of
from punchlist.services.common import TEXT_LIMIT, lock_item, not_later_than_now
from punchlist.services.marks import Mark
from punchlist.services.pictures import BYTES_LIMIT, Picture, prepare, refusal

#: That stand at a time; those withdrawn do not count.
PHOTOS_PER_ITEM = 10
WITHDRAWN = ["withdrawn_at", "withdrawn_by", "withdrawn_reason"]


def add_photo(
    *,
    actor: User,
    item: PunchItem,
    file: IO[bytes],
    taken_at: datetime | None = None,
    caption: str = "",
    marks: Sequence[Mark] = (),
    id: UUID | None = None,
) -> Photo:
    """Add a picture to an item. The same picture twice is one photo; sent twice with one `id` likewise.

    `marks` are drawn into what is kept. Without `taken_at` the camera's own note counts, read in the site's time zone,
    and failing that the present.
    """
    site = item.system.site
    require(actor=actor, project=item.project_id, roles=EVERYONE, site=site.pk, to="add a photo to a punch item")
    if found := already_made(Photo, id, item_id=item.pk, taken_by_id=actor.pk):
        return found
    caption = caption.strip()
    if len(caption) > 200 or "\x00" in caption:
        raise InvalidInput({"caption": "Keep the caption under 200 characters."})
    _refuse_too_many(item)
    picture = prepare(_read(file), keep_position=item.project.keep_photo_position, marks=marks)
    at = not_later_than_now(taken_at or _camera_time(picture, site))
    return _keep(actor=actor, item=item, picture=picture, at=at, caption=caption, id=id)


@state_change()
def _keep(*, actor: User, item: PunchItem, picture: Picture, at: datetime, caption: str, id: UUID | None) -> Photo:
    item, _ = lock_item(item)
    if found := already_made(Photo, id, item_id=item.pk, taken_by_id=actor.pk):
        return found
    if same := item.photos.filter(sha256=picture.sha256).first():
        return _brought_back(same, item=item, actor=actor) if same.withdrawn_at else same
    _refuse_too_many(item)
    photo = Photo(
        item=item,
        sha256=picture.sha256,
        width=picture.width,
        height=picture.height,
        bytes=len(picture.data),
        caption=caption,
        taken_at=at,
        taken_by=actor,
        thumbnail_width=picture.small_size[0],
        thumbnail_height=picture.small_size[1],
    )
    if id is not None:
        photo.pk = id
    photo.file.name = _file_away("file", photo_path(photo, ""), picture.data)
    photo.thumbnail.name = _file_away("thumbnail", thumbnail_path(photo, ""), picture.small)
    photo.save(force_insert=True)
    words = f"Photo added to {item.label}" + (f": {caption}" if caption else ".")
    _recorded(photo, item=item, actor=actor, action="punch_photo_added", words=words)
    return photo


def _brought_back(photo: Photo, *, item: PunchItem, actor: User) -> Photo:
    """The same picture sent again after it was withdrawn stands again; that it was away stays in the audit log."""
    _refuse_too_many(item)
    photo.withdrawn_at = photo.withdrawn_by = None
    photo.withdrawn_reason = ""
    photo.save(update_fields=WITHDRAWN)
    _recorded(photo, item=item, actor=actor, action="punch_photo_added", words=f"Photo put back on {item.label}.")
    return photo


@state_change()
def withdraw_photo(*, actor: User, photo: Photo, reason: str) -> Photo:
    """Take a photo off its item: not shown, not printed, its file kept. Whoever took it may, and a manager."""
    item, system = lock_item(photo.item)
    access = require(actor=actor, project=system.project, roles=EVERYONE, site=system.site_id, to="withdraw a photo")
    photo = Photo.objects.get(pk=photo.pk)
    if not access.is_manager and photo.taken_by_id != actor.pk:
        raise NotAllowed("A photo is withdrawn by whoever took it, or by a manager.")
    if photo.withdrawn_at:
        raise Conflict("This photo was withdrawn already.")
    reason = reason.strip()
    if not reason or len(reason) > TEXT_LIMIT or "\x00" in reason:
        raise InvalidInput({"reason": "Say in a sentence why the photo is withdrawn; the record shows the reason."})
    photo.withdrawn_at, photo.withdrawn_by, photo.withdrawn_reason = timezone.now(), actor, reason
    photo.save(update_fields=WITHDRAWN)
    words = f"Photo withdrawn from {item.label}: {reason}"
    _recorded(photo, item=item, actor=actor, action="punch_photo_withdrawn", words=words)
    return photo


def _recorded(photo: Photo, *, item: PunchItem, actor: User, action: str, words: str) -> None:
    data = {"photo": photo.pk, "sha256": photo.sha256}
    record(
        project=item.project,
        actor=actor,
        action=action,
        on=item,
        system=item.system_id,
        words=words,
        data=data,
        touches=NOTHING,
    )


def _file_away(field: str, name: str, data: bytes) -> str:
    """Store the bytes under their own hash; what is on record already is not written twice.

    A file that no photo names is left alone, since it may be swept in this moment, and so is one of another length.
    """
    there = default_storage.exists(name) and default_storage.size(name) == len(data)
    if there and Photo.objects.filter(**{field: name}).exists():
        return name
    return default_storage.save(name, ContentFile(data))


def _refuse_too_many(item: PunchItem) -> None:
    if item.photos.filter(withdrawn_at__isnull=True).count() >= PHOTOS_PER_ITEM:
        raise refusal(f"{item.label} has {PHOTOS_PER_ITEM} photos already, which is as many as an item takes.")


def _read(file: IO[bytes]) -> bytes:
    """At most one byte over the limit is ever read, whatever the file says of its size."""
    file.seek(0)
    return file.read(BYTES_LIMIT + 1)


def _camera_time(picture: Picture, site: Site) -> datetime | None:
    if not picture.taken_at:
        return None
    noted = datetime.fromisoformat(picture.taken_at)
    return noted if noted.tzinfo else noted.replace(tzinfo=zone_of(site))
