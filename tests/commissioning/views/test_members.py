"""Who is in a project: listed, added, changed, let go."""

from __future__ import annotations

import pytest
from django.db import connection
from django.http import HttpResponse
from django.test.utils import CaptureQueriesContext

from commissioning.models import Membership, Role, Site, User
from tests.commissioning.views.reading import address, links, main_words, signed_in, words
from tests.support.world import World, make_member, make_project, make_user

pytestmark = pytest.mark.django_db

#: Session, person, project, membership, members, their sites, projects.
BUDGET = 8


def _member(world: World, person: str) -> Membership:
    return Membership.objects.get(project=world.project, user=getattr(world, person))


def _url(world: World, person: str, *more: str) -> str:
    return address(world.project.code, "members", _member(world, person).pk, *more)


def test_members_are_listed_with_role_sites_and_company(small_world: World) -> None:
    said = main_words(signed_in(small_world.client).get(address(small_world.project.code, "members")))
    for expected in ("Isolde Marrack", "manager", "Tobin Ashgrove", "field engineer", "Perpetua Lunn", "every site"):
        assert expected in said
    assert "@" not in said, "addresses are for managers"
    assert "@ombrefell.example" in main_words(
        signed_in(small_world.manager).get(address(small_world.project.code, "members"))
    )


def test_somebody_is_added_by_user_name_or_address(small_world: World) -> None:
    make_user(username="newcomer", name="Edda Quill")
    other = make_user(username="second-newcomer", name="Bran Oakes")
    assert _post_member(small_world, "NewComer").status_code == 302
    assert _post_member(small_world, other.email.upper(), role="client", company="Ombrefell Water").status_code == 302
    found = Membership.objects.get(user=other)
    assert (found.role, found.company, found.all_sites) == ("client", "Ombrefell Water", True)


def _post_member(world: World, who: str, person: str = "manager", **given: object) -> HttpResponse:
    plain = {"role": "field_engineer", "which_sites": "all", "company": "", "who": who}
    return signed_in(getattr(world, person)).post(address(world.project.code, "members", "new"), {**plain, **given})


def test_who_cannot_be_found_or_told_apart_is_said_beside_the_field(small_world: World) -> None:
    unknown = _post_member(small_world, "<nobody>")
    assert unknown.status_code == 422
    assert "Nobody signs in with this." in words(unknown)
    assert 'value="&lt;nobody&gt;"' in unknown.content.decode()
    for name in ("one", "two"):
        User.objects.create_user(username=name, name=name, email="shared@ombrefell.example")
    assert "More than one person has this address." in words(_post_member(small_world, "shared@ombrefell.example"))
    member = _post_member(small_world, small_world.client.username, role="manager")
    assert "is a member already" in words(member)
    assert _member(small_world, "client").role == Role.CLIENT


