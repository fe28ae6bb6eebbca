"""Photos: upright, small, without metadata, filed by content; and what is no photo is refused."""

from __future__ import annotations

import hashlib
import io
import zipfile
import zlib
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone
from PIL import ExifTags, Image

from commissioning.errors import InvalidInput, NotAllowed
from commissioning.models import AuditEntry
from punchlist.models import Photo
from punchlist.services.photos import PHOTOS_PER_ITEM, add_photo
from punchlist.services.pictures import LONGEST_SIDE, prepare
from tests.punchlist.making import make_item, picture
from tests.support.world import World, make_project

GPS = {1: "N", 2: (54.0, 30.0, 0.0), 3: "W", 4: (2.0, 15.0, 0.0)}


def phone_exif(*, orientation: int = 1, position: bool = True, taken: str = "2026:03:02 14:05:33") -> Image.Exif:
    """What a phone writes into a picture: how it was held, where, when and by which make."""
    exif = Image.Exif()
    exif[ExifTags.Base.Orientation] = orientation
    exif[ExifTags.Base.Make] = "Pellwick Optical"
    exif[ExifTags.IFD.Exif] = {ExifTags.Base.DateTimeOriginal: taken}
    if position:
        exif[ExifTags.IFD.GPSInfo] = GPS
    return exif


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


def is_red(pixel: tuple[int, int, int]) -> bool:
    return pixel[0] > 180 and pixel[1] < 90


# the picture itself, without a database


@pytest.mark.parametrize("format", ["JPEG", "PNG", "WEBP"])
def test_the_three_kinds_are_kept_as_jpeg(format: str) -> None:
    kept = prepare(picture(format=format).read())
    assert (opened(kept.data).format, kept.width, kept.height) == ("JPEG", 60, 40)
    assert kept.sha256 == hashlib.sha256(kept.data).hexdigest()


def test_the_longer_side_comes_down_to_the_limit() -> None:
    kept = prepare(picture(size=(4000, 1000)).read())
    assert (kept.width, kept.height) == (LONGEST_SIDE, 400)
    assert opened(kept.data).size == (LONGEST_SIDE, 400)


# independent: Exif 2.32, tag 274: 3 = seen upside down, 6 = the picture's top was at the right, 8 = at the left
@pytest.mark.parametrize(
    ("orientation", "size", "red_at"),
    [(1, (60, 40), (5, 20)), (3, (60, 40), (55, 20)), (6, (40, 60), (20, 5)), (8, (40, 60), (20, 55))],
)
def test_it_stands_as_the_camera_was_held(orientation: int, size: tuple[int, int], red_at: tuple[int, int]) -> None:
    kept = opened(prepare(picture(exif=phone_exif(orientation=orientation)).read()).data)
    assert kept.size == size
    assert is_red(kept.getpixel(red_at))
    assert not is_red(kept.getpixel((size[0] - 1 - red_at[0], size[1] - 1 - red_at[1])))


def test_position_and_every_other_note_of_the_phone_are_gone() -> None:
    source = picture(exif=phone_exif()).read()
    assert opened(source).getexif().get_ifd(ExifTags.IFD.GPSInfo)
    kept = prepare(source)
    assert not opened(kept.data).getexif()
    assert b"Exif" not in kept.data
    assert b"Pellwick" not in kept.data


def test_a_project_that_keeps_positions_keeps_the_position_and_nothing_else() -> None:
    kept = opened(prepare(picture(exif=phone_exif(orientation=6)).read(), keep_position=True).data).getexif()
    assert {key: kept.get_ifd(ExifTags.IFD.GPSInfo)[key] for key in GPS} == GPS
    assert set(kept) == {ExifTags.IFD.GPSInfo}


def test_what_was_transparent_is_white() -> None:
    out = io.BytesIO()
    Image.new("RGBA", (20, 20), (0, 0, 0, 0)).save(out, "PNG")
    assert opened(prepare(out.getvalue()).data).getpixel((10, 10)) == (255, 255, 255)


def test_the_cameras_own_time_is_read_and_nonsense_is_not() -> None:
    assert prepare(picture(exif=phone_exif()).read()).taken_at == "2026-03-02T14:05:33"
    assert prepare(picture(exif=phone_exif(taken="0000:00:00 00:00:00")).read()).taken_at == ""


