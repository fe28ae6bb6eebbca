"""Wrong tries: whoever guesses is slowed, and nobody can be shut out by somebody else's guessing."""

from __future__ import annotations

import re

import pytest
from django.core import mail
from django.core.cache import cache
from django.test import Client
from rest_framework.test import APIClient

from commissioning.models import User
from tests.support.factors import code_at, give_app, is_in, sign_in
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db
HERE, THERE = {"REMOTE_ADDR": "192.0.2.7"}, {"REMOTE_ADDR": "198.51.100.9"}
TOO_MANY = "Too many wrong tries from here"


@pytest.fixture(autouse=True)
def no_tries_yet(db: None) -> None:
    cache.clear()


def guess(user: User | str, times: int, *, browser: Client | None = None, **place: str) -> str:
    for _ in range(times):
        answer = sign_in(user, "wrong", browser=browser, **place)
    return answer.content.decode()


def test_eight_wrong_tries_make_that_place_wait_even_with_the_right_password(small_world: World) -> None:
    person = small_world.engineer
    assert TOO_MANY not in guess(person, 8, **HERE)
    assert TOO_MANY in guess(person, 1, **HERE)
    browser = Client()
    assert TOO_MANY in sign_in(person, browser=browser, **HERE).content.decode()
    assert not is_in(browser)


def test_the_person_signs_in_from_another_place_meanwhile(small_world: World) -> None:
    guess(small_world.engineer, 12, **HERE)
    browser = Client()
    sign_in(small_world.engineer, browser=browser, **THERE)
    assert is_in(browser)


def test_another_account_signs_in_from_the_same_place_meanwhile(small_world: World) -> None:
    guess(small_world.engineer, 12, **HERE)
    browser = Client()
    sign_in(small_world.manager, browser=browser, **HERE)
    assert is_in(browser)


def test_user_name_and_address_of_one_account_are_counted_together(small_world: World) -> None:
    guess(small_world.engineer, 4, **HERE)
    guess(small_world.engineer.email.upper(), 4, **HERE)
    assert TOO_MANY in guess(small_world.engineer, 1, **HERE)


def test_a_browser_that_was_in_before_is_not_held_up_by_a_neighbour_behind_the_same_router(small_world: World) -> None:
    known = Client()
    sign_in(small_world.engineer, browser=known, **HERE)
    known.post("/sign-out/")
    guess(small_world.engineer, 12, **HERE)
    sign_in(small_world.engineer, browser=known, **HERE)
    assert is_in(known)
    # It is limited all the same: a borrowed phone is no way around the limit.
    known.post("/sign-out/")
    assert TOO_MANY in guess(small_world.engineer, 9, browser=known, **HERE)


def test_the_mark_of_a_known_browser_opens_nothing_for_another_account(small_world: World) -> None:
    known = Client()
    sign_in(small_world.engineer, browser=known, **HERE)
    known.cookies[f"known-{small_world.manager.pk}"] = known.cookies[f"known-{small_world.engineer.pk}"].value
    known.post("/sign-out/")
    guess(small_world.manager, 8, **HERE)
    assert TOO_MANY in guess(small_world.manager, 1, browser=known, **HERE)


def test_guessing_over_many_accounts_from_one_place_is_slowed(small_world: World) -> None:
    for number in range(60):
        guess(f"nobody{number}", 1, **HERE)
    assert TOO_MANY in guess("nobody60", 1, **HERE)
    browser = Client()
    sign_in(small_world.engineer, browser=browser, **THERE)
    assert is_in(browser)


def test_right_tries_use_up_nothing(small_world: World) -> None:
    for _ in range(10):
        browser = Client()
        sign_in(small_world.engineer, browser=browser, **HERE)
        assert is_in(browser)


def test_a_held_up_place_has_a_mailed_way_in(small_world: World) -> None:
    person, browser = small_world.engineer, Client()
    guess(person, 12, **HERE)
    asked = browser.post("/sign-in/code/", {"email": person.email}, **HERE)
    assert asked["Location"].startswith("/sign-in/code/typed/")
    (sent,) = mail.outbox
    code = re.search(r"^\s*([A-Z0-9-]{6,})\s*$", sent.body, re.M)[1]
    browser.post("/sign-in/code/typed/", {"code": code}, **HERE)
    assert is_in(browser)


def attack(person: User) -> None:
    """Guesses from everywhere, more than the account's own person would make in a day."""
    for number in range(13):
        guess(person, 8, REMOTE_ADDR=f"203.0.113.{number}")


def test_an_account_that_everybody_guesses_at_asks_an_unknown_browser_for_a_mailed_code(small_world: World) -> None:
    person, known, unknown = small_world.engineer, Client(), Client()
    sign_in(person, browser=known, **HERE)
    known.post("/sign-out/")
    attack(person)
    answer = sign_in(person, browser=unknown, **THERE)
    assert answer["Location"] == "/sign-in/code/typed/"
    assert not is_in(unknown)
    (sent,) = mail.outbox
    assert sent.to == [person.email]
    code = re.search(r"^\s*([A-Z0-9-]{6,})\s*$", sent.body, re.M)[1]
    unknown.post("/sign-in/code/typed/", {"code": code}, **THERE)
    assert is_in(unknown)
    sign_in(person, browser=known, **HERE)
    assert is_in(known), "a known browser is asked for nothing more"


def test_a_token_is_given_under_the_same_limits(small_world: World) -> None:
    body = {"username": small_world.engineer.username, "password": "wrong"}
    codes = [APIClient().post("/api/v1/token/", body, format="json", **HERE).status_code for _ in range(9)]
    assert codes == [401] * 8 + [429]
    right = {**body, "password": PASSWORD}
    assert APIClient().post("/api/v1/token/", right, format="json", **HERE).status_code == 429
    assert APIClient().post("/api/v1/token/", right, format="json", **THERE).status_code == 201


def test_second_factors_are_not_guessed_without_end(small_world: World) -> None:
    secret, browser = give_app(small_world.engineer), Client()
    sign_in(small_world.engineer, browser=browser, **HERE)
    for _ in range(8):
        browser.post("/sign-in/second-factor/", {"code": "000000"}, **HERE)
    browser.post("/sign-in/second-factor/", {"code": code_at(secret)}, **HERE)
    assert not is_in(browser)
