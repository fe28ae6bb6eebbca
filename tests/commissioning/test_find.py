"""The search box: its index follows every change, and nobody finds what they may not see."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Page, expect

from commissioning.finding.index import differences, rebuild
from commissioning.finding.source import ENTRY, sources
from commissioning.models import Equipment, FindEntry, Reading, Role, Site, User
from commissioning.selectors.access import access_or_404
from commissioning.selectors.find import IN_A_GROUP, NEWEST, find
from commissioning.services import projects, readings
from punchlist.models import PunchItem
from tests.commissioning.views.run_plant import started, supply_line
from tests.punchlist.making import make_equipment, make_item
from tests.support.browser import sign_in
from tests.support.world import World, make_member, make_project, make_system, make_user


@pytest.fixture
def plant(small_world: World) -> World:
    """A rectifier with a snag and a reading on it, at the first of two sites."""
    world = small_world
    cabinet = make_equipment(world.system, "GUB10-T1")
    Equipment.objects.filter(pk=cabinet.pk).update(serial_number="SN-88213", former_tags=["R-7"], maker="Pellwick")
    make_item(world, equipment=cabinet, text="Gland plate left open, 50% of 'way 7' [north]\nsee the \"second\" note")
    line = supply_line(started(world), equipment=cabinet, title="Supply at the incomer")
    readings.record_reading(actor=world.engineer, line=line, typed={"measured": "229"})
    other = Site.objects.create(project=world.project, code="VOF", name="Vexley Outfall")
    far = make_system(site=other, tag="NKR20", name="Outfall charger")
    make_item(world, system=far, text="Breaker labelled wrongly")
    return world


def found(user: User, world: World, text: str, **more: str) -> dict[str, list[str]]:
    answer = find(access_or_404(user=user, project=world.project), text, **more)
    return {group.source.kind: [hit.title for hit in group.hits] for group in answer.groups}


def test_everything_is_found_by_what_it_is_called_and_what_it_says(plant: World) -> None:
    manager = plant.manager
    every = {"system": ["GUB10"], "equipment": ["GUB10-T1"], "reading": ["GUB10-T1"], "item": ["P-1"]}
    assert found(manager, plant, "gub10") == every
    assert found(manager, plant, "  GUB10   T1 ") == {kind: every[kind] for kind in ("equipment", "reading", "item")}
    for text in ("p-1", "gland open", "WAY 7", "50%", "[north]", '"second"', "note"):
        assert found(manager, plant, text) == {"item": ["P-1"]}, text
    for text in ("88213", "sn-88", "r-7", "pellwick"):
        assert found(manager, plant, text) == {"equipment": ["GUB10-T1"]}, text
    assert found(manager, plant, "incomer") == {"reading": ["GUB10-T1"]}
    assert found(manager, plant, "ac supply") == {"reading": ["GUB10-T1"]}
    assert found(manager, plant, "quillmarsh") == {"site": ["QPS"]}
    assert found(manager, plant, "ashgrove") == {"person": ["Tobin Ashgrove"]}
    for text in ("", "x", "_", "%%", "50_", "' OR 1=1 --", "\\", "(((", "nothing-like-this"):
        assert found(manager, plant, text) == {}, text


def test_a_slip_of_the_finger_finds_what_was_meant_and_says_so(plant: World) -> None:
    access = access_or_404(user=plant.manager, project=plant.project)
    for typed, meant in (("brekaer", "breaker"), ("glandd plaet", "gland plate"), ("gbu10-t1", "gub10-t1")):
        answer = find(access, typed)
        assert (answer.instead, bool(answer.groups)) == (meant, True), typed
    assert find(access, "breaker").instead == ""
    # Where the word stands on another site only, nobody there learns of it.
    here = make_user(username="here-only", name="Una Threlkeld")
    make_member(project=plant.project, user=here, role=Role.CLIENT, sites=[plant.site])
    assert find(access_or_404(user=here, project=plant.project), "brekaer").instead == ""


def test_nobody_finds_what_they_may_not_see(plant: World) -> None:
    browser, url = Client(), reverse("find", args=[plant.project.code])
    people = {role: make_user(username=f"only-{role}", name="Una Threlkeld") for role in Role.values}
    for role, person in people.items():
        make_member(project=plant.project, user=person, role=Role(role), sites=[plant.site])
    for person in (plant.manager, plant.engineer, plant.client):
        assert found(person, plant, "nkr20") == {"system": ["NKR20"], "item": ["P-2"]}
    for person in people.values():
        assert found(person, plant, "nkr20") == found(person, plant, "breaker") == found(person, plant, "vof") == {}
        assert found(person, plant, "gub10")["item"] == ["P-1"]
        browser.force_login(person)
        said = browser.get(url, {"q": "nkr20"}, headers={"HX-Request": "true"}).content.decode()
        assert "Nothing here says <b>nkr20</b>" in said
        assert "<html" not in said
    for stranger in (plant.stranger, make_project().manager):
        browser.force_login(stranger)
        assert browser.get(url, {"q": "gub10"}).status_code == 404
    # An index that is wrong shows nothing of it: the record decides.
    FindEntry.objects.filter(title="nkr20").update(site_id=plant.site.pk)
    assert found(people["client"], plant, "nkr20") == {}


def test_the_index_follows_every_change_and_is_rebuilt_the_same(plant: World) -> None:
    assert differences() == 0
    manager, cabinet = plant.manager, Equipment.objects.get(tag="GUB10-T1")
    cabinet.tag, cabinet.former_tags = "GUB10-R1", ["GUB10-T1"]
    cabinet.save()
    assert found(manager, plant, "gub10-t1")["equipment"] == ["GUB10-R1"]
    assert found(manager, plant, "gub10-r1")["reading"] == ["GUB10-R1"]
    PunchItem.objects.filter(number=1).update(text="Missing barrier", owes_company="Pellwick")
    assert found(manager, plant, "barrier") == {"item": ["P-1"]}
    plant.system.site = Site.objects.get(code="VOF")
    plant.system.tag = "GUC11"
    plant.system.save()
    manager.name = "Isolde Tregarth"
    manager.save()
    projects.remove_member(actor=manager, membership=plant.project.memberships.get(user=plant.client))
    Reading.objects.get().line.__class__.objects.update(title="Supply at the changeover")
    assert found(manager, plant, "changeover") == {"reading": ["GUB10-R1"]}
    readings.record_reading(actor=plant.engineer, line=Reading.objects.get().line, typed={"measured": "231"})
    assert found(manager, plant, "changeover") == {"reading": ["GUB10-R1"]}, "only the one that stands"
    PunchItem.objects.filter(number=2).delete()
    assert (found(manager, plant, "tregarth"), found(manager, plant, "lunn")) == ({"person": ["Isolde Tregarth"]}, {})
    assert found(manager, plant, "breaker") == {}
    assert differences() == 0
    call_command("find_rebuild", "--check")
    with connection.cursor() as cursor:
        cursor.execute(f"DELETE FROM {ENTRY} WHERE kind = 'item'")
    assert differences() == 1
    with pytest.raises(CommandError, match="1 entries differ"):
        call_command("find_rebuild", "--check")
    assert rebuild() == FindEntry.objects.count()
    assert differences() == 0
    assert found(manager, plant, "barrier") == {"item": ["P-1"]}


def test_more_than_a_group_holds_leads_to_a_page_of_that_kind(plant: World) -> None:
    many = [
        FindEntry(kind="item", record_id=uuid4(), project_id=plant.project.pk, title=f"p-{n}", words=f"p-{n} cable {n}")
        for n in range(NEWEST + 10)
    ]
    FindEntry.objects.bulk_create(many)  # they stand in the index alone, so none of them is shown
    made = [make_item(plant, text=f"Cable clamp loose on tray {n}") for n in range(IN_A_GROUP + 2)]
    newest = [item.label for item in reversed(made)]
    assert found(plant.manager, plant, "cable clamp")["item"] == newest[:IN_A_GROUP]
    assert found(plant.manager, plant, "clamp loose", kind="item")["item"] == newest
    assert found(plant.manager, plant, "gland plate")["item"] == ["P-1"], "older than the newest that are read through"
    browser = Client()
    browser.force_login(plant.engineer)
    said = browser.get(reverse("find", args=[plant.project.code]), {"q": "clamp"}).content.decode()
    assert "?q=clamp&amp;kind=item" in said
    assert {source.heading for source in sources()} >= {"Systems", "Equipment", "Readings", "Punch items", "People"}


def test_the_number_of_queries_is_bounded_whatever_is_found(
    plant: World, django_assert_max_num_queries: object
) -> None:
    access = access_or_404(user=plant.manager, project=plant.project)
    for typed in ("gub10", "gland", "brekaer", "nothing-like-this at-all"):
        with django_assert_max_num_queries(2 + len(sources()) + 8):  # type: ignore[operator]
            find(access, typed)


@pytest.mark.browser
def test_the_box_is_walked_by_keys_and_the_page_does_the_same(laptop_page: Page) -> None:
    world = make_project()
    cabinet = make_equipment(world.system, "GUB10-T1")
    make_item(world, equipment=cabinet)
    sign_in(laptop_page, world.engineer)
    laptop_page.goto(reverse("portfolio", args=[world.project.code]))
    laptop_page.keyboard.press("/")
    laptop_page.keyboard.type("gub10")
    hits = laptop_page.locator("[data-find-hits] a")
    expect(hits).to_have_count(3)
    laptop_page.keyboard.press("ArrowDown")
    expect(hits.nth(0)).to_be_focused()
    laptop_page.keyboard.press("ArrowDown")
    expect(hits.nth(1)).to_be_focused()
    laptop_page.keyboard.press("ArrowUp")
    laptop_page.keyboard.press("ArrowUp")
    expect(laptop_page.locator("[data-find-box]")).to_be_focused()
    laptop_page.keyboard.press("Escape")
    expect(laptop_page.locator("[data-find-hits]")).to_be_hidden()
    laptop_page.keyboard.type("-t1")
    expect(hits).to_have_count(2)
    laptop_page.keyboard.press("ArrowDown")
    laptop_page.keyboard.press("Enter")
    laptop_page.wait_for_url(f"**{reverse('tag', args=[world.project.code, cabinet.pk])}")
    laptop_page.keyboard.press("/")
    laptop_page.keyboard.type("gland")
    laptop_page.keyboard.press("Enter")
    laptop_page.wait_for_url("**/find/?q=gland")
    expect(laptop_page.get_by_role("main").get_by_role("link", name="P-1")).to_be_visible()
