"""Errors are problem details (RFC 9457), and nothing that was sent is dropped in silence."""

from __future__ import annotations

import json
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from commissioning.api.parsing import LARGEST_BODY
from commissioning.models import AlarmSighting
from tests.commissioning.api.conftest import Api, speaks_for
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db


def test_a_refusal_carries_its_blockers_as_data(small_world: World, api: Api, base: str) -> None:
    stage = small_world.stage("pre_energisation")
    answer = api("manager").post(f"{base}stages/{stage.pk}/start/")
    assert (answer.status_code, answer["Content-Type"]) == (422, "application/problem+json")
    body = json.loads(answer.content)
    assert {key: body[key] for key in ("type", "title", "status")} == {
        "type": "/problems/refused", "title": "Refused by the rules", "status": 422,
    }  # fmt: skip
    (blocker,) = body["blockers"]
    assert (blocker["code"], blocker["rule"], blocker["link_kind"]) == ("previous_not_accepted", 1, "stage")
    assert body["detail"] == blocker["words"]


def test_each_kind_of_error_has_its_type(small_world: World, api: Api, base: str) -> None:
    stage = f"{base}stages/{small_world.stages[0].pk}/"
    client = api("client")
    found = {
        "/problems/not-allowed": client.post(f"{stage}start/"),
        "/problems/invalid-input": client.post(f"{stage}accept/", {}),
        "/problems/not-found": client.get(f"{base}stages/{uuid4()}/"),
        "/problems/method-not-allowed": client.delete(stage),
        "/problems/not-json": client.post(f"{stage}accept/", "{", content_type="application/json"),
        "/problems/unsupported-media-type": client.post(f"{stage}accept/", "a=1", content_type="text/plain"),
        "/problems/not-authenticated": APIClient().get(stage),
        "/problems/authentication-failed": APIClient(HTTP_AUTHORIZATION="Token wrong").get(stage),
    }
    assert {kind: answer.data["type"] for kind, answer in found.items()} == {kind: kind for kind in found}
    assert {answer["Content-Type"] for answer in found.values()} == {"application/problem+json"}
    assert all(answer.data["status"] == answer.status_code for answer in found.values())
    assert all({"type", "title", "status", "detail"} <= set(answer.data) for answer in found.values())
    assert found["/problems/invalid-input"].data["fields"] == {"password": "This field is required."}
    assert found["/problems/not-authenticated"]["WWW-Authenticate"] == "Token"


def test_an_unknown_field_is_refused_and_nothing_is_kept(small_world: World, api: Api, base: str) -> None:
    body = {"stage": str(small_world.stages[0].pk), "text": "Earth fault", "seen": "2031-01-01T00:00:00Z"}
    answer = api("engineer").post(f"{base}alarms/", body)
    assert (answer.status_code, set(answer.data["fields"])) == (400, {"seen"})
    assert "seen_at" in answer.data["fields"]["seen"]
    assert not AlarmSighting.objects.exists()


@pytest.mark.parametrize(
    "query",
    ["stage_in_hnad=energisation", "kind=boiler", "held=perhaps", "page_size=0", "page_size=x", "page_size=501"],
)
def test_a_filter_that_is_not_understood_is_refused(api: Api, base: str, query: str) -> None:
    answer = api("manager").get(f"{base}systems/?{query}")
    assert answer.status_code == 400
    assert set(answer.data["fields"]) == {query.split("=")[0]}


@pytest.mark.parametrize("when", ["2031-01-01T00:00:00", "2031-01-01", "soon", "2031-01-01T25:00:00Z"])
def test_a_time_without_its_zone_is_refused(small_world: World, api: Api, base: str, when: str) -> None:
    body = {"stage": str(small_world.stages[0].pk), "text": "Earth fault", "seen_at": when}
    answer = api("engineer").post(f"{base}alarms/", body)
    assert (answer.status_code, set(answer.data["fields"])) == (400, {"seen_at"})


def test_a_time_with_a_zone_is_the_same_moment_in_the_answer(small_world: World, api: Api, base: str) -> None:
    body = {"stage": str(small_world.stages[0].pk), "text": "Earth fault", "seen_at": "2025-05-04T10:15:00+02:00"}
    answer = api("engineer").post(f"{base}alarms/", body)
    assert answer.data["seen_at"] == "2025-05-04T08:15:00Z"


