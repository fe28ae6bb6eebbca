"""The register changed one thing at a time: permission, cleaning, keys, and the audit of each change."""

from __future__ import annotations

from uuid import uuid4

import pytest

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import AuditEntry, Equipment, Site, StageDependency, System
from commissioning.services import register
from tests.support import world

pytestmark = pytest.mark.django_db


def last_entry(w: world.World) -> AuditEntry:
    return AuditEntry.objects.filter(project=w.project).order_by("-sequence")[0]


def make_battery(w: world.World, **fields: object) -> Equipment:
    given = {"tag": "BAT1", "kind": "battery", "nameplate": {"cells": "24", "capacity_ah": "0,2 kAh"}}
    return register.create_equipment(actor=w.engineer, system=w.system, **{**given, **fields})


def test_a_site_is_added_once_however_often_it_is_sent(small_world: world.World) -> None:
    key = uuid4()
    given = {"actor": small_world.manager, "project": small_world.project, "code": "VXO", "id": key}
    first = register.create_site(name="Vexley Outfall", **given)
    assert register.create_site(name="Vexley Outfall", **given) == first
    assert last_entry(small_world).action == "site_added"
    assert Site.objects.filter(code="VXO").count() == 1
    with pytest.raises(Conflict):
        register.create_site(name="Vexley", **{**given, "code": "VX2"})


def test_fields_are_refused_by_name_all_at_once(small_world: world.World) -> None:
    with pytest.raises(InvalidInput) as refusal:
        register.create_site(
            actor=small_world.manager, project=small_world.project, code=" ", name="x" * 201, time_zone="Mars/Base"
        )
    assert set(refusal.value.fields) == {"code", "name", "time_zone"}


def test_a_code_that_is_taken_is_refused(small_world: world.World) -> None:
    with pytest.raises(InvalidInput) as refusal:
        register.create_site(actor=small_world.manager, project=small_world.project, code="QPS", name="Again")
    assert set(refusal.value.fields) == {"code"}


def test_field_engineers_add_equipment_but_no_systems(small_world: world.World) -> None:
    make_battery(small_world)
    with pytest.raises(NotAllowed):
        register.create_system(actor=small_world.engineer, site=small_world.site, tag="X", name="x", kind="lv_board")
    for stranger in (small_world.client, small_world.stranger):
        with pytest.raises(NotAllowed):
            register.create_equipment(actor=stranger, system=small_world.system, tag="Y")


def test_a_new_system_has_the_stages_of_its_kind(small_world: world.World) -> None:
    system = register.create_system(
        actor=small_world.manager, site=small_world.site, tag="QPS-LV1", name="Board", kind="lv_board"
    )
    kinds = list(system.stages.order_by("order").values_list("kind", flat=True))
    assert kinds == ["mechanical_completion", "pre_energisation", "energisation"]
    assert last_entry(small_world).system_id == system.pk


def test_a_system_changes_name_and_tag_and_the_audit_keeps_both(small_world: world.World) -> None:
    changed = register.change_system(actor=small_world.manager, system=small_world.system, tag="GUB11")
    assert (changed.tag, changed.name) == ("GUB11", small_world.system.name)
    assert last_entry(small_world).data == {"changes": {"tag": ["GUB10", "GUB11"]}}
    before = AuditEntry.objects.count()
    register.change_system(actor=small_world.manager, system=small_world.system, tag="GUB11")
    assert AuditEntry.objects.count() == before


def test_nameplate_entries_are_read_with_their_units_and_range(small_world: world.World) -> None:
    assert make_battery(small_world).nameplate == {"cells": 24, "capacity_ah": 200}
    with pytest.raises(InvalidInput) as refusal:
        make_battery(small_world, tag="BAT2", nameplate={"cells": "24 V", "capacity_ah": 99999, "colour": 1})
    assert set(refusal.value.fields) == {"cells", "capacity_ah", "colour"}


def test_a_new_tag_keeps_the_old_one(small_world: world.World) -> None:
    battery = make_battery(small_world)
    renamed = register.change_equipment(actor=small_world.engineer, equipment=battery, tag="BAT-A")
    back = register.change_equipment(actor=small_world.engineer, equipment=renamed, tag="BAT1")
    assert renamed.former_tags == ["BAT1"]
    assert back.former_tags == ["BAT-A"]


def test_equipment_is_never_part_of_itself(small_world: world.World) -> None:
    top = make_battery(small_world)
    below = make_battery(small_world, tag="BLOCK1", parent=top)
    with pytest.raises(InvalidInput) as refusal:
        register.change_equipment(actor=small_world.manager, equipment=top, parent=below)
    assert set(refusal.value.fields) == {"parent"}
    with pytest.raises(InvalidInput):
        register.change_equipment(actor=small_world.manager, equipment=top, parent=top)
    register.change_equipment(actor=small_world.manager, equipment=below, parent=None)


