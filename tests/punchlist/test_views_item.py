"""The pages of one item: what each role sees and may press, and what a stranger gets."""

from __future__ import annotations

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.test import Client

from commissioning.models import Role, Site
from punchlist.models import Photo, PunchItem
from punchlist.services.items import rectify_item
from punchlist.services.photos import add_photo
from tests.punchlist.making import make_equipment, make_item, picture
from tests.support.world import World, make_member, make_system, make_user

pytestmark = pytest.mark.django_db
SignIn = Callable[[str], Client]
At = Callable[..., str]


def shown(client: Client, address: str) -> str:
    response = client.get(address)
    assert response.status_code == 200
    return response.content.decode()


@pytest.mark.parametrize("who", ["manager", "engineer", "client"])
def test_every_member_sees_the_item_with_its_place_and_life(
    small_world: World, signed_in: SignIn, at: At, who: str
) -> None:
    equipment = make_equipment(small_world.system, "GUB10-Q1")
    make_item(small_world, equipment=equipment, owes=small_world.second_engineer)
    page = shown(signed_in(who), at("punch-item", 1))
    for words in ("Gland plate left open", "GUB10-Q1", "Quillmarsh Pumping Station", "Wren Halloway", "Tobin Ashgrove"):
        assert words in page


def test_the_page_says_what_is_recorded_of_the_energy(small_world: World, signed_in: SignIn, at: At) -> None:
    make_item(small_world)
    assert "not recorded - treat as LIVE" in shown(signed_in("engineer"), at("punch-item", 1))
    small_world.system.supplies.create(tag="Q1", kind="incomer", state="released")
    assert "LIVE" in shown(signed_in("engineer"), at("punch-item", 1))


def test_each_role_is_offered_its_steps_only(small_world: World, signed_in: SignIn, at: At) -> None:
    rectify_item(actor=small_world.manager, item=make_item(small_world))
    pages = {who: shown(signed_in(who), at("punch-item", 1)) for who in ("manager", "engineer", "client")}
    assert {who: ('value="closed"' in page, 'value="sent_back"' in page) for who, page in pages.items()} == {
        "manager": (False, True),
        "engineer": (False, False),
        "client": (True, True),
    }


ADDRESSES = ["punch-item", "punch-change"]


@pytest.mark.parametrize("name", ADDRESSES)
def test_a_stranger_finds_nothing(small_world: World, signed_in: SignIn, at: At, name: str) -> None:
    make_item(small_world)
    assert signed_in("stranger").get(at(name, 1)).status_code == 404


def test_who_is_not_signed_in_is_asked_to(small_world: World, at: At) -> None:
    make_item(small_world)
    response = Client().get(at("punch-item", 1))
    assert response.status_code == 302
    assert "/sign-in/" in response["Location"]


def test_a_member_of_another_site_finds_nothing_and_can_do_nothing(
    small_world: World, signed_in: SignIn, at: At
) -> None:
    vexley = Site.objects.create(project=small_world.project, code="VEX", name="Vexley Outfall")
    make_system(site=vexley, tag="GUB20")
    somebody = make_user(username="elsewhere", name="Orla Fenwick")
    make_member(project=small_world.project, user=somebody, role=Role.MANAGER, sites=[vexley])
    item = make_item(small_world)
    photo = add_photo(actor=small_world.engineer, item=item, file=picture())
    client = Client()
    client.force_login(somebody)
    for address in (at("punch-item", 1), at("punch-photo", photo.pk), at("punch-item-by-id", item.pk)):
        assert client.get(address).status_code == 404
    assert client.post(at("punch-step", 1), {"step": "rectified"}).status_code == 404
    assert client.post(at("punch-photos", 1), {"photos": picture()}).status_code == 404
    item.refresh_from_db()
    assert item.state == "open"


def test_a_step_is_taken_and_shown(small_world: World, signed_in: SignIn, at: At) -> None:
    make_item(small_world)
    response = signed_in("engineer").post(
        at("punch-step", 1), {"step": "rectified", "remark": "Plate fitted", "client_uuid": uuid4()}, follow=True
    )
    page = response.content.decode()
    assert "P-1 is rectified." in page
    assert "Plate fitted" in page


def test_a_refused_step_says_why_and_keeps_what_was_typed(small_world: World, signed_in: SignIn, at: At) -> None:
    rectify_item(actor=small_world.manager, item=make_item(small_world))
    response = signed_in("manager").post(at("punch-step", 1), {"step": "closed", "remark": "Looked at it twice"})
    page = response.content.decode()
    assert response.status_code == 400
    assert "You recorded P-1 rectified" in page
    assert "Looked at it twice" in page


