"""What a phone recorded without signal arrives: each item once, refused ones kept with their reason."""

from __future__ import annotations

import pytest

from commissioning.models import CheckResult, OutboxItem, Reading
from punchlist.models import Photo, PunchItem
from tests.commissioning.outbox.sending import Phone
from tests.commissioning.views.run_plant import line_on, started, supply_line
from tests.punchlist.making import picture
from tests.support.world import World

pytestmark = pytest.mark.django_db


def test_a_reading_a_result_and_a_snag_with_its_photo_arrive_once(small_world: World) -> None:
    stage = started(small_world)
    measured, looked = supply_line(stage), line_on(stage)
    phone = Phone(small_world, small_world.engineer)
    snag = phone.snag()
    photo = phone.item("photo", {"item": snag["id"], "sha256": phone.upload(picture().read()), "caption": "Gland"})
    items = [phone.reading(measured), phone.result(looked), snag, photo]
    first = phone.results(*items)
    assert [result["state"] for result in first] == ["arrived"] * 4
    assert first[0]["reading"]["verdict"] == "accept"
    assert first[2]["record"]["url"]
    again = phone.results(*items)
    assert [result["known"] for result in again] == [True] * 4
    assert [result["record"] for result in again] == [result["record"] for result in first]
    assert again[0]["reading"] == first[0]["reading"]
    for model in (Reading, CheckResult, PunchItem, Photo):
        assert model._default_manager.count() == 1


@pytest.mark.parametrize("kind", ["release", "supply_released", "acceptance", "stage_accepted", "permission", "dance"])
def test_what_the_phone_cannot_know_is_refused_with_the_sentence_why(small_world: World, kind: str) -> None:
    phone = Phone(small_world, small_world.manager)
    (result,) = phone.results(phone.item(kind, {"supply": "x"}))
    assert result["state"] == "needs you"
    assert "cannot know what happened elsewhere" in result["sentences"][0]
    kept = OutboxItem.objects.get(pk=result["id"])
    assert kept.state == "needs_you"
    assert kept.body == {"supply": "x"}
