"""Raising an item from a page: what is carried along, what is asked, what stays when it is refused."""

from __future__ import annotations

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from commissioning.models import CheckResult, StageState
from punchlist.models import Photo, PunchItem
from tests.punchlist.making import make_alarm, make_equipment, make_line, picture
from tests.support.world import World, make_project, make_system

pytestmark = pytest.mark.django_db
SignIn = Callable[[str], Client]
At = Callable[..., str]
GIVEN = {"category": "B", "text": "Gland plate open", "tag": "GUB10"}


@pytest.mark.parametrize("who", ["manager", "engineer", "client"])
def test_every_role_raises_one(small_world: World, signed_in: SignIn, at: At, who: str) -> None:
    response = signed_in(who).post(at("punch-new"), GIVEN)
    item = PunchItem.objects.get()
    assert response["Location"] == at("punch-item", item.number)
    assert (item.category, item.system, item.stage, item.equipment) == (
        "B",
        small_world.system,
        small_world.stages[0],
        None,
    )


def test_a_stranger_finds_nothing(signed_in: SignIn, at: At) -> None:
    client = signed_in("stranger")
    assert client.get(at("punch-new")).status_code == 404
    assert client.post(at("punch-new"), GIVEN).status_code == 404
    assert client.get(at("punch-tags")).status_code == 404


def test_the_tag_of_equipment_names_its_system_and_the_stage_in_hand(
    small_world: World, signed_in: SignIn, at: At
) -> None:
    other = make_system(site=small_world.site, tag="GUB20")
    equipment = make_equipment(other, "GUB20-Q1")
    other.stages.filter(order=1).update(state=StageState.ACCEPTED)
    signed_in("engineer").post(at("punch-new"), {**GIVEN, "tag": " gub20-q1 "})
    item = PunchItem.objects.get()
    assert (item.system, item.equipment, item.stage.order) == (other, equipment, 2)


def test_an_old_tag_still_leads_to_its_equipment(small_world: World, signed_in: SignIn, at: At) -> None:
    equipment = make_equipment(small_world.system, "GUB10-Q1")
    equipment.former_tags = ["Q-OLD-7"]
    equipment.save()
    signed_in("engineer").post(at("punch-new"), {**GIVEN, "tag": "Q-OLD-7"})
    assert PunchItem.objects.get().equipment == equipment


def test_a_tag_that_nothing_carries_is_named_and_the_rest_stays(small_world: World, signed_in: SignIn, at: At) -> None:
    foreign = make_equipment(make_project(tag="FOR10").system, "FOR10-Q1")
    response = signed_in("engineer").post(at("punch-new"), {**GIVEN, "tag": foreign.tag, "owes_company": "Pellwick"})
    page = response.content.decode()
    assert response.status_code == 400
    assert list(response.context["form"].errors) == ["tag"]
    for words in ("Gland plate open", foreign.tag, "Pellwick"):
        assert words in page
    assert not PunchItem.objects.exists()


def test_a_stage_that_the_system_does_not_have_is_named(small_world: World, signed_in: SignIn, at: At) -> None:
    make_system(site=small_world.site, tag="GUL30", kind="lv_board")
    response = signed_in("engineer").post(at("punch-new"), {**GIVEN, "tag": "GUL30", "stage": "battery_connected"})
    assert list(response.context["form"].errors) == ["stage"]


def test_what_is_missing_is_asked_for_beside_each_field(signed_in: SignIn, at: At) -> None:
    response = signed_in("engineer").post(at("punch-new"), {"due_on": "next week", "photos": [picture()]})
    assert set(response.context["form"].errors) == {"category", "text", "tag", "due_on"}
    assert "next week" in response.content.decode()
    assert "choose them again" in response.content.decode()


def test_from_a_failed_line_one_press_is_left(small_world: World, signed_in: SignIn, at: At) -> None:
    stage = small_world.stages[1]
    equipment = make_equipment(small_world.system, "GUB10-BAT1")
    line = make_line(stage, equipment=equipment)
    CheckResult.objects.create(
        line=line, outcome="failed", remark="red on minus", by=small_world.engineer, at=timezone.now()
    )
    client, address = signed_in("engineer"), f"{at('punch-new')}?line={line.pk}"
    form = client.get(address).context["form"]
    carried = {name: form[name].value() for name in ("category", "text")}
    assert carried == {"category": "A", "text": "Polarity of the battery leads: red on minus"}
    client.post(address, {**carried, "client_uuid": form["client_uuid"].value()})
    item = PunchItem.objects.get()
    assert (item.line, item.stage, item.equipment, item.system) == (line, stage, equipment, small_world.system)


