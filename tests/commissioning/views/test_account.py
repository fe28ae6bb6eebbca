"""Signing in and out, and the way to one's projects."""

from __future__ import annotations

import pytest
from django.test import Client
from django.utils import timezone

from tests.commissioning.views.reading import main_words, signed_in, words
from tests.support.world import PASSWORD, World, make_member, make_project, make_user

pytestmark = pytest.mark.django_db


def _sign_in(browser: Client, username: str, password: str = PASSWORD, **more: str):
    return browser.post("/sign-in/", {"username": username, "password": password, **more})


def test_sign_in_keeps_the_page_that_was_asked_for(small_world: World) -> None:
    browser, page = Client(), f"/p/{small_world.project.code}/"
    asked = browser.get(page)
    assert asked["Location"] == f"/sign-in/?next={page}"
    assert f'name="next" value="{page}"' in browser.get(asked["Location"]).content.decode()
    assert _sign_in(browser, small_world.manager.username, next=page)["Location"] == page


def test_sign_in_never_leads_to_a_foreign_address(small_world: World) -> None:
    answer = _sign_in(Client(), small_world.manager.username, next="https://elsewhere.example/p/")
    assert answer["Location"] == "/"


def test_a_wrong_password_is_refused_in_words_and_the_name_stays(small_world: World) -> None:
    answer = _sign_in(Client(), small_world.manager.username, "wrong")
    assert "Not signed in" in words(answer)
    assert "ask a manager of your project" in words(answer)
    text = answer.content.decode()
    assert f'value="{small_world.manager.username}"' in text
    assert "wrong" not in text.split("<main")[1].split("<footer")[0].replace("field wrong", "")


def test_a_closed_account_cannot_sign_in(small_world: World) -> None:
    small_world.manager.is_active = False
    small_world.manager.save()
    browser = Client()
    assert _sign_in(browser, small_world.manager.username)["Location"] == "/sign-in/closed/"
    assert "Ask a manager" in words(browser.get("/sign-in/closed/"))
    assert browser.get("/")["Location"].startswith("/sign-in/")


def test_password_managers_know_the_fields(client: Client) -> None:
    text = client.get("/sign-in/").content.decode()
    assert 'autocomplete="username"' in text
    assert 'autocomplete="current-password"' in text


def test_signing_out_ends_the_session_and_needs_a_post(small_world: World) -> None:
    browser = signed_in(small_world.manager)
    assert browser.get("/sign-out/").status_code == 405
    assert browser.post("/sign-out/")["Location"] == "/sign-in/"
    assert browser.get("/")["Location"].startswith("/sign-in/")


def test_home_leads_to_the_only_project(small_world: World) -> None:
    assert signed_in(small_world.client).get("/")["Location"] == f"/p/{small_world.project.code}/"


def test_home_lists_several_projects(small_world: World) -> None:
    other = make_project(name="Ombrefell Water, outfalls")
    make_member(project=other.project, user=small_world.client, role="client")
    said = main_words(signed_in(small_world.client).get("/"))
    assert small_world.project.code in said
    assert "Ombrefell Water, outfalls" in said


def test_home_says_what_to_do_without_a_project(db: None) -> None:
    said = main_words(signed_in(make_user(username="nobody", name="Odo Fennimore")).get("/"))
    assert "You are not a member of any project" in said
    assert "nobody" in said


def test_a_project_that_was_left_is_not_listed(small_world: World) -> None:
    small_world.project.memberships.filter(user=small_world.client).update(left_at=timezone.now())
    browser = signed_in(small_world.client)
    assert small_world.project.code not in words(browser.get("/"))
    assert browser.get(f"/p/{small_world.project.code}/").status_code == 404


def test_the_password_is_changed_with_the_old_one(small_world: World) -> None:
    browser = signed_in(small_world.engineer)
    new = "Otter-under-lock-gate-77"
    wrong = {"old_password": "not it", "new_password1": new, "new_password2": new}
    assert browser.post("/password/", wrong).status_code == 200
    assert browser.post("/password/", {**wrong, "old_password": PASSWORD})["Location"] == "/account/"
    small_world.engineer.refresh_from_db()
    assert small_world.engineer.check_password(new)
    assert "Your password is changed" in words(browser.get("/account/"))
