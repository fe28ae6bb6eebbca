"""A photo taken off its item: not shown, not printed, its file kept, named with the reason; and small pictures."""

from __future__ import annotations

from collections.abc import Callable
from io import BytesIO

import pytest
from django.conf import settings
from django.core.files.storage import default_storage
from django.db import IntegrityError, transaction
from django.test import Client
from django.utils import timezone
from PIL import Image

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import AuditEntry
from commissioning.selectors.access import access_or_none
from punchlist.dossier_section import punch_section
from punchlist.models import Photo
from punchlist.selectors.items import rows_for
from punchlist.services.photos import PHOTOS_PER_ITEM, add_photo, withdraw_photo
from punchlist.services.pictures import SMALL_SIDE, prepare
from tests.punchlist.making import make_item, picture
from tests.support.world import World

pytestmark = pytest.mark.django_db

SignIn = Callable[[str], Client]
At = Callable[..., str]


@pytest.fixture
def photo(small_world: World) -> Photo:
    return add_photo(actor=small_world.engineer, item=make_item(small_world), file=picture(), caption="Bottom entry")


# small pictures


def test_a_small_picture_is_drawn_in_proportion_and_carries_no_notes() -> None:
    made = prepare(picture(size=(2000, 1000)).read())
    with Image.open(BytesIO(made.small)) as small:
        assert (small.format, small.size, made.small_size) == ("JPEG", (SMALL_SIDE, 160), (SMALL_SIDE, 160))
        assert not small.getexif()
    assert prepare(picture(size=(60, 40)).read()).small_size == (60, 40)
    assert len(made.small) < len(made.data)


def test_the_grid_asks_for_small_pictures(small_world: World, signed_in: SignIn, at: At) -> None:
    kept = add_photo(actor=small_world.engineer, item=make_item(small_world), file=picture(size=(900, 600)))
    html = signed_in("client").get(at("punch-item", 1)).content.decode()
    assert f'<img src="{at("punch-photo-small", kept.pk)}" width="320" height="213"' in html
    assert f'<a href="{at("punch-photo", kept.pk)}">' in html
    small, whole = (signed_in("client").get(at(name, kept.pk)) for name in ("punch-photo-small", "punch-photo"))
    bytes_small, bytes_whole = (b"".join(answer.streaming_content) for answer in (small, whole))
    assert int(small["Content-Length"]) == len(bytes_small) < len(bytes_whole)
    assert small["ETag"] != whole["ETag"]
    assert small["Content-Security-Policy"] == settings.POLICY_OF_UPLOADS
    again = signed_in("client").get(at("punch-photo-small", kept.pk), headers={"if-none-match": small["ETag"]})
    assert again.status_code == 304
    assert signed_in("stranger").get(at("punch-photo-small", kept.pk)).status_code == 404


def test_a_photo_from_before_there_were_small_ones_is_shown_whole(
    small_world: World, signed_in: SignIn, at: At, photo: Photo
) -> None:
    Photo.objects.update(thumbnail="", thumbnail_width=0, thumbnail_height=0)
    answer = signed_in("client").get(at("punch-photo-small", photo.pk))
    assert b"".join(answer.streaming_content) == default_storage.open(photo.file.name).read()
    assert 'width="60" height="40"' in signed_in("client").get(at("punch-item", 1)).content.decode()


# withdrawing


def test_a_withdrawn_photo_is_named_with_its_reason_and_its_file_is_kept(
    small_world: World, signed_in: SignIn, at: At, photo: Photo
) -> None:
    path = at("punch-photo-withdraw", photo.pk)
    browser = signed_in("engineer")
    assert path in browser.get(at("punch-item", 1)).content.decode()
    refused = browser.post(path, {"reason": " "})
    assert refused.status_code == 422
    assert "Say in a sentence why" in refused.content.decode()
    assert browser.post(path, {"reason": "shows the <other> room"}).status_code == 302
    html = browser.get(at("punch-item", 1)).content.decode()
    assert "<img" not in html
    assert "shows the &lt;other&gt; room" in html
    assert default_storage.exists(photo.file.name)
    assert [signed_in(who).get(at("punch-photo", photo.pk)).status_code for who in ("engineer", "client")] == [404, 404]
    assert signed_in("manager").get(at("punch-photo", photo.pk)).status_code == 200
    assert at("punch-photo", photo.pk) in signed_in("manager").get(at("punch-item", 1)).content.decode()
    entry = AuditEntry.objects.get(action="punch_photo_withdrawn")
    assert (entry.object_id, entry.data["sha256"]) == (str(photo.item_id), photo.sha256)


