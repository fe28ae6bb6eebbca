"""Authenticator app, recovery codes, what a project asks of whom, and signing with a code."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from allauth.core.context import request_context
from allauth.mfa.models import Authenticator
from django.core import mail
from django.test import Client
from rest_framework.test import APIClient

from commissioning.errors import InvalidInput, NotAllowed, SecondFactorNeeded, WrongSignature
from commissioning.models import AuditEntry
from commissioning.services import register_places
from commissioning.services.projects import change_settings
from commissioning.services.signing import check_password
from tests.commissioning.views.reading import signed_in, words
from tests.support.factors import code_at, give_app, give_recovery_codes, is_in, sign_in
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db
ASK = "This project asks you to sign in with a second factor"


def test_our_app_shows_what_rfc_6238_prints() -> None:
    """RFC 6238, appendix B: at 59 s the eight digits 94287082, of which an app of six digits shows the last six."""
    secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # "12345678901234567890" in base 32
    assert code_at(secret, 59) == "287082"


def test_a_password_alone_does_not_sign_in_an_account_with_an_app(small_world: World) -> None:
    secret, browser = give_app(small_world.engineer), Client()
    assert sign_in(small_world.engineer, browser=browser)["Location"] == "/sign-in/second-factor/"
    assert not is_in(browser)
    assert browser.get("/")["Location"].startswith("/sign-in/")
    browser.post("/sign-in/second-factor/", {"code": code_at(secret)})
    assert is_in(browser)


def test_a_code_holds_once(small_world: World) -> None:
    secret, first, second = give_app(small_world.engineer), Client(), Client()
    code = code_at(secret)
    for browser in (first, second):
        sign_in(small_world.engineer, browser=browser)
        browser.post("/sign-in/second-factor/", {"code": code})
    assert (is_in(first), is_in(second)) == (True, False)


def test_a_recovery_code_stands_in_once(small_world: World) -> None:
    give_app(small_world.engineer)
    code = give_recovery_codes(small_world.engineer)[0]
    found = []
    for _ in range(2):
        browser = Client()
        sign_in(small_world.engineer, browser=browser)
        browser.post("/sign-in/second-factor/", {"code": code})
        found.append(is_in(browser))
    assert found == [True, False]


def test_an_app_is_set_up_with_the_password_again_and_its_first_code_and_removed(
    small_world: World, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    person, browser = small_world.engineer, Client()
    sign_in(person, browser=browser)
    assert browser.get("/account/second-factor/app/")["Location"].startswith("/account/again/")
    browser.post("/account/again/?next=/account/second-factor/app/", {"password": PASSWORD})
    shown = browser.get("/account/second-factor/app/").content.decode()
    assert "<svg" in shown
    secret = re.search(r'class="key">([A-Z2-7]+)<', shown)[1]
    wrong = browser.post("/account/second-factor/app/", {"code": "000000"})
    assert "does not fit" in words(wrong)
    with request_context(wrong.wsgi_request), django_capture_on_commit_callbacks(execute=True):
        answer = browser.post("/account/second-factor/app/", {"code": code_at(secret)})
    assert answer["Location"] == "/account/second-factor/recovery-codes/"
    assert len(re.findall(r"<li><code>", browser.get(answer["Location"]).content.decode())) == 10
    stored = Authenticator.objects.get(user=person, type="totp").data["secret"]
    assert secret not in stored, "a copy of the database alone shows no secret"
    assert [one.subject for one in mail.outbox] == ["An authenticator app was set up"], mail.outbox
    browser.post("/account/second-factor/app/remove/")
    assert not Authenticator.objects.filter(user=person).exists()
    said = AuditEntry.objects.filter(actor=person).values_list("action", flat=True)
    assert {"second_factor_added", "second_factor_removed"} <= set(said)


def test_a_project_asks_managers_and_refuses_one_without_until_enrolled(small_world: World) -> None:
    world, page = small_world, f"/p/{small_world.project.code}/"
    give_app(world.manager)
    change_settings(actor=world.manager, project=world.project, changes={"second_factor": "managers"})
    assert signed_in(world.manager).get(page).status_code == 200
    assert signed_in(world.engineer).get(page).status_code == 200
    Authenticator.objects.all().delete()
    refused = signed_in(world.manager).get(page)
    assert refused.status_code == 403
    assert ASK in words(refused)
    assert "/account/second-factor/" in refused.content.decode()
    give_app(world.manager)
    assert signed_in(world.manager).get(page).status_code == 200


def test_a_project_asks_everyone_in_pages_api_and_services_alike(small_world: World) -> None:
    world = small_world
    give_app(world.manager)
    change_settings(actor=world.manager, project=world.project, changes={"second_factor": "everyone"})
    assert signed_in(world.client).get(f"/p/{world.project.code}/").status_code == 403
    program = APIClient()
    program.force_authenticate(world.engineer)
    refused = program.get(f"/api/v1/projects/{world.project.code}/systems/")
    assert (refused.status_code, refused.data["type"]) == (403, "/problems/not-allowed")
    assert ASK in refused.data["detail"]
    with pytest.raises(SecondFactorNeeded):
        register_places.create_equipment(actor=world.engineer, system=world.system, tag="T1", kind="other")


def test_nobody_shuts_themselves_out_by_the_setting(small_world: World) -> None:
    with pytest.raises(InvalidInput) as refused:
        change_settings(actor=small_world.manager, project=small_world.project, changes={"second_factor": "everyone"})
    assert set(refused.value.fields) == {"second_factor"}
    with pytest.raises(NotAllowed):
        change_settings(actor=small_world.engineer, project=small_world.project, changes={"second_factor": "everyone"})


def test_a_signature_takes_the_password_or_the_code_and_nothing_else(small_world: World) -> None:
    person = small_world.engineer
    secret = give_app(person)
    check_password(signer=person, password=PASSWORD)
    check_password(signer=person, password=code_at(secret))
    for wrong in (code_at(secret), "000000", "", f"{PASSWORD} "):
        with pytest.raises(WrongSignature):
            check_password(signer=person, password=wrong)


def test_somebody_without_a_password_signs_with_the_code(small_world: World) -> None:
    person = small_world.engineer
    person.set_unusable_password()
    person.save()
    with pytest.raises(WrongSignature, match="set one up or set a password"):
        check_password(signer=person, password=PASSWORD)
    check_password(signer=person, password=code_at(give_app(person)))


def test_a_phone_left_on_a_bench_is_not_guessed_open(small_world: World) -> None:
    stage = small_world.stages[0]
    page, browser = f"/p/{small_world.project.code}/stages/{stage.pk}/accept/", signed_in(small_world.client)
    for _ in range(8):
        browser.post(page, {"password": "wrong"})
    assert "Too many wrong tries" in words(browser.post(page, {"password": PASSWORD}))


def test_a_token_needs_the_code_too(small_world: World) -> None:
    secret = give_app(small_world.engineer)
    body = {"username": small_world.engineer.username, "password": PASSWORD}

    def asked(**more: str) -> int:
        return APIClient().post("/api/v1/token/", {**body, **more}, format="json").status_code

    assert asked() == 403
    assert asked(code="000000") == 401
    assert asked(code=code_at(secret)) == 201
