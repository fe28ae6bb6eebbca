"""Who sees a page: members do, a stranger finds nothing, and a member of one site finds only that site."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.test import Client
from django.utils import timezone

from commissioning.models import Role, Site
from commissioning.services.supplies import sign_permission
from tests.commissioning.views.plant import add_equipment, add_supply, energising
from tests.commissioning.views.reading import address, links, signed_in, words
from tests.support.world import PASSWORD, World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db

PEOPLE = ("manager", "engineer", "client")


@pytest.fixture
def pages(small_world: World) -> dict[str, str]:
    """Every page of the plant, by name."""
    stage = energising(small_world)
    system, code = small_world.system, small_world.project.code
    supply = system.supplies.get()
    equipment = add_equipment(system, "GUB10-T1", former_tags=["OLD-1"])
    permission = sign_permission(
        signed_by=small_world.manager,
        stage=stage,
        supplies=[supply],
        valid_until=timezone.now() + timedelta(hours=4),
        password=PASSWORD,
        precautions="Room barred off.",
    )
    return {
        "portfolio": address(code),
        "site": address(code, "sites", small_world.site.pk),
        "system": address(code, "systems", system.pk),
        "history": address(code, "systems", system.pk, "history"),
        "supplies": address(code, "systems", system.pk, "supplies"),
        "stage": address(code, "stages", stage.pk),
        "accept": address(code, "stages", stage.pk, "accept"),
        "withdraw": address(code, "stages", stage.pk, "withdraw"),
        "plan": address(code, "stages", stage.pk, "plan"),
        "permission-new": address(code, "stages", stage.pk, "permission"),
        "permission": address(code, "permissions", permission.pk),
        "permission-withdraw": address(code, "permissions", permission.pk, "withdraw"),
        "supply": address(code, "supplies", supply.pk),
        "isolate": address(code, "supplies", supply.pk, "isolate"),
        "release": address(code, "supplies", supply.pk, "release"),
        "tag": address(code, "tags", equipment.pk),
        "tag by name": address(code, "t", "GUB10-T1"),
        "former tag": address(code, "t", "OLD-1"),
    }


POSTS = ("accept", "withdraw", "plan", "permission-new", "permission-withdraw", "isolate", "release")


def test_each_role_reads_every_page(small_world: World, pages: dict[str, str]) -> None:
    for person in PEOPLE:
        browser = signed_in(getattr(small_world, person))
        answers = {name: browser.get(url, follow=True).status_code for name, url in pages.items()}
        assert answers == dict.fromkeys(pages, 200), person


def test_a_stranger_finds_nothing(small_world: World, pages: dict[str, str]) -> None:
    browser = signed_in(small_world.stranger)
    assert {browser.get(url).status_code for url in pages.values()} == {404}
    assert {browser.post(pages[name], {"password": PASSWORD}).status_code for name in POSTS} == {404}
    assert browser.post(pages["stage"] + "start/").status_code == 404


def test_nobody_signed_in_is_asked_to_sign_in(pages: dict[str, str]) -> None:
    for url in pages.values():
        assert Client().get(url)["Location"].startswith("/sign-in/?next=")


def test_the_manager_of_another_project_finds_nothing_under_either_code(pages: dict[str, str]) -> None:
    other = make_project()
    browser = signed_in(other.manager)
    for name, url in pages.items():
        assert browser.get(url).status_code == 404, name
        if name != "portfolio":
            code = url.split("/")[2]
            assert browser.get(url.replace(f"/p/{code}/", f"/p/{other.project.code}/")).status_code == 404, name


def test_a_member_of_one_site_finds_no_other_site(small_world: World, pages: dict[str, str]) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    make_system(site=elsewhere, tag="BUC10", name="Instrument supply")
    visitor = make_user(username="visitor", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.MANAGER, sites=[elsewhere])
    browser = signed_in(visitor)
    answers = {name: browser.get(url).status_code for name, url in pages.items()}
    assert answers == {**dict.fromkeys(pages, 404), "portfolio": 200}
    said = words(browser.get(pages["portfolio"]))
    assert "BUC10" in said
    assert "GUB10" not in said
    assert "Quillmarsh" not in said
    assert browser.post(pages["isolate"], {"lock_number": "L-1"}).status_code == 404


def test_what_does_not_exist_is_not_found(small_world: World) -> None:
    browser, code = signed_in(small_world.manager), small_world.project.code
    for room in ("sites", "systems", "stages", "supplies", "permissions", "tags"):
        assert browser.get(address(code, room, uuid4())).status_code == 404
    answer = browser.get(address(code, "t", "NO-SUCH-TAG"))
    assert answer.status_code == 404
    assert "There is no such page" in words(answer)


def test_every_link_of_every_page_leads_somewhere(small_world: World, pages: dict[str, str]) -> None:
    add_supply(small_world.system, tag="F1", kind="battery")
    browser = signed_in(small_world.manager)
    found: set[str] = set()
    for url in pages.values():
        found |= {link for link in links(browser.get(url, follow=True)) if link.startswith("/p/")}
    own = {link.split("?")[0].split("#")[0] for link in found if "/punch/" not in link}
    assert len(own) > 10
    broken = {link: status for link in own if (status := browser.get(link, follow=True).status_code) not in (200, 405)}
    assert broken == {}
