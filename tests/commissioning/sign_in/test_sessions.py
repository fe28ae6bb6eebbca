"""How long a session lasts, which ones there are, and ending them elsewhere."""

from __future__ import annotations

import re

import pytest
from allauth.usersessions.models import UserSession
from django.conf import settings
from django.core import mail
from django.test import Client

from commissioning.sign_in.sessions import BEGUN, ENDED, SEEN
from tests.commissioning.views.reading import signed_in, words
from tests.deploy.test_settings import SAFE, python
from tests.support.factors import is_in, sign_in
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db
NEW = "Otter-under-lock-gate-77"


def browser_of(world: World) -> Client:
    browser = Client()
    sign_in(world.engineer, browser=browser)
    return browser


def turn_back(browser: Client, *, begun: int = 0, seen: int = 0) -> None:
    """The session is as many seconds older, and was last used that long ago."""
    session = browser.session
    session[BEGUN] -= begun
    session[SEEN] -= seen
    session.save()


def test_the_stated_defaults_fit_a_shift_without_signal() -> None:
    assert settings.SESSION_COOKIE_AGE == 16 * 3600
    assert settings.SESSION_LONGEST == 7 * 24 * 3600


def test_an_idle_session_ends_and_says_so(small_world: World) -> None:
    browser, page = browser_of(small_world), f"/p/{small_world.project.code}/"
    turn_back(browser, begun=12 * 3600, seen=12 * 3600)
    assert browser.get(page).status_code == 200, "after a shift without signal it goes on"
    turn_back(browser, seen=16 * 3600 + 1)
    assert browser.get(page)["Location"] == f"/sign-in/?next={page}"
    assert ENDED in words(browser.get("/sign-in/"))


def test_a_busy_session_ends_too(small_world: World) -> None:
    browser = browser_of(small_world)
    turn_back(browser, begun=7 * 24 * 3600 + 1)
    assert browser.get("/account/")["Location"].startswith("/sign-in/")


def test_a_session_is_written_only_now_and_then(small_world: World) -> None:
    browser = browser_of(small_world)
    before = browser.session[SEEN]
    browser.get("/account/")
    assert browser.session[SEEN] == before
    turn_back(browser, seen=600)
    browser.get("/account/")
    assert browser.session[SEEN] >= before


def test_sessions_are_listed_and_one_is_ended_from_another(small_world: World) -> None:
    here, there = browser_of(small_world), Client(HTTP_USER_AGENT="A phone in the battery room")
    sign_in(small_world.engineer, browser=there)
    page = here.get("/account/sessions/").content.decode()
    assert "A phone in the battery room" in page
    assert page.count("this one") == 1
    key = UserSession.objects.get(user_agent="A phone in the battery room").pk
    here.post("/account/sessions/", {"one": key})
    assert there.get("/account/")["Location"].startswith("/sign-in/")
    assert here.get("/account/").status_code == 200


def test_nobody_ends_the_session_of_somebody_else(small_world: World) -> None:
    theirs, mine = browser_of(small_world), signed_in(small_world.stranger)
    mine.post("/account/sessions/", {"one": UserSession.objects.get(user=small_world.engineer).pk})
    mine.post("/account/sessions/")
    assert theirs.get("/account/").status_code == 200


@pytest.mark.parametrize(("asked", "left"), [({}, 1), ({"tokens": "on"}, 0)])
def test_everywhere_else_is_signed_out_and_tokens_go_when_asked(small_world: World, asked: dict, left: int) -> None:
    here, there = browser_of(small_world), browser_of(small_world)
    small_world.engineer.auth_token_set.model.objects.create(user=small_world.engineer)
    here.post("/account/sessions/", asked)
    assert there.get("/account/")["Location"].startswith("/sign-in/")
    assert here.get("/account/").status_code == 200
    assert small_world.engineer.auth_token_set.count() == left


def test_a_changed_password_ends_other_sessions_and_tokens_and_is_mailed(small_world: World) -> None:
    here, there = browser_of(small_world), browser_of(small_world)
    small_world.engineer.auth_token_set.model.objects.create(user=small_world.engineer)
    here.post("/password/", {"old_password": PASSWORD, "new_password1": NEW, "new_password2": NEW})
    assert there.get("/account/")["Location"].startswith("/sign-in/")
    assert here.get("/account/sessions/").content.decode().count("this one") == 1
    assert not small_world.engineer.auth_token_set.exists()
    assert [one.to for one in mail.outbox] == [[small_world.engineer.email]]


def test_a_lost_password_is_set_anew_by_mail_once(small_world: World) -> None:
    person, elsewhere, browser = small_world.engineer, browser_of(small_world), Client()
    person.auth_token_set.model.objects.create(user=person)
    unknown = browser.post("/password/lost/", {"email": "nobody@ombrefell.example"})
    known = browser.post("/password/lost/", {"email": person.email})
    assert unknown["Location"] == known["Location"] == "/password/lost/sent/"
    (sent,) = mail.outbox
    link = re.search(r"http://testserver(/password/lost/\S+)", sent.body)[1]
    form = browser.get(link)["Location"]
    assert link not in form, "the form's address carries no key"
    weak = browser.post(form, {"password1": "password", "password2": "password"})
    assert "too short" in words(weak)
    assert browser.post(form, {"password1": NEW, "password2": NEW})["Location"] == "/password/lost/done/"
    assert elsewhere.get("/account/")["Location"].startswith("/sign-in/")
    assert not person.auth_token_set.exists()
    assert "does not hold any more" in words(Client().get(link))
    fresh = Client()
    sign_in(person, NEW, browser=fresh)
    assert is_in(fresh)


def test_an_ended_session_tells_no_page_to_a_client_of_the_api(small_world: World) -> None:
    browser = browser_of(small_world)
    turn_back(browser, begun=8 * 24 * 3600)
    assert browser.get("/api/v1/projects/").status_code == 401


SEE = (
    "import deploy.settings as s; "
    "print(s.SESSION_COOKIE_AGE, s.SESSION_LONGEST, s.SESSION_COOKIE_NAME, s.SESSION_COOKIE_SECURE)"
)


def test_the_environment_sets_both_limits_and_production_locks_the_cookies() -> None:
    found = python(SEE, **{**SAFE, "TRACKER_SESSION_IDLE_HOURS": "2", "TRACKER_SESSION_HOURS": "12"})
    assert found.stdout.split() == ["7200", "43200", "__Host-session", "True"], found.stderr


def test_limits_that_end_never_or_at_once_are_refused_at_start() -> None:
    for value in ("0", "-1", "soon", "100000"):
        assert "TRACKER_SESSION_HOURS" in python(SEE, TRACKER_SESSION_HOURS=value).stderr, value