def test_only_who_took_it_or_a_manager_withdraws(small_world: World, signed_in: SignIn, at: At, photo: Photo) -> None:
    for person in (small_world.second_engineer, small_world.client, small_world.stranger):
        with pytest.raises(NotAllowed):
            withdraw_photo(actor=person, photo=photo, reason="because")
    path = at("punch-photo-withdraw", photo.pk)
    assert path not in signed_in("client").get(at("punch-item", 1)).content.decode()
    assert "by whoever took it" in signed_in("client").get(path).content.decode()
    assert signed_in("client").post(path, {"reason": "because"}).status_code == 422
    withdraw_photo(actor=small_world.manager, photo=photo, reason="because")
    with pytest.raises(Conflict):
        withdraw_photo(actor=small_world.manager, photo=photo, reason="because")


@pytest.mark.parametrize("reason", ["", "  ", "a\x00b", "x" * 5000])
def test_a_reason_that_cannot_be_kept_is_refused(small_world: World, photo: Photo, reason: str) -> None:
    with pytest.raises(InvalidInput):
        withdraw_photo(actor=small_world.engineer, photo=photo, reason=reason)
    photo.refresh_from_db()
    assert photo.withdrawn_at is None


def test_the_dossier_names_it_and_does_not_print_it(small_world: World, photo: Photo) -> None:
    second = add_photo(actor=small_world.engineer, item=photo.item, file=picture(colour="navy"))
    withdraw_photo(actor=small_world.manager, photo=photo, reason="shows the other room")
    data = punch_section(systems=[small_world.system.pk], at=timezone.now())["by_system"][str(small_world.system.pk)]
    assert [(one["ref"], one["sha256"]) for one in data["photos"]] == [("P-1/2", second.sha256)]
    (row,) = (row for group in data["section"]["groups"] for row in group["rows"])
    assert f"photo P-1/1 withdrawn, {small_world.manager}: shows the other room" in row["story"]
    assert photo.sha256[:16] in row["story"]


def test_the_same_picture_sent_again_stands_again(small_world: World, photo: Photo) -> None:
    withdraw_photo(actor=small_world.engineer, photo=photo, reason="wrong item")
    sent_again = {"actor": small_world.engineer, "item": photo.item, "id": photo.pk}
    assert (
        add_photo(**sent_again, file=picture()).withdrawn_at is not None
    )  # a repeat of the first send changes nothing
    back = add_photo(actor=small_world.second_engineer, item=photo.item, file=picture())
    assert (back.pk, back.withdrawn_at, back.withdrawn_reason) == (photo.pk, None, "")
    actions = AuditEntry.objects.filter(action__startswith="punch_photo").order_by("sequence")
    assert list(actions.values_list("action", flat=True)) == [
        "punch_photo_added",
        "punch_photo_withdrawn",
        "punch_photo_added",
    ]


def test_withdrawn_photos_are_not_counted(small_world: World, photo: Photo) -> None:
    for number in range(PHOTOS_PER_ITEM - 1):
        add_photo(actor=small_world.engineer, item=photo.item, file=picture(size=(61 + number, 40)))
    with pytest.raises(InvalidInput):
        add_photo(actor=small_world.engineer, item=photo.item, file=picture(colour="navy"))
    withdraw_photo(actor=small_world.engineer, photo=photo, reason="not sharp")
    add_photo(actor=small_world.engineer, item=photo.item, file=picture(colour="navy"))
    access = access_or_none(user=small_world.manager, project=small_world.project)
    assert rows_for(access).get().photo_count == PHOTOS_PER_ITEM


@pytest.mark.parametrize(
    "half",
    [
        {"withdrawn_reason": "why"},
        {"withdrawn_at": timezone.now()},
        {"withdrawn_at": timezone.now(), "withdrawn_reason": "why"},
    ],
)
def test_the_database_refuses_half_a_withdrawal(photo: Photo, half: dict[str, object]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        Photo.objects.filter(pk=photo.pk).update(**half)