@pytest.mark.parametrize(
    ("text", "status"), [("x" * 200, 201), ("x" * 201, 400), ("a\x00b", 400), ("   ", 400), (["x"], 400)]
)
def test_texts_are_bounded(small_world: World, api: Api, base: str, text: object, status: int) -> None:
    body = {"stage": str(small_world.stages[0].pk), "text": text}
    assert api("engineer").post(f"{base}alarms/", body).status_code == status


def test_a_body_is_bounded(api: Api, base: str) -> None:
    answer = api("engineer").post(f"{base}alarms/", {"text": "x" * LARGEST_BODY})
    assert (answer.status_code, answer.data["type"]) == (413, "/problems/too-large")


@pytest.mark.parametrize("body", [[], "text", 7, None, [{"text": "x"}]])
def test_a_body_that_is_no_object_is_refused(api: Api, base: str, body: object) -> None:
    answer = api("engineer").post(f"{base}alarms/", json.dumps(body), content_type="application/json")
    assert answer.status_code == 400, answer.data


def test_deep_and_odd_json_is_refused(api: Api, base: str) -> None:
    for raw in (b"[" * 200_000, b'{"text": NaN}', b"\xff\xfe{}", b'{"text": "\\ud800"}'):
        answer = api("engineer").post(f"{base}alarms/", raw, content_type="application/json")
        assert answer.status_code == 400, raw[:20]


def test_an_address_that_leads_nowhere_is_a_problem_too(api: Api) -> None:
    for path in ("/api/v1/no-such/", "/api/v2/", "/api/v1/projects"):
        answer = api("engineer").get(path)
        assert (answer.status_code, answer["Content-Type"]) == (404, "application/problem+json")


def test_a_wrong_password_signs_nothing(small_world: World, api: Api, base: str) -> None:
    stage = small_world.stages[0]
    answer = api("client").post(f"{base}stages/{stage.pk}/accept/", {"password": "wrong"})
    assert (answer.status_code, set(answer.data["fields"])) == (400, {"password"})
    assert PASSWORD not in answer.content.decode()


def test_a_session_needs_the_token_of_its_page(small_world: World, base: str) -> None:
    """A page of another site can make a browser send a request, but not with the token of our own pages."""
    client = APIClient(enforce_csrf_checks=True)
    client.login(username=small_world.engineer.username, password=PASSWORD)
    body = {"stage": str(small_world.stages[0].pk), "text": "Earth fault"}
    refused = client.post(f"{base}alarms/", body, format="json")
    assert (refused.status_code, refused.data["type"]) == (403, "/problems/permission-denied")
    assert not AlarmSighting.objects.exists()
    client.get("/sign-in/")
    client.get("/password/")
    token = client.cookies["csrftoken"].value
    taken = client.post(f"{base}alarms/", body, format="json", HTTP_X_CSRFTOKEN=token)
    assert taken.status_code == 201


def test_a_token_ends_with_its_logout_with_all_and_with_a_new_password(small_world: World) -> None:
    def token() -> APIClient:
        body = {"username": small_world.engineer.username, "password": PASSWORD}
        made = APIClient().post("/api/v1/token/", body, format="json")
        assert made["Cache-Control"] == "no-store"
        return APIClient(HTTP_AUTHORIZATION=f"Token {made.data['token']}")

    first, second, third = token(), token(), token()
    assert first.post("/api/v1/token/logout/").status_code == 204
    assert [one.get("/api/v1/projects/").status_code for one in (first, second, third)] == [401, 200, 200]
    assert second.post("/api/v1/token/logout-all/").status_code == 204
    assert [one.get("/api/v1/projects/").status_code for one in (first, second, third)] == [401, 401, 401]
    fourth, browser = token(), APIClient()
    browser.login(username=small_world.engineer.username, password=PASSWORD)
    fresh = "Heron-under-slate-roof-17"
    browser.post("/password/", {"old_password": PASSWORD, "new_password1": fresh, "new_password2": fresh},
                 format="multipart")  # fmt: skip
    assert fourth.get("/api/v1/projects/").status_code == 401


def test_somebody_who_left_or_whose_account_is_closed_finds_nothing(small_world: World, api: Api, base: str) -> None:
    member = small_world.project.memberships.get(user=small_world.engineer)
    assert api("manager").delete(f"{base}members/{member.pk}/").status_code == 204
    assert api("engineer").get(base).status_code == 404
    small_world.client.is_active = False
    small_world.client.save()
    body = {"username": small_world.client.username, "password": PASSWORD}
    assert speaks_for(None).post("/api/v1/token/", body).status_code == 401
