"""Punch items over the API: what each answers, and in which status, for each role and a stranger."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from commissioning.models import Role, Site
from punchlist.models import Photo, PunchItem
from punchlist.services.items import close_item, rectify_item
from punchlist.services.photos import add_photo
from tests.punchlist.making import make_alarm, make_equipment, make_item, make_line, picture
from tests.support.world import World, make_member, make_project, make_user

pytestmark = pytest.mark.django_db
Api = Callable[[str], APIClient]


@pytest.fixture
def api(small_world: World) -> Api:
    """`api("manager")`: a client of the API that speaks for that person of the small world."""

    def speak(who: str) -> APIClient:
        client = APIClient()
        client.force_authenticate(getattr(small_world, who))
        return client

    return speak


@pytest.fixture
def items(small_world: World) -> str:
    return f"/api/v1/projects/{small_world.project.code}/punch-items/"


def body(world: World, **more: Any) -> dict[str, Any]:
    return {"category": "B", "text": "Gland plate open", "system": str(world.system.pk), **more}


def closed(world: World) -> PunchItem:
    item = make_item(world)
    rectify_item(actor=world.engineer, item=item)
    return close_item(actor=world.client, item=item)


# raising


@pytest.mark.parametrize("who", ["manager", "engineer", "client"])
def test_every_role_raises_an_item_201_then_200(small_world: World, api: Api, items: str, who: str) -> None:
    key = str(uuid4())
    first, second = (api(who).post(items, body(small_world, id=key), format="json") for _ in range(2))
    assert (first.status_code, second.status_code) == (201, 200)
    assert (first.data["id"], first.data["number"], second.data["number"]) == (key, 1, 1)
    assert first.data["stage_kind"] == "mechanical_completion"
    assert PunchItem.objects.count() == 1


def test_one_id_with_other_content_is_a_conflict(small_world: World, api: Api, items: str) -> None:
    key = str(uuid4())
    api("engineer").post(items, body(small_world, id=key), format="json")
    answer = api("engineer").post(items, body(small_world, id=key, text="Other"), format="json")
    assert answer.status_code == 409
    assert answer["Content-Type"] == "application/problem+json"


def test_a_line_or_an_alarm_carries_its_place(small_world: World, api: Api, items: str) -> None:
    equipment = make_equipment(small_world.system, "GUB10-BAT1")
    line = make_line(small_world.stages[1], equipment=equipment)
    alarm = make_alarm(small_world.stages[2], small_world.engineer)
    given = {"category": "A", "text": "Reversed"}
    by_line = api("engineer").post(items, {**given, "line": str(line.pk)}, format="json").data
    by_alarm = api("engineer").post(items, {**given, "alarm": str(alarm.pk)}, format="json").data
    assert (by_line["tag"], by_line["stage_kind"]) == ("GUB10-BAT1", "pre_energisation")
    assert (by_alarm["tag"], by_alarm["stage_kind"]) == ("GUB10", "energisation")


def test_wrong_fields_are_named(small_world: World, api: Api, items: str) -> None:
    foreign = make_project()
    for given, field in [
        ({"text": ""}, "text"),
        ({"category": "D"}, "category"),
        ({"system": str(foreign.system.pk)}, "system"),
        ({"system": None}, "system"),
        ({"line": str(make_line(foreign.stages[0]).pk)}, "line"),
        ({"owes": small_world.stranger.pk}, "owes"),
        ({"due_on": "soon"}, "due_on"),
        ({"text": "a\x00b"}, "text"),
    ]:
        answer = api("engineer").post(items, body(small_world, **given), format="json")
        assert (answer.status_code, list(answer.data["fields"])) == (400, [field])
    assert not PunchItem.objects.exists()


# reading


def test_a_stranger_finds_nothing_anywhere(small_world: World, api: Api, items: str) -> None:
    item = make_item(small_world)
    photo = add_photo(actor=small_world.engineer, item=item, file=picture())
    stranger = api("stranger")
    for path in (items, f"{items}{item.pk}/", f"{items[: -len('punch-items/')]}punch-photos/{photo.pk}/"):
        assert stranger.get(path).status_code == 404
    assert stranger.post(items, body(small_world), format="json").status_code == 404
    for step in ("rectify", "close", "send-back", "reopen", "photos"):
        assert stranger.post(f"{items}{item.pk}/{step}/").status_code == 404


def test_who_does_not_say_who_they_are_is_refused(items: str, small_world: World) -> None:
    assert APIClient().get(items).status_code in (401, 403)


def test_a_member_of_another_site_finds_nothing(small_world: World, items: str) -> None:
    item = make_item(small_world)
    vexley = Site.objects.create(project=small_world.project, code="VEX", name="Vexley Outfall")
    somebody = make_user(username="elsewhere", name="Orla Fenwick")
    make_member(project=small_world.project, user=somebody, role=Role.MANAGER, sites=[vexley])
    client = APIClient()
    client.force_authenticate(somebody)
    assert client.get(items).data["results"] == []
    assert client.get(f"{items}{item.pk}/").status_code == 404
    assert client.post(f"{items}{item.pk}/rectify/").status_code == 404
    answer = client.post(items, body(small_world), format="json")
    assert list(answer.data["fields"]) == ["system"]


def test_the_list_filters_as_the_page_does_and_holds_closed_items_too(small_world: World, api: Api, items: str) -> None:
    make_item(small_world, category="B")
    make_item(small_world, owes=small_world.engineer, due_on=timezone.localdate() - timedelta(days=2))
    closed(small_world)
    wanted = {"": {1, 2, 3}, "?state=standing": {1, 2}, "?category=B": {1}, "?mine=true": {2}, "?overdue=true": {2}}
    got = {query: {row["number"] for row in api("engineer").get(items + query).data["results"]} for query in wanted}
    assert got == wanted


def test_a_filter_that_makes_no_sense_is_refused(api: Api, items: str) -> None:
    answer = api("engineer").get(items + "?category=Z")
    assert (answer.status_code, list(answer.data["fields"])) == (400, ["category"])


def test_what_changed_since_is_asked_for_by_time(small_world: World, api: Api, items: str) -> None:
    make_item(small_world)
    since = timezone.now().isoformat()
    make_item(small_world)
    answer = api("engineer").get(items, {"changed_after": since})
    assert [row["number"] for row in answer.data["results"]] == [2]


def test_pages_hold_each_item_once(small_world: World, api: Api, items: str) -> None:
    for _ in range(7):
        make_item(small_world)
    address, found = f"{items}?page_size=3", []
    while address:
        page = api("client").get(address).data
        found += [row["number"] for row in page["results"]]
        address = page["next"]
    assert sorted(found) == [1, 2, 3, 4, 5, 6, 7]


def test_five_items_and_fifty_take_the_same_number_of_queries(small_world: World, api: Api, items: str) -> None:
    counts = []
    for number in (5, 45):
        for _ in range(number):
            make_item(small_world, owes=small_world.engineer)
        with CaptureQueriesContext(connection) as queries:
            api("client").get(items)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_one_item_comes_with_its_life_and_photos(small_world: World, api: Api, items: str) -> None:
    item = closed(small_world)
    photo = add_photo(actor=small_world.engineer, item=item, file=picture())
    found = api("manager").get(f"{items}{item.pk}/").data
    assert [step["step"] for step in found["steps"]] == ["raised", "rectified", "closed"]
    assert [row["sha256"] for row in found["photos"]] == [photo.sha256]
    assert found["closed_by"] == {"id": small_world.client.pk, "name": "Perpetua Lunn"}


# steps


def test_a_step_answers_201_then_200(small_world: World, api: Api, items: str) -> None:
    item, key = make_item(small_world), str(uuid4())
    address = f"{items}{item.pk}/rectify/"
    answers = [api("engineer").post(address, {"id": key, "remark": "Fitted"}, format="json") for _ in range(2)]
    assert [answer.status_code for answer in answers] == [201, 200]
    assert {answer.data["state"] for answer in answers} == {"rectified"}
    assert item.steps.filter(step="rectified").count() == 1


def test_the_whole_life_over_the_api(small_world: World, api: Api, items: str) -> None:
    item = make_item(small_world)
    states = [
        api(who).post(f"{items}{item.pk}/{step}/", given, format="json").data["state"]
        for who, step, given in [
            ("engineer", "rectify", {}),
            ("client", "send-back", {"reason": "Loose"}),
            ("engineer", "rectify", {"remark": "Tightened"}),
            ("client", "close", {}),
            ("engineer", "reopen", {"reason": "Fell off"}),
        ]
    ]
    assert states == ["rectified", "sent_back", "rectified", "closed", "open"]


def test_refusals_come_as_data(small_world: World, api: Api, items: str) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.manager, item=item)
    own = api("manager").post(f"{items}{item.pk}/close/")
    assert (own.status_code, own.data["blockers"][0]["code"], own.data["blockers"][0]["rule"]) == (
        422,
        "rectified_it",
        11,
    )
    assert api("engineer").post(f"{items}{item.pk}/close/").status_code == 403
    without = api("client").post(f"{items}{item.pk}/send-back/", {}, format="json")
    assert (without.status_code, list(without.data["fields"])) == (400, ["reason"])


def test_a_change_leaves_out_what_it_does_not_name(small_world: World, api: Api, items: str) -> None:
    item = make_item(small_world, owes=small_world.engineer, owes_company="Pellwick Electrical")
    address = f"{items}{item.pk}/"
    kept = api("engineer").patch(address, {"text": "Gland plate and two glands"}, format="json").data
    assert (kept["text"], kept["owes"]["name"], kept["owes_company"]) == (
        "Gland plate and two glands",
        "Tobin Ashgrove",
        "Pellwick Electrical",
    )
    assert api("engineer").patch(address, {"owes": None}, format="json").data["owes"] is None
    lowered = api("engineer").patch(address, {"category": "C"}, format="json")
    assert (lowered.status_code, lowered.data["blockers"][0]["code"]) == (422, "lowering_needs_manager")


def test_many_are_assigned_and_it_is_taken_back(small_world: World, api: Api, items: str) -> None:
    keys = [str(make_item(small_world).pk) for _ in range(3)]
    done = api("manager").post(f"{items}assign/", {"items": keys, "owes": small_world.engineer.pk}, format="json")
    assert done.data["numbers"] == [1, 2, 3]
    undone = api("manager").post(f"{items}assign/{done.data['batch']}/undo/")
    assert undone.data["numbers"] == [1, 2, 3]
    assert not PunchItem.objects.filter(owes__isnull=False).exists()


# photos


def test_a_photo_is_sent_201_then_200_and_fetched(small_world: World, api: Api, items: str) -> None:
    item, key = make_item(small_world), str(uuid4())
    address = f"{items}{item.pk}/photos/"
    answers = [
        api("client").post(address, {"id": key, "file": picture(), "caption": "Rear"}, format="multipart")
        for _ in range(2)
    ]
    assert [answer.status_code for answer in answers] == [201, 200]
    assert Photo.objects.get().pk == Photo.objects.get(pk=key).pk
    got = api("engineer").get(f"{items[: -len('punch-items/')]}punch-photos/{key}/")
    assert (got["Content-Type"], got["X-Content-Type-Options"]) == ("image/jpeg", "nosniff")


def test_what_is_no_photo_is_refused(small_world: World, api: Api, items: str) -> None:
    item = make_item(small_world)
    answer = api("engineer").post(f"{items}{item.pk}/photos/", {"file": picture(format="GIF")}, format="multipart")
    assert (answer.status_code, list(answer.data["fields"])) == (400, ["file"])
