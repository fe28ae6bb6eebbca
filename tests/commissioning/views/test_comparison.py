"""The same kind of system side by side, over the sites that the person may see."""

from __future__ import annotations

from datetime import datetime, timedelta
from statistics import median

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from commissioning.models import Reading, Role, Site, SystemKind
from commissioning.selectors.access import access_by_code
from commissioning.selectors.comparison import comparison
from punchlist.models import PunchItem
from punchlist.services.items import close_item, raise_item, rectify_item, send_back_item
from tests.commissioning.rules.made_up import crews
from tests.commissioning.views.plant import add_lines, add_systems
from tests.commissioning.views.reading import address, main_words, signed_in
from tests.support.history import write_history
from tests.support.world import World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db
VRLA = SystemKind.DC_POWER_VRLA


def compared(world: World, user: object = None) -> object:
    return comparison(access=access_by_code(user=user or world.manager, code=world.project.code), kind=VRLA)


def read(world: World, site: Site, tag: str, value: float, *, nominal: float = 48) -> Reading:
    """A standing reading of the float voltage on a system of its own."""
    system = make_system(site=site, tag=tag)
    system.nameplate = {"nominal_voltage": nominal}
    system.save()
    [line] = add_lines(system.stages.first(), 1)
    outputs = {"deviation": {"value": value, "unit": "%"}, "lower": {"value": 1.0, "unit": "V"}}
    return Reading.objects.create(
        project=world.project,
        system=system,
        line=line,
        calculation="ac_supply_tolerance",
        edition="1",
        verdict="accept",
        result={"outputs": outputs, "limits": [{"output": "deviation", "lower": -10.0, "upper": 10.0}]},
        by=world.engineer,
        taken_at=timezone.now(),
    )


def test_a_reading_outside_its_pack_is_named_with_its_site(small_world: World) -> None:
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    for place, value in enumerate((1.0, 1.1, 0.9, 1.2, 1.0, 0.8)):
        read(small_world, small_world.site, f"GUC{place}", value)
    far = read(small_world, elsewhere, "GUD7", 6.5)
    read(small_world, elsewhere, "GUE110", 30.0, nominal=110)  # of another nominal voltage: no pack of five
    superseded = read(small_world, elsewhere, "GUF9", 99.0)
    superseded.superseded_at = timezone.now()
    superseded.save()
    found = compared(small_world)
    [one] = found.outside
    assert (one.middle, one.nominal, len(one.values)) == (1.0, 48.0, 7)
    assert [(value.reading, value.site) for value in one.outside] == [(far.pk, "VOF")]
    said = main_words(signed_in(small_world.manager).get(address(small_world.project.code, "comparison")))
    assert "GUD7" in said
    assert "6.5 %" in said

    visitor = make_user(username="compares-one-site", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.CLIENT, sites=[small_world.site])
    of_one = compared(small_world, visitor)
    assert (of_one.sites, of_one.outside) == (1, ())


def test_companies_whose_items_come_back_stand_first_with_their_counts(small_world: World) -> None:
    def item(company: str, *, back: int) -> PunchItem:
        one = raise_item(
            actor=small_world.client,
            system=small_world.system,
            stage=small_world.stages[0],
            category="B",
            text="Label missing on way 7",
            at=timezone.now(),
            owes_company=company,
        )
        for _ in range(back):
            rectify_item(actor=small_world.engineer, item=one)
            send_back_item(actor=small_world.client, item=one, reason="Still missing.")
        rectify_item(actor=small_world.engineer, item=one)
        return one

    close_item(actor=small_world.client, item=item("Pellwick Electrical", back=0))
    item("Pellwick Electrical", back=2)
    for _ in range(3):
        item("Tarnholt Cabling", back=1)
    item("", back=1)  # nobody is named: it counts for nobody
    raise_item(
        actor=small_world.client,
        system=small_world.system,
        stage=small_world.stages[0],
        category="B",
        text="Not rectified yet",
        at=timezone.now(),
        owes_company="Pellwick Electrical",
    )
    found = {name: (one.count, one.of) for name, one in compared(small_world).companies}
    assert found == {"Tarnholt Cabling": (3, 3), "Pellwick Electrical": (1, 2)}
    assert next(iter(found)) == "Tarnholt Cabling"

    member = small_world.project.memberships.get(user=small_world.engineer)
    member.company = "Grebe Switchgear"
    member.save()
    assert dict(compared(small_world).companies)["Grebe Switchgear"].of == 1


def test_days_of_stages_and_before_lines_are_those_that_passed(small_world: World) -> None:
    gates = crews(2, sites=2, systems=6)
    write_history(small_world, gates, now=150.0, ends=timezone.now())
    found = compared(small_world)
    first = [one for one in gates if one.kind == "energisation" and one.passed <= 150.0]
    [slow] = [one for one in found.stages if one.words == "energisation"]
    assert slow.count == len(first)
    assert slow.days == pytest.approx(median(one.passed - one.free for one in first), abs=1e-6)
    by_site = {site: median(one.passed - one.free for one in first if one.site == site) for site in ("S0", "S1")}
    assert slow.longest_days == pytest.approx(max(by_site.values()), abs=1e-6)
    assert by_site[slow.longest_site] == max(by_site.values())
    assert list(found.stages) == sorted(found.stages, key=lambda one: -one.days)
    assert found.lines
    assert "What takes longest" in main_words(
        signed_in(small_world.manager).get(address(small_world.project.code, "comparison"))
    )


def test_without_systems_readings_or_items_the_page_says_what_belongs_there(small_world: World) -> None:
    url = address(small_world.project.code, "comparison")
    said = main_words(signed_in(small_world.manager).get(url))
    for words in ("It takes five of them", "once a gate of this kind of system has passed", "names who owes it"):
        assert words in said
    small_world.system.delete()
    assert "belong here" in main_words(signed_in(small_world.manager).get(url))


def test_queries_do_not_grow_with_the_systems() -> None:
    few, many = make_project(), make_project()
    ends: datetime = timezone.now() - timedelta(hours=1)
    write_history(few, crews(2, sites=2, systems=2), now=150.0, ends=ends)
    write_history(many, crews(3), now=150.0, ends=ends)
    add_systems(few, 1)
    counts = []
    for world in (few, many):
        browser = signed_in(world.manager)
        with CaptureQueriesContext(connection) as captured:
            assert browser.get(address(world.project.code, "comparison")).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]
