"""What a token may do: each scope, project and end, over every address of the API."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone
from rest_framework.test import APIClient

from commissioning.errors import Conflict, InvalidInput
from commissioning.models import ApiToken, AuditEntry, Membership, TokenScope
from commissioning.services.api_tokens import MOST_TOKENS, make_token, take_back
from tests.commissioning.api.asking import filled
from tests.commissioning.api.matrix import ROWS, Row
from tests.commissioning.api.plant import build
from tests.commissioning.views.reading import signed_in, words
from tests.support.factors import sign_in
from tests.support.world import PASSWORD, World, make_member, make_project

pytestmark = pytest.mark.django_db
#: What a phone records without signal; everything else that writes needs a token for everything.
BY_PHONE = {
    "api-line-results", "api-line-readings", "api-line-proofs", "api-alarms", "api-signal-force", "api-signal-see",
    "api-signal-restore", "api-signal-fail", "api-supply-isolate", "api-punch-items", "api-punch-photos", "api-outbox",
    "api-outbox-drop", "api-outbox-file",
}  # fmt: skip
#: Sent by POST, but nothing is recorded by it, or only the token itself ends.
BY_READING = {"api-calculation-run", "api-line-try", "api-audit-verify", "api-token-logout"}
#: Signing in carries no token; what is told there is another matter.
WITHOUT = {"api-token"}


def program(world: World, *, scope: str = "write", who: str = "manager", **more: object) -> APIClient:
    """A program that carries a token of this scope."""
    _, secret = ApiToken.objects.create(user=getattr(world, who), scope=scope, **more)
    return APIClient(HTTP_AUTHORIZATION=f"Token {secret}")


def refused_for_scope(client: APIClient, row: Row, world: World) -> bool:
    """Asked without a body, at an address that need not be there: the token is looked at before anything else."""
    address = reverse(row.name, kwargs={word: _key(value, world) for word, value in row.words.items()})
    answer = getattr(client, row.method)(address, {}, format="json")
    return answer.status_code == 403 and "This token" in str(answer.data)


def _key(value: str, world: World) -> str:
    made = {"@code": world.project.code, "@calculation": "ac_supply_tolerance"}
    return made.get(value, str(world.project.pk)) if value.startswith("@") else value


def allowed(scope: str, row: Row) -> bool:
    if row.method == "get" or row.name in BY_READING or row.name in WITHOUT:
        return True
    return scope == "write" or (scope == "phone" and row.name in BY_PHONE)


@pytest.mark.parametrize("scope", TokenScope.values)
def test_each_scope_opens_what_it_was_made_for_and_nothing_else(small_world: World, scope: str) -> None:
    client = program(small_world, scope=scope)
    found = {}
    for row in ROWS:
        if row.name != "api-token-logout":
            found[row.name, row.method] = not refused_for_scope(client, row, small_world)
    expected = {(row.name, row.method): allowed(scope, row) for row in ROWS if row.name != "api-token-logout"}
    assert {key: was for key, was in found.items() if was != expected[key]} == {}


@pytest.mark.parametrize("scope", TokenScope.values)
def test_every_token_can_end_itself(small_world: World, scope: str) -> None:
    client = program(small_world, scope=scope, project=small_world.project)
    assert client.post("/api/v1/token/logout/").status_code == 204
    assert client.get("/api/v1/projects/").status_code == 401


def test_a_token_of_one_project_finds_nothing_of_another(small_world: World) -> None:
    other = make_project()
    make_member(project=other.project, user=small_world.manager, role="manager")
    client = program(small_world, project=small_world.project)
    mine, theirs = small_world.project.code, other.project.code
    assert [one["code"] for one in client.get("/api/v1/projects/").data] == [mine]
    for row in ROWS:
        if "code" in row.words:
            kwargs = {word: theirs if word == "code" else _key(value, other) for word, value in row.words.items()}
            assert getattr(client, row.method)(reverse(row.name, kwargs=kwargs)).status_code == 404, row.name
    assert client.get(f"/api/v1/projects/{mine}/").status_code == 200
    assert client.post("/api/v1/token/logout-all/").status_code == 403


def test_a_phone_token_records_a_result_and_raises_an_item(small_world: World) -> None:
    plant, client = build(small_world), program(small_world, scope="phone", who="engineer")
    for name in ("api-line-results", "api-punch-items"):
        (row,) = [one for one in ROWS if (one.name, one.method) == (name, "post")]
        address = reverse(name, kwargs={word: filled(value, plant) for word, value in row.words.items()})
        assert client.post(address, filled(row.body, plant), format="json").status_code == 201, name


def test_a_token_never_does_more_than_its_person(small_world: World) -> None:
    client = program(small_world, who="client")
    assert client.patch(f"/api/v1/projects/{small_world.project.code}/", {"name": "Ours"}).status_code in (403, 415)
    Membership.objects.filter(user=small_world.client).update(left_at=timezone.now())
    assert client.get(f"/api/v1/projects/{small_world.project.code}/").status_code == 404
    small_world.client.is_active = False
    small_world.client.save()
    assert client.get("/api/v1/projects/").status_code == 401


def test_a_token_ends_and_says_when_it_was_last_used(small_world: World) -> None:
    client = program(small_world)
    token = ApiToken.objects.get()
    assert token.last_used_at is None
    client.get("/api/v1/projects/")
    token.refresh_from_db()
    assert timezone.now() - token.last_used_at < timedelta(minutes=1)
    ApiToken.objects.update(expiry=timezone.now() - timedelta(seconds=1))
    assert client.get("/api/v1/projects/").status_code == 401


def test_signing_in_gives_the_scope_project_and_end_that_were_asked_for(small_world: World) -> None:
    body = {"username": small_world.engineer.email, "password": PASSWORD, "scope": "read", "days": 7}
    made = APIClient().post("/api/v1/token/", {**body, "project": small_world.project.code}, format="json")
    assert (made.status_code, made.data["scope"], made.data["project"]) == (201, "read", small_world.project.code)
    ends = ApiToken.objects.get().expiry - timezone.now()
    assert timedelta(days=6, hours=23) < ends <= timedelta(days=7)
    other = make_project().project.code
    for wrong in ({"project": other}, {"project": "NOWHERE"}, {"scope": "all"}, {"days": 0}, {"days": 3650}):
        assert APIClient().post("/api/v1/token/", {**body, **wrong}, format="json").status_code == 400, wrong


def test_a_page_makes_a_token_that_is_shown_once_listed_and_taken_back(small_world: World) -> None:
    browser = Client()
    sign_in(small_world.engineer, browser=browser)
    page = "/account/tokens/new/"
    assert browser.get(page)["Location"].startswith("/account/again/"), "the password is asked for again"
    browser.post(f"/account/again/?next={page}", {"password": PASSWORD})
    form = {"name": "nightly copy", "scope": "read", "project": small_world.project.code, "days": "30"}
    shown = browser.post(page, form).content.decode()
    secret = re.search(r"<code>(ct_[0-9a-f]+)</code>", shown)[1]
    assert secret not in str(list(ApiToken.objects.values())), "it is kept as a digest"
    client = APIClient(HTTP_AUTHORIZATION=f"Token {secret}")
    assert client.get(f"/api/v1/projects/{small_world.project.code}/").status_code == 200
    listed = browser.get("/account/tokens/")
    assert secret not in listed.content.decode()
    assert "nightly copy" in words(listed)
    key = ApiToken.objects.get().token_key
    theirs = signed_in(small_world.manager)
    assert theirs.post(f"/account/tokens/{key}/take-back/").status_code == 404
    browser.post(f"/account/tokens/{key}/take-back/")
    assert client.get("/api/v1/projects/").status_code == 401
    actions = AuditEntry.objects.filter(actor=small_world.engineer).values_list("action", flat=True)
    assert {"token_made", "token_taken_back"} <= set(actions)


@pytest.mark.parametrize("lasts", [timedelta(0), timedelta(days=367), timedelta(days=-1)])
def test_a_token_without_an_end_is_not_made(small_world: World, lasts: timedelta) -> None:
    with pytest.raises(InvalidInput):
        make_token(user=small_world.engineer, name="x", scope="read", lasts=lasts)


def test_tokens_do_not_pile_up_without_end(small_world: World) -> None:
    make: Callable[[], object] = lambda: make_token(  # noqa: E731
        user=small_world.engineer, name="x", scope="read", lasts=timedelta(days=1)
    )
    for _ in range(MOST_TOKENS):
        make()
    with pytest.raises(Conflict):
        make()
    take_back(user=small_world.engineer, key=ApiToken.objects.first().token_key)
    make()
