"""Single sign-on by OpenID Connect, against a provider that runs as a process of its own."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import parse_qs, urlparse

import pytest
from allauth.socialaccount.models import SocialAccount
from django.core import mail
from django.test import Client

from commissioning.models import AuditEntry, Membership, User
from commissioning.services import invitations
from tests.commissioning.views.reading import signed_in, words
from tests.deploy.test_settings import SAFE, python
from tests.support.factors import code_at, give_app, is_in
from tests.support.oidc import consent, provider, settings_for
from tests.support.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with provider(tmp_path_factory.mktemp("oidc")) as running:
        yield running


@pytest.fixture(autouse=True)
def company(address: str, settings: Any) -> None:
    for name, value in settings_for(address).items():
        setattr(settings, name, value)


@pytest.fixture
def invited(small_world: World, django_capture_on_commit_callbacks: Callable[..., Any]) -> Client:
    """A browser in which the link of an invitation was opened."""
    with django_capture_on_commit_callbacks(execute=True):
        invitations.invite(
            actor=small_world.manager, project=small_world.project, email="h.arden@home.example", role="client"
        )
    browser = Client()
    browser.get(re.search(r"http://\S+(/invitation/\S+)", mail.outbox[-1].body)[1])
    return browser


def go(browser: Client, sub: str = "h-1", *, process: str = "") -> Any:
    """To the provider, yes there, and back; answers with the last page."""
    leave = browser.post(f"/sign-in/with/company/{process}", {"next": "/account/"})
    assert leave.status_code == 302, leave.content
    back = consent(leave["Location"], sub)
    return browser.get(back.removeprefix("http://testserver"), follow=True)


def test_the_button_stands_on_the_sign_in_page_and_leaves_only_by_post(address: str) -> None:
    assert 'action="/sign-in/with/company/"' in Client().get("/sign-in/").content.decode()
    leave = Client().post("/sign-in/with/company/")
    asked = parse_qs(urlparse(leave["Location"]).query)
    assert leave["Location"].startswith(address)
    assert asked["code_challenge_method"] == ["S256"]
    assert "openid" in asked["scope"][0]
    assert len(asked["state"][0]) >= 16
    assert Client().get("/sign-in/with/company/").status_code == 200, "a page with a button, no way on"
    assert Client().post("/sign-in/with/another/").status_code == 404


def test_nobody_gets_an_account_without_an_invitation() -> None:
    browser = Client()
    assert "Accounts are made by invitation" in words(go(browser))
    assert not is_in(browser)
    assert not User.objects.exists()


def test_whoever_was_invited_gets_an_account_and_the_place(small_world: World, invited: Client) -> None:
    go(invited)
    assert is_in(invited)
    person = User.objects.get(email="hollis@pellwick.example")
    assert (person.username, person.name, person.has_usable_password()) == ("hollis", "Hollis Arden", False)
    assert Membership.objects.get(user=person).role == "client"
    assert AuditEntry.objects.filter(actor=person, action="invitation_accepted").exists()
    # The second time no invitation is needed, and none is left.
    again = Client()
    go(again)
    assert is_in(again)
    assert User.objects.filter(email="hollis@pellwick.example").count() == 1


def test_an_address_that_the_provider_states_opens_nobodys_account(small_world: World, invited: Client) -> None:
    small_world.engineer.email = "Hollis@pellwick.example"
    small_world.engineer.save()
    answer = go(invited)
    assert (answer.status_code, "There is an account with this address" in words(answer)) == (409, True)
    assert not is_in(invited)


def test_somebody_signed_in_connects_their_company_account_and_comes_in_with_it(small_world: World) -> None:
    browser = signed_in(small_world.engineer)
    go(browser, "o-2", process="?process=connect")
    assert SocialAccount.objects.get(user=small_world.engineer).uid == "o-2"
    fresh = Client()
    go(fresh, "o-2")
    assert int(fresh.session["_auth_user_id"]) == small_world.engineer.pk


def test_the_second_factor_of_the_account_is_asked_for_all_the_same(small_world: World) -> None:
    SocialAccount.objects.create(user=small_world.engineer, provider="company", uid="o-2")
    secret, browser = give_app(small_world.engineer), Client()
    assert "Your second factor" in words(go(browser, "o-2"))
    assert not is_in(browser)
    browser.post("/sign-in/second-factor/", {"code": code_at(secret)})
    assert is_in(browser)


def test_an_answer_that_was_not_asked_for_is_refused(small_world: World, invited: Client) -> None:
    leave = invited.post("/sign-in/with/company/")
    back = consent(leave["Location"], "h-1").removeprefix("http://testserver")
    other = Client()
    assert "did not work" in words(other.get(back))
    forged = re.sub(r"state=[^&]+", "state=forged", back)
    assert "did not work" in words(invited.get(forged))
    assert not User.objects.filter(username="hollis").exists()


def test_an_id_token_that_another_key_signed_is_refused(
    address: str, small_world: World, invited: Client, tmp_path: Any, settings: Any
) -> None:
    with provider(tmp_path) as other:
        keys = {"openid_configuration_overrides": {"jwks_uri": f"{other}/jwks"}}
        settings.SOCIALACCOUNT_PROVIDERS = settings_for(address, **keys)["SOCIALACCOUNT_PROVIDERS"]
        assert "did not work" in words(go(invited))
    assert not is_in(invited)


def test_a_token_of_another_issuer_is_refused(address: str, small_world: World, invited: Client, settings: Any) -> None:
    issuer = {"openid_configuration_overrides": {"issuer": "https://elsewhere.example"}}
    settings.SOCIALACCOUNT_PROVIDERS = settings_for(address, **issuer)["SOCIALACCOUNT_PROVIDERS"]
    assert "did not work" in words(go(invited))
    assert not is_in(invited)


def test_leaving_at_the_provider_changes_nothing() -> None:
    """A provider says so by `error=access_denied` (RFC 6749, 4.1.2.1)."""
    browser = Client()
    (state,) = parse_qs(urlparse(browser.post("/sign-in/with/company/")["Location"]).query)["state"]
    back = browser.get(f"/sign-in/with/company/back/?error=access_denied&state={state}", follow=True)
    assert "You left the company" in words(back)


def test_a_provider_that_is_down_is_said_in_words(settings: Any) -> None:
    settings.SOCIALACCOUNT_PROVIDERS = settings_for("http://127.0.0.1:9")["SOCIALACCOUNT_PROVIDERS"]
    answer = Client().post("/sign-in/with/company/")
    assert (answer.status_code, "did not work" in words(answer)) == (502, True)


def test_it_is_set_up_by_the_environment_and_half_a_set_up_is_refused() -> None:
    see = "import deploy.settings as s; print(s.SOCIALACCOUNT_PROVIDERS['openid_connect']['APPS'][0]['client_id'])"
    half = python(see, TRACKER_OIDC_URL="https://id.ombrefell.example")
    assert "TRACKER_OIDC_CLIENT_ID" in half.stderr
    keys = {"TRACKER_OIDC_CLIENT_ID": "tracker", "TRACKER_OIDC_SECRET": "kept"}
    whole = python(see, **SAFE, **keys, TRACKER_OIDC_URL="https://id.ombrefell.example")
    assert whole.stdout.split() == ["tracker"], whole.stderr