def test_a_reason_that_is_missing_is_asked_for_beside_its_field(small_world: World, signed_in: SignIn, at: At) -> None:
    rectify_item(actor=small_world.engineer, item=make_item(small_world))
    response = signed_in("client").post(at("punch-step", 1), {"step": "sent_back", "remark": ""})
    assert response.context["step_form"].errors["remark"] == [
        "Say why you send it back; whoever mends it reads the reason."
    ]


def test_an_item_is_changed_and_a_lowering_is_refused_in_words(small_world: World, signed_in: SignIn, at: At) -> None:
    item = make_item(small_world)
    make_equipment(small_world.system, "GUB10-Q1")
    given = {"category": "B", "text": "Gland plate open", "tag": "gub10-q1", "due_on": "2026-05-01"}
    refused = signed_in("engineer").post(at("punch-change", 1), given)
    assert refused.status_code == 400
    assert "manager&#x27;s decision" in refused.content.decode()
    assert "Gland plate open" in refused.content.decode()
    signed_in("manager").post(at("punch-change", 1), {**given, "reason": "Agreed on site"})
    item.refresh_from_db()
    assert (item.category, item.text, item.equipment.tag, f"{item.due_on}") == (  # type: ignore[union-attr]
        "B",
        "Gland plate open",
        "GUB10-Q1",
        "2026-05-01",
    )


def test_a_tag_of_another_system_is_not_taken(small_world: World, signed_in: SignIn, at: At) -> None:
    make_item(small_world)
    make_equipment(make_system(site=small_world.site, tag="GUB20"), "GUB20-Q1")
    response = signed_in("engineer").post(
        at("punch-change", 1), {"category": "A", "text": "Gland plate open", "tag": "GUB20-Q1"}
    )
    assert list(response.context["form"].errors) == ["tag"]


def test_html_in_text_stays_text(small_world: World, signed_in: SignIn, at: At) -> None:
    words = '<script>alert(1)</script><img src=x onerror="alert(2)">'
    item = make_item(small_world, text=words)
    rectify_item(actor=small_world.engineer, item=item, remark=words)
    for address in (at("punch-item", 1), at("punch-list"), at("punch-change", 1)):
        page = shown(signed_in("manager"), address)
        assert "<script>alert" not in page
        assert "<img src=x" not in page
        assert "&lt;script&gt;alert(1)" in page


def test_an_item_is_found_by_its_key(small_world: World, signed_in: SignIn, at: At) -> None:
    item = make_item(small_world)
    response = signed_in("client").get(at("punch-item-by-id", item.pk))
    assert response["Location"] == at("punch-item", 1)


# photos


def test_photos_are_added_and_one_that_is_none_does_not_undo_the_others(
    small_world: World, signed_in: SignIn, at: At
) -> None:
    make_item(small_world)
    bad = picture(format="GIF")
    bad.name = "<b>snag</b>.jpg"
    response = signed_in("engineer").post(
        at("punch-photos", 1), {"photos": [picture(), bad, picture(colour="navy")], "caption": "Bottom"}, follow=True
    )
    page = response.content.decode()
    assert [photo.caption for photo in Photo.objects.all()] == ["Bottom", "Bottom"]
    assert "was not kept" in page
    assert "<b>snag" not in page


def test_a_photo_is_served_to_members_with_safe_heads(small_world: World, signed_in: SignIn, at: At) -> None:
    photo = add_photo(actor=small_world.engineer, item=make_item(small_world), file=picture())
    response = signed_in("client").get(at("punch-photo", photo.pk))
    body = b"".join(response.streaming_content)  # type: ignore[attr-defined]
    assert (response["Content-Type"], body[:2]) == ("image/jpeg", b"\xff\xd8")
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["Cache-Control"] == "private, no-cache"
    assert response["Content-Disposition"] == f'inline; filename="photo-{photo.sha256[:12]}.jpg"'
    assert "sandbox" in response["Content-Security-Policy"]
    again = signed_in("client").get(at("punch-photo", photo.pk), headers={"if-none-match": response["ETag"]})
    assert again.status_code == 304


def test_a_photo_is_not_served_to_a_stranger_even_one_who_has_it(small_world: World, signed_in: SignIn, at: At) -> None:
    photo = add_photo(actor=small_world.engineer, item=make_item(small_world), file=picture())
    heads = {"if-none-match": f'"{photo.sha256}"'}
    assert signed_in("stranger").get(at("punch-photo", photo.pk), headers=heads).status_code == 404


def test_a_post_without_its_token_is_refused(small_world: World, at: At) -> None:
    make_item(small_world)
    client = Client(enforce_csrf_checks=True)
    client.force_login(small_world.engineer)
    assert client.post(at("punch-step", 1), {"step": "rectified"}).status_code == 403
    assert PunchItem.objects.get().state == "open"