def test_a_place_is_for_the_sites_ticked(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    url = _url(small_world, "engineer")
    none = signed_in(small_world.manager).post(url, {"role": "field_engineer", "which_sites": "some", "company": ""})
    assert "Tick at least one site" in words(none)
    given = {"role": "field_engineer", "which_sites": "some", "sites": [elsewhere.pk], "company": "Pellwick"}
    signed_in(small_world.manager).post(url, given)
    found = _member(small_world, "engineer")
    assert (found.all_sites, [site.code for site in found.sites.all()], found.company) == (False, ["VOF"], "Pellwick")
    theirs = make_project().site
    assert signed_in(small_world.manager).post(url, {**given, "sites": [theirs.pk]}).status_code == 422


def test_a_client_is_no_authorised_person(small_world: World) -> None:
    given = {"role": "client", "which_sites": "all", "authorised_person": "on", "company": ""}
    answer = signed_in(small_world.manager).post(_url(small_world, "client"), given)
    assert answer.status_code == 422
    assert "A client does not sign permissions to energise." in words(answer)


def test_the_last_manager_cannot_step_down_or_leave(small_world: World) -> None:
    browser = signed_in(small_world.manager)
    given = {"role": "client", "which_sites": "all", "company": ""}
    assert "needs at least one manager" in words(browser.post(_url(small_world, "manager"), given))
    assert browser.post(_url(small_world, "manager", "leave")).status_code == 409
    assert _member(small_world, "manager").left_at is None


def test_whoever_leaves_sees_nothing_any_more_and_can_be_let_back_in(small_world: World) -> None:
    manager, gone = signed_in(small_world.manager), signed_in(small_world.engineer)
    answer = manager.post(_url(small_world, "engineer", "leave"), follow=True)
    assert "Tobin Ashgrove left the project." in words(answer)
    assert "1 who left" in words(answer)
    assert gone.get(address(small_world.project.code)).status_code == 404
    assert "let them back in" in words(manager.get(_url(small_world, "engineer")))
    manager.post(_url(small_world, "engineer"), {"role": "field_engineer", "which_sites": "all", "company": ""})
    assert gone.get(address(small_world.project.code)).status_code == 200


def test_nobody_but_a_manager_changes_who_is_a_member(small_world: World) -> None:
    make_user(username="newcomer", name="Edda Quill")
    for person in ("engineer", "client"):
        browser = signed_in(getattr(small_world, person))
        page = browser.get(address(small_world.project.code, "members"))
        assert address(small_world.project.code, "members", "new") not in links(page)
        assert _post_member(small_world, "newcomer", person).status_code == 422
        told = _post_member(small_world, "no-such-name", person)
        assert "Nobody signs in with this" not in words(told), "who has an account is for managers to know"
        own = _url(small_world, person)
        browser.post(own, {"role": "manager", "which_sites": "all", "company": ""})
        assert browser.post(_url(small_world, "manager", "leave")).status_code == 403
    assert Membership.objects.filter(project=small_world.project, role=Role.MANAGER).count() == 1
    assert not Membership.objects.filter(user__username="newcomer").exists()


def test_a_stranger_finds_no_member(small_world: World) -> None:
    browser = signed_in(small_world.stranger)
    for url in (address(small_world.project.code, "members"), _url(small_world, "engineer")):
        assert browser.get(url).status_code == 404
    assert browser.post(_url(small_world, "engineer", "leave")).status_code == 404
    theirs = make_project()
    other = address(small_world.project.code, "members", _member(theirs, "engineer").pk)
    assert signed_in(small_world.manager).get(other).status_code == 404


def test_a_reader_of_one_site_is_not_told_of_the_others(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    visitor = make_user(username="visitor", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.CLIENT, sites=[small_world.site])
    make_member(
        project=small_world.project,
        user=small_world.engineer,
        role=Role.FIELD_ENGINEER,
        sites=[small_world.site, elsewhere],
    )
    said = main_words(signed_in(visitor).get(address(small_world.project.code, "members")))
    assert "QPS, and others" in said
    assert "VOF" not in said


def test_markup_in_a_name_stays_text(small_world: World) -> None:
    User.objects.filter(pk=small_world.engineer.pk).update(name="<b>Tobin</b>")
    for url in (address(small_world.project.code, "members"), _url(small_world, "engineer")):
        html = signed_in(small_world.manager).get(url).content.decode()
        assert "&lt;b&gt;Tobin&lt;/b&gt;" in html
        assert "<b>Tobin</b>" not in html


def _queries(world: World) -> int:
    browser = signed_in(world.manager)
    with CaptureQueriesContext(connection) as captured:
        assert browser.get(address(world.project.code, "members")).status_code == 200
    return len(captured)


def test_the_number_of_queries_does_not_grow_with_the_members() -> None:
    few, many = make_project(), make_project()
    for world, count in ((few, 5), (many, 50)):
        for number in range(count):
            user = make_user(username=f"{world.project.code}-{number}", name=f"Person {number}")
            sites = [world.site] if number % 2 else None
            make_member(project=world.project, user=user, role=Role.CLIENT, sites=sites)
    assert _queries(few) == _queries(many) <= BUDGET