def test_a_serial_number_of_one_maker_is_on_one_tag(small_world: world.World) -> None:
    make_battery(small_world, serial_number="NC-1", maker="Harrowmere")
    with pytest.raises(InvalidInput) as refusal:
        make_battery(small_world, tag="BAT2", serial_number="nc-1", maker="harrowmere")
    assert set(refusal.value.fields) == {"serial_number"}
    make_battery(small_world, tag="BAT2", serial_number="NC-1", maker="Cobbledick")


def test_a_new_supply_is_not_recorded(small_world: world.World) -> None:
    supply = register.create_supply_point(
        actor=small_world.engineer, system=small_world.system, tag="Q1", kind="incomer"
    )
    assert supply.state == "not_recorded"
    changed = register.change_supply_point(actor=small_world.engineer, supply=supply, description="from LV1 way 6")
    assert (changed.tag, changed.state) == ("Q1", "not_recorded")
    with pytest.raises(InvalidInput):
        register.create_supply_point(actor=small_world.engineer, system=small_world.system, tag="Q1", kind="incomer")


def test_a_signal_point_belongs_to_a_stage_of_its_system(small_world: world.World) -> None:
    board = world.make_system(site=small_world.site, tag="QPS-LV1", kind="lv_board")
    given = {"actor": small_world.engineer, "system": board, "tag": "K1", "description": "trip"}
    with pytest.raises(InvalidInput) as refusal:
        register.create_signal_point(stage_kind="battery_connected", **given)
    assert set(refusal.value.fields) == {"stage_kind"}
    point = register.create_signal_point(**given)
    assert register.change_signal_point(actor=small_world.engineer, point=point, far_end="card 4").far_end == "card 4"


def test_an_instrument_and_its_ranges(small_world: world.World) -> None:
    meter = register.create_instrument(
        actor=small_world.engineer, project=small_world.project, serial_number=" MM-1 ", description="multimeter"
    )
    assert meter.serial_number == "MM-1"
    one = register.add_range(
        actor=small_world.engineer, instrument=meter, unit="V", upper="400", percent_of_reading="0,05 %", counts=2
    )
    assert (one.upper, one.percent_of_reading, one.resolution) == (400, 0.05, 0)
    assert register.change_range(actor=small_world.engineer, range=one, resolution=0.01).resolution == 0.01
    for wrong in ({"upper": 400}, {"upper": 0}, {"upper": 10, "counts": -1}):
        with pytest.raises(InvalidInput):
            register.add_range(actor=small_world.engineer, instrument=meter, unit="V", **wrong)


def test_a_dependency_that_closes_a_cycle_is_refused_in_words(small_world: world.World) -> None:
    board = world.make_system(site=small_world.site, tag="QPS-LV1", kind="lv_board")
    supply: System = small_world.system
    register.add_dependency(
        actor=small_world.manager, stage=supply.stages.get(order=3), requires=board.stages.get(order=3)
    )
    with pytest.raises(InvalidInput) as refusal:
        register.add_dependency(
            actor=small_world.manager, stage=board.stages.get(order=1), requires=supply.stages.get(order=4)
        )
    assert refusal.value.fields["requires"].startswith(
        "It would make a stage wait for itself: QPS-LV1 mechanical completion waits for GUB10 battery-connected"
    )
    assert StageDependency.objects.count() == 1


def test_a_dependency_is_added_once_and_removed_with_its_record_kept(small_world: world.World) -> None:
    board = world.make_system(site=small_world.site, tag="QPS-LV1", kind="lv_board")
    given = {"stage": small_world.stage("energisation"), "requires": board.stages.get(order=3)}
    first = register.add_dependency(actor=small_world.manager, **given)
    assert register.add_dependency(actor=small_world.manager, **given) == first
    with pytest.raises(NotAllowed):
        register.remove_dependency(actor=small_world.engineer, dependency=first)
    register.remove_dependency(actor=small_world.manager, dependency=first)
    register.remove_dependency(actor=small_world.manager, dependency=StageDependency(pk=first.pk, **given))
    assert not StageDependency.objects.exists()
    assert last_entry(small_world).action == "dependency_removed"


def test_a_stage_waits_only_for_another_system_of_its_project(small_world: world.World) -> None:
    other = world.make_project(tag="ELSE")
    for requires in (other.stage("energisation"), small_world.stage("mechanical_completion")):
        with pytest.raises(InvalidInput):
            register.add_dependency(
                actor=small_world.manager, stage=small_world.stage("energisation"), requires=requires
            )
