"""A system and a site as the template for another: structure and procedures, and nothing of the record."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.test import Client
from django.urls import reverse

from commissioning.errors import InvalidInput, NotAllowed
from commissioning.models import CheckLine, Equipment, Reading, Role, Site, StageDependency, SupplyState, System
from commissioning.rules.copying import new_names
from commissioning.services import dependencies, procedures, readings, register_places, register_points
from commissioning.services.copying import copy_site, copy_system
from punchlist.models import PunchItem
from tests.commissioning.views.run_plant import supply_line
from tests.punchlist.making import make_item
from tests.support.world import World, make_member, make_project, make_system, make_user


@pytest.fixture
def built(db: None) -> World:
    """A system with everything in it, at work; and a board that it waits for."""
    world = make_project(tag="QPS-GUB10")
    manager, system = world.manager, world.system
    register_places.change_system(actor=manager, system=system, nameplate={"nominal_voltage": "48 V"})
    system.refresh_from_db()
    cabinet = register_places.create_equipment(
        actor=manager, system=system, tag="QPS-GUB10-T1", kind="rectifier", serial_number="SN-1", maker="Pellwick"
    )
    register_places.create_equipment(
        actor=manager, system=system, tag="QPS-GUB10-T1-M1", kind="rectifier_module", parent=cabinet
    )
    register_points.create_supply_point(actor=manager, system=system, tag="QPS-GUB10-Q1", kind="incomer")
    register_points.create_signal_point(
        actor=manager, system=system, tag="K1", description="common alarm", equipment=cabinet
    )
    board = make_system(site=world.site, tag="QPS-BFA10", kind="lv_board", name="LV board")
    dependencies.add_dependency(
        actor=manager, stage=world.stage("energisation"), requires=board.stages.get(kind="energisation")
    )
    procedure = procedures.copy_procedure(actor=manager, project=world.project, key=system.kind)
    procedures.apply_procedure(actor=manager, system=system, procedure=procedure)
    stage = world.stage("mechanical_completion")
    stage.state = "started"
    stage.save()
    make_item(world)
    readings.record_reading(actor=world.engineer, line=supply_line(stage, key="own"), typed={"measured": "229"})
    return world


def structure(system: System, old: str, new: str) -> dict[str, list[object]]:
    """What is copied of a system, in the tags of another."""

    def told(text: str) -> str:
        return text.replace(old, new)

    lines = CheckLine.objects.filter(stage__system=system, retired_at__isnull=True).exclude(key="own")
    return {
        "self": [system.kind, system.nameplate],
        "stages": list(system.stages.order_by("order").values_list("kind", "order")),
        "equipment": [
            (told(one.tag), one.kind, one.maker, told(one.parent.tag) if one.parent else "")
            for one in system.equipment.order_by("tag")
        ],
        "supplies": [(told(one.tag), one.kind) for one in system.supplies.order_by("tag")],
        "signals": [
            (told(one.tag), one.stage_kind, told(one.equipment.tag) if one.equipment else "")
            for one in system.signals.all()
        ],
        "lines": sorted(
            (line.stage.kind, line.key, line.title, told(line.equipment.tag) if line.equipment else "")
            for line in lines.select_related("stage", "equipment")
        ),
    }


def test_a_site_is_copied_with_its_structure_and_none_of_its_record(built: World) -> None:
    manager, key = built.manager, uuid4()
    made = copy_site(actor=manager, site=built.site, code="NKR", name="Nackerly Pumping Station", id=key)
    assert made.pk == key
    assert copy_site(actor=manager, site=built.site, code="NKR", name="Nackerly Pumping Station", id=key) == made
    copy = System.objects.get(site=made, tag="NKR-GUB10")
    want, have = structure(built.system, "QPS", "NKR"), structure(copy, "QPS", "NKR")
    assert have == want
    assert len(want["lines"]) > 20
    assert set(made.systems.values_list("tag", flat=True)) == {"NKR-GUB10", "NKR-BFA10"}
    waits = StageDependency.objects.get(stage__system=copy)
    assert (waits.stage.kind, str(waits.requires)) == ("energisation", "NKR-BFA10 energisation")
    assert not Reading.objects.filter(system=copy).exists()
    assert not PunchItem.objects.filter(system=copy).exists()
    assert set(copy.equipment.values_list("serial_number", flat=True)) == {""}
    assert set(copy.stages.values_list("state", flat=True)) == {"not_started"}
    assert set(copy.supplies.values_list("state", flat=True)) == {SupplyState.NOT_RECORDED}
    assert set(CheckLine.objects.filter(stage__system=copy).values_list("state", flat=True)) == {"open"}


def test_a_copy_is_refused_whole_where_a_name_is_taken_or_nobody_may(built: World) -> None:
    manager, before = built.manager, (System.objects.count(), Equipment.objects.count())
    board = System.objects.get(tag="QPS-BFA10")
    Equipment.objects.create(project=built.project, system=board, tag="QPS-GUB20-T1")
    for tag, said in (
        ("QPS-BFA10", "is taken"),
        ("QPS-GUB20", "QPS-GUB20-T1 is taken"),
        ("QPS-GUB10", "keep its name"),
    ):
        with pytest.raises(InvalidInput, match=said):
            copy_system(actor=manager, system=built.system, site=built.site, tag=tag)
    here = make_user(username="here", name="Una Threlkeld")
    make_member(project=built.project, user=here, role=Role.MANAGER, sites=[built.site])
    elsewhere = Site.objects.create(project=built.project, code="VOF", name="Vexley Outfall")
    for person in (built.engineer, built.client, built.stranger):
        with pytest.raises(NotAllowed):
            copy_system(actor=person, system=built.system, site=built.site, tag="QPS-GUB30")
    with pytest.raises(NotAllowed):
        copy_system(actor=here, system=built.system, site=elsewhere, tag="QPS-GUB30")
    with pytest.raises(NotAllowed):
        copy_site(actor=here, site=built.site, code="NKR", name="Nackerly")
    assert (System.objects.count(), Equipment.objects.count() - 1) == before


def test_the_page_shows_the_names_first_and_makes_nothing_by_that(built: World) -> None:
    browser = Client()
    browser.force_login(built.manager)
    url = reverse("system-copy", args=[built.project.code, built.system.pk])
    given = {"site": built.site.pk, "tag": "QPS-GUB11", "name": "", "client_uuid": uuid4()}
    said = browser.post(url, {**given, "look": "yes"}).content.decode()
    assert "QPS-GUB11-T1-M1" in said
    assert not System.objects.filter(tag="QPS-GUB11").exists()
    answer = browser.post(url, given)
    made = System.objects.get(tag="QPS-GUB11")
    assert answer["Location"] == reverse("system", args=[built.project.code, made.pk])
    assert browser.post(url, given)["Location"] == answer["Location"], "pressed twice, copied once"
    assert System.objects.filter(tag__startswith="QPS-GUB11").count() == 1


def test_new_names_are_given_once_and_none_stays_as_it_was() -> None:
    found = new_names(["A-1", "B-1", "A-2", "a-3"], find="A", replace="C", taken={"c-2"})
    assert [(one.new, one.problem) for one in found] == [
        ("C-1", ""),
        ("B-1", "does not hold A, so it would keep its name"),
        ("C-2", "is taken"),
        ("a-3", "does not hold A, so it would keep its name"),
    ]
