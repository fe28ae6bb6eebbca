"""Invitations by mail: made by a manager, opened once, withdrawn, sent again, lapsed."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core import mail
from django.test import Client, override_settings
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import AuditEntry, Invitation, Membership, User
from commissioning.services import invitations
from commissioning.services.projects import remove_member, set_member
from tests.commissioning.views.reading import signed_in, words
from tests.support.factors import is_in
from tests.support.world import World, make_member, make_project, make_user

pytestmark = pytest.mark.django_db
ADDRESS = "hollis@pellwick.example"
ACCOUNT = {
    "username": "hollis",
    "name": "Hollis Arden",
    "password": "Otter-under-lock-gate-77",
    "again": "Otter-under-lock-gate-77",
}


@pytest.fixture
def sent(django_capture_on_commit_callbacks: Callable[..., Any]) -> Callable[..., str]:
    """Run something that invites; answers with the link in the mail."""

    def run(act: Callable[[], Any]) -> str:
        before = len(mail.outbox)
        with django_capture_on_commit_callbacks(execute=True):
            act()
        (message,) = mail.outbox[before:]
        return re.search(r"http://\S+(/invitation/\S+)", message.body)[1]

    return run


@pytest.fixture
def link(small_world: World, sent: Callable[..., str]) -> str:
    return sent(lambda: invite(small_world))


def invite(world: World, **more: Any) -> Invitation:
    given = {"email": ADDRESS, "role": "field_engineer", "sites": [world.site], "company": "Pellwick", **more}
    return invitations.invite(actor=world.manager, project=world.project, **given)


def opened(link: str, browser: Client | None = None) -> Client:
    browser = browser or Client()
    assert browser.get(link)["Location"] == "/invitation/", "the address carries no key any more"
    return browser


def test_a_manager_invites_and_the_person_makes_an_account_with_the_place_that_was_given(
    small_world: World, sent: Callable[..., str]
) -> None:
    page = f"/p/{small_world.project.code}/invitations/new/"
    form = {"email": ADDRESS, "role": "field_engineer", "which_sites": "some", "sites": [str(small_world.site.pk)]}
    link = sent(lambda: signed_in(small_world.manager).post(page, form))
    assert mail.outbox[-1].to == [ADDRESS]
    browser = opened(link)
    said = words(browser.get("/invitation/"))
    assert small_world.project.name in said
    assert "Isolde Marrack invites you as field engineer, for QPS" in said
    assert browser.post("/invitation/", ACCOUNT)["Location"] == f"/p/{small_world.project.code}/"
    assert is_in(browser)
    person = User.objects.get(username="hollis")
    place = Membership.objects.get(user=person, project=small_world.project)
    assert (person.email, place.role, place.all_sites) == (ADDRESS, "field_engineer", False)
    assert list(place.sites.all()) == [small_world.site]
    actions = AuditEntry.objects.filter(project=small_world.project).values_list("action", flat=True)
    assert {"invited", "member_set", "invitation_accepted"} <= set(actions)


def test_the_link_opens_once(small_world: World, link: str) -> None:
    opened(link).post("/invitation/", ACCOUNT)
    assert Client().get(link).status_code == 410


def test_a_guessed_link_opens_nothing(small_world: World, link: str) -> None:
    for wrong in (link[:-3] + "xy/", link.replace(link.split("/")[2], str(small_world.project.pk))):
        assert Client().get(wrong).status_code == 410
    assert link.split("/")[3] not in str(list(Invitation.objects.values())), "what the link carries is not kept"


def test_somebody_who_has_an_account_joins_with_it(small_world: World, link: str) -> None:
    person = make_user(username="hollis", name="Hollis Arden")
    browser = opened(link, signed_in(person))
    assert browser.post("/invitation/")["Location"] == f"/p/{small_world.project.code}/"
    assert Membership.objects.filter(user=person, project=small_world.project).exists()


def test_an_address_that_signs_in_already_is_led_to_signing_in_and_makes_no_second_account(
    small_world: World, link: str
) -> None:
    User.objects.create_user(username="other", name="Hollis Arden", email=ADDRESS.upper(), password="x")
    browser = opened(link)
    assert "signs in with hollis@pellwick.example already" in words(browser.get("/invitation/"))
    assert browser.post("/invitation/", ACCOUNT).status_code == 422
    assert User.objects.filter(email__iexact=ADDRESS).count() == 1


def test_wrong_accounts_are_refused_beside_the_field(small_world: World, link: str) -> None:
    browser = opened(link)
    for change, said in (
        ({"again": "other"}, "The two passwords differ"),
        ({"password": "password1234", "again": "password1234"}, "too common"),
        ({"password": "Hollis-Arden", "again": "Hollis-Arden"}, "too similar"),
        ({"username": small_world.engineer.username.upper()}, "taken"),
        ({"username": "a b <i>"}, "Enter a valid username"),
    ):
        answer = browser.post("/invitation/", {**ACCOUNT, **change})
        assert (answer.status_code, said in words(answer)) == (422, True), words(answer)
    assert not User.objects.filter(email=ADDRESS).exists()


def test_a_withdrawn_and_a_lapsed_invitation_open_nothing(small_world: World, link: str) -> None:
    found, browser = Invitation.objects.get(), opened(link)
    Invitation.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    assert browser.get("/invitation/").status_code == 410
    Invitation.objects.update(expires_at=timezone.now() + timedelta(days=1))
    invitations.withdraw(actor=small_world.manager, invitation=found)
    assert browser.post("/invitation/", ACCOUNT).status_code == 410
    with pytest.raises(Conflict):
        invitations.send_again(actor=small_world.manager, invitation=found)


def test_sent_again_the_earlier_link_holds_no_more(small_world: World, link: str, sent: Callable[..., str]) -> None:
    page = f"/p/{small_world.project.code}/invitations/{Invitation.objects.get().pk}/again/"
    second = sent(lambda: signed_in(small_world.manager).post(page))
    assert Client().get(link).status_code == 410
    opened(second)


def test_members_page_lists_who_is_invited_to_managers_only(small_world: World, link: str) -> None:
    page = f"/p/{small_world.project.code}/members/"
    assert ADDRESS in words(signed_in(small_world.manager).get(page))
    assert ADDRESS not in words(signed_in(small_world.engineer).get(page))


def test_only_a_manager_of_every_site_invites(small_world: World) -> None:
    other = register_second_site(small_world)
    some = make_user(username="somesites", name="Odo Fennimore")
    make_member(project=small_world.project, user=some, role="manager", sites=[other])
    for person in (small_world.engineer, small_world.client, small_world.stranger, some):
        with pytest.raises(NotAllowed):
            invitations.invite(actor=person, project=small_world.project, email=ADDRESS, role="client")


def register_second_site(world: World) -> Any:
    from commissioning.services.register_places import create_site

    return create_site(actor=world.manager, project=world.project, code="VXO", name="Vexley Outfall")


@pytest.mark.parametrize(
    ("more", "field"),
    [
        ({"email": "not an address"}, "email"),
        ({"email": "a@b.example\nBcc: c@d.example"}, "email"),
        ({"role": "king"}, "role"),
        ({"role": "client", "authorised_person": True}, "authorised_person"),
    ],
)
def test_what_cannot_be_invited_is_refused(small_world: World, more: dict[str, Any], field: str) -> None:
    with pytest.raises(InvalidInput) as refused:
        invite(small_world, **more)
    assert set(refused.value.fields) == {field}


def test_sites_of_another_project_members_and_open_invitations_are_refused(small_world: World, link: str) -> None:
    for more in ({"sites": [make_project().site], "email": "x@y.example"}, {}, {"email": small_world.engineer.email}):
        with pytest.raises(InvalidInput):
            invite(small_world, **more)


def test_the_word_of_a_manager_who_left_opens_nothing(small_world: World, link: str) -> None:
    second = make_user(username="second-manager", name="Odo Fennimore")
    set_member(actor=small_world.manager, project=small_world.project, user=second, role="manager")
    remove_member(actor=second, membership=Membership.objects.get(user=small_world.manager))
    answer = opened(link).post("/invitation/", ACCOUNT)
    assert "does not manage this project any more" in words(answer)
    assert not User.objects.filter(email=ADDRESS).exists(), "no account without its place"


@override_settings(EMAIL_BACKEND="tests.support.mail.NoServer")
def test_a_mail_server_that_is_down_is_said_on_the_page(
    small_world: World, django_capture_on_commit_callbacks: Callable[..., Any]
) -> None:
    with django_capture_on_commit_callbacks(execute=True):
        invite(small_world)
    assert Invitation.objects.get().sent_at is None
    assert "not sent" in words(signed_in(small_world.manager).get(f"/p/{small_world.project.code}/members/"))