def test_from_an_alarm_one_press_is_left(small_world: World, signed_in: SignIn, at: At) -> None:
    alarm = make_alarm(small_world.stages[2], small_world.engineer)
    client, address = signed_in("engineer"), f"{at('punch-new')}?alarm={alarm.pk}"
    form = client.get(address).context["form"]
    client.post(address, {name: form[name].value() for name in ("category", "text")})
    item = PunchItem.objects.get()
    assert (item.alarm, item.stage, item.category, item.text) == (
        alarm,
        small_world.stages[2],
        "A",
        "Alarm: Earth fault negative",
    )
    alarm.refresh_from_db()
    assert alarm.outcome == "genuine"


def test_from_a_tag_or_a_system_the_place_is_filled_in(small_world: World, signed_in: SignIn, at: At) -> None:
    equipment = make_equipment(small_world.system, "GUB10-BAT1")
    client = signed_in("engineer")
    by_tag = client.get(f"{at('punch-new')}?equipment={equipment.pk}").context["form"]
    assert (by_tag["tag"].value(), by_tag["stage"].value()) == ("GUB10-BAT1", "")
    stage = small_world.stages[1]
    by_stage = client.get(f"{at('punch-new')}?system={small_world.system.pk}&stage={stage.pk}").context["form"]
    assert (by_stage["tag"].value(), by_stage["stage"].value()) == ("GUB10", "pre_energisation")


def test_a_record_of_another_project_is_not_carried_along(signed_in: SignIn, at: At) -> None:
    other = make_project()
    line = make_line(other.stages[0])
    alarm = make_alarm(other.stages[0], other.engineer)
    equipment = make_equipment(other.system, "FOR-1")
    client = signed_in("manager")
    for query in (
        f"line={line.pk}",
        f"alarm={alarm.pk}",
        f"equipment={equipment.pk}",
        f"system={other.system.pk}",
        f"stage={other.stages[0].pk}",
        f"line={uuid4()}",
        "line=nonsense",
    ):
        assert client.get(f"{at('punch-new')}?{query}").status_code == 404


def test_photos_come_along_and_a_bad_one_does_not_lose_the_item(small_world: World, signed_in: SignIn, at: At) -> None:
    bad = picture(format="BMP")
    bad.name = "snag.jpg"
    response = signed_in("engineer").post(at("punch-new"), {**GIVEN, "photos": [picture(), bad]}, follow=True)
    assert Photo.objects.get().item == PunchItem.objects.get()
    assert "snag.jpg was not kept" in response.content.decode()


def test_sent_twice_it_is_there_once_with_its_photo_once(small_world: World, signed_in: SignIn, at: At) -> None:
    client, key = signed_in("engineer"), uuid4()
    for _ in range(2):
        client.post(at("punch-new"), {**GIVEN, "client_uuid": key, "photos": [picture()]})
    assert (PunchItem.objects.count(), Photo.objects.count()) == (1, 1)


def test_it_goes_back_to_the_page_it_came_from_and_to_no_foreign_one(signed_in: SignIn, at: At) -> None:
    client = signed_in("engineer")
    own = client.post(at("punch-new"), {**GIVEN, "next": at("punch-list")})
    assert own["Location"] == at("punch-list")
    foreign = client.post(at("punch-new"), {**GIVEN, "next": "https://elsewhere.example/"})
    assert foreign["Location"] == at("punch-item", 2)


def test_the_type_ahead_offers_tags_that_hold_what_was_typed(small_world: World, signed_in: SignIn, at: At) -> None:
    make_equipment(small_world.system, "GUB10-BAT1")
    make_equipment(small_world.system, "GUB10-Q1")
    page = signed_in("engineer").get(at("punch-tags"), {"tag": "bat"}).content.decode()
    assert page.strip() == '<option value="GUB10-BAT1"></option>'


def test_who_cannot_owe_it_is_not_offered(small_world: World, signed_in: SignIn, at: At) -> None:
    response = signed_in("engineer").post(at("punch-new"), {**GIVEN, "owes": small_world.stranger.pk})
    assert list(response.context["form"].errors) == ["owes"]