def png_bomb(width: int, height: int) -> bytes:
    """A PNG whose head promises many pixels; a few hundred bytes long."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return len(body).to_bytes(4, "big") + kind + body + zlib.crc32(kind + body).to_bytes(4, "big")

    head = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([8, 2, 0, 0, 0])
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 1000)) + chunk(b"IEND", b"")
    )


def jpeg_and_zip() -> bytes:
    archive = io.BytesIO()
    with zipfile.ZipFile(archive, "w") as packed:
        packed.writestr("run.js", "alert(1)")
    return picture().read() + archive.getvalue()


REFUSED = {
    "nothing": b"",
    "words": b"not a picture",
    "a web page": b"<!doctype html><script>alert(1)</script>",
    "a drawing that can run": b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>',
    "a PDF": b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n",
    "a GIF": b"GIF89a/*" + b"\0" * 100,
    "half a picture": picture().read()[:200],
    "picture and web page at once": picture().read() + b"<html><script>alert(1)</script></html>",
    "picture and archive at once": jpeg_and_zip(),
    "a bomb of 10 000 megapixels": png_bomb(100_000, 100_000),
    "a bomb just over the limit": png_bomb(5001, 5000),
    "too many bytes": b"\xff\xd8" + b"\0" * (15 * 1024 * 1024),
}


@pytest.mark.parametrize("what", list(REFUSED))
def test_what_is_no_photo_is_refused_in_words(what: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        prepare(REFUSED[what])
    assert list(refused.value.fields) == ["file"]


def test_what_hides_in_a_comment_does_not_survive() -> None:
    out = io.BytesIO()
    Image.new("RGB", (20, 20)).save(out, "JPEG", comment=b"PK\x03\x04 payload")
    assert b"payload" in out.getvalue()
    assert b"payload" not in prepare(out.getvalue()).data


# the service


@pytest.mark.django_db
def test_a_photo_is_filed_by_its_content(small_world: World) -> None:
    item = make_item(small_world)
    photo = add_photo(actor=small_world.engineer, item=item, file=picture(), caption=" Bottom entry ")
    with default_storage.open(photo.file.name) as stored:
        data = stored.read()
    assert photo.file.name == f"photos/{small_world.project.pk}/{photo.sha256}.jpg"
    assert hashlib.sha256(data).hexdigest() == photo.sha256
    assert (photo.bytes, photo.caption, photo.taken_by) == (len(data), "Bottom entry", small_world.engineer)
    assert AuditEntry.objects.get(action="punch_photo_added").data["sha256"] == photo.sha256


@pytest.mark.django_db
def test_the_same_picture_twice_is_one_photo_and_on_two_items_one_file(small_world: World) -> None:
    first, second = make_item(small_world), make_item(small_world)
    one = add_photo(actor=small_world.engineer, item=first, file=picture())
    again = add_photo(actor=small_world.engineer, item=first, file=picture(), id=uuid4())
    other = add_photo(actor=small_world.engineer, item=second, file=picture())
    assert (again.pk, Photo.objects.count()) == (one.pk, 2)
    assert other.file.name == one.file.name


@pytest.mark.django_db
def test_sent_twice_with_one_id_it_is_there_once(small_world: World) -> None:
    item, key = make_item(small_world), uuid4()
    for _ in range(2):
        assert add_photo(actor=small_world.engineer, item=item, file=picture(), id=key).pk == key
    assert Photo.objects.count() == 1


@pytest.mark.django_db
def test_an_item_takes_ten_photos(small_world: World) -> None:
    item = make_item(small_world)
    for number in range(PHOTOS_PER_ITEM):
        add_photo(actor=small_world.engineer, item=item, file=picture(size=(60 + 8 * number, 40)))
    with pytest.raises(InvalidInput) as refused:
        add_photo(actor=small_world.engineer, item=item, file=picture(size=(200, 40)))
    assert list(refused.value.fields) == ["file"]
    assert (PHOTOS_PER_ITEM, item.photos.count()) == (10, 10)


@pytest.mark.django_db
def test_a_stranger_adds_no_photo_and_a_client_does(small_world: World) -> None:
    item = make_item(small_world)
    with pytest.raises(NotAllowed):
        add_photo(actor=small_world.stranger, item=item, file=picture())
    assert add_photo(actor=small_world.client, item=item, file=picture()).taken_by == small_world.client


@pytest.mark.django_db
def test_the_cameras_time_is_read_in_the_sites_zone(small_world: World) -> None:
    small_world.site.time_zone = "Europe/Helsinki"
    small_world.site.save()
    item = make_item(small_world)
    item.refresh_from_db()
    photo = add_photo(actor=small_world.engineer, item=item, file=picture(exif=phone_exif(taken="2025:07:01 12:00:00")))
    # independent: Helsinki keeps summer time in July, three hours ahead of UTC
    assert photo.taken_at == datetime(2025, 7, 1, 9, 0, tzinfo=UTC)


@pytest.mark.django_db
def test_a_time_to_come_is_taken_back_to_now(small_world: World) -> None:
    ahead = timezone.now() + timedelta(days=3)
    photo = add_photo(actor=small_world.engineer, item=make_item(small_world), file=picture(), taken_at=ahead)
    assert photo.taken_at <= timezone.now()


@pytest.mark.django_db
def test_position_stays_only_where_the_project_keeps_it() -> None:
    for keeps in (True, False):
        world = make_project(keep_photo_position=keeps)
        photo = add_photo(actor=world.engineer, item=make_item(world), file=picture(exif=phone_exif()))
        with default_storage.open(photo.file.name) as stored:
            assert bool(Image.open(stored).getexif().get_ifd(ExifTags.IFD.GPSInfo)) is keeps
