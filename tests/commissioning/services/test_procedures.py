"""Procedures: copied, edited in the project, compared with a newer version, laid out on systems."""

from __future__ import annotations

import pytest

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import CheckLine, Procedure
from commissioning.services import lines, procedures, stages
from tests.support import lifecycle
from tests.support.world import World

pytestmark = pytest.mark.django_db


def copy(world: World, version: int | None = None) -> Procedure:
    return procedures.copy_procedure(actor=world.manager, project=world.project, key="dc_power_vrla", version=version)


def laid_out(world: World) -> list[CheckLine]:
    return list(
        CheckLine.objects.filter(stage__system=world.system, retired_at__isnull=True).order_by("stage__order", "order")
    )


def test_a_copy_is_the_bundled_procedure_line_by_line(small_world: World) -> None:
    procedure = copy(small_world)
    assert procedures.own_edits(procedure=procedure) == []
    assert procedures.compare_with_bundled(procedure=procedure) == []
    assert copy(small_world) == procedure


def test_a_newer_version_shows_what_differs_and_is_taken_over(small_world: World) -> None:
    procedure = copy(small_world, version=1)
    found = procedures.compare_with_bundled(procedure=procedure, version=2)
    assert found
    procedures.take_over_version(actor=small_world.manager, procedure=procedure, version=2)
    procedure.refresh_from_db()
    assert procedure.source_version == 2
    assert procedures.compare_with_bundled(procedure=procedure, version=2) == []


def test_a_line_of_the_projects_own_keeps_its_place_when_a_version_is_taken_over(small_world: World) -> None:
    procedure = copy(small_world, version=1)
    procedures.add_line(
        actor=small_world.manager, procedure=procedure, stage_kind="battery_connected", after="bc-190", title="Own line"
    )
    procedures.take_over_version(actor=small_world.manager, procedure=procedure, version=2)
    keys = list(procedure.lines.order_by("order").values_list("key", flat=True))
    assert keys[keys.index("own-001") - 1] == "bc-190"


def test_only_chosen_lines_are_taken_over(small_world: World) -> None:
    procedure = copy(small_world, version=1)
    found = {d.key for d in procedures.compare_with_bundled(procedure=procedure, version=2)}
    chosen = sorted(found)[0]
    procedures.take_over_version(actor=small_world.manager, procedure=procedure, version=2, keys=[chosen])
    left = {d.key for d in procedures.compare_with_bundled(procedure=procedure, version=2) if d.kind != "moved"}
    assert chosen not in left
    assert procedure.source_version == 1


def test_edits_are_kept_and_shown(small_world: World) -> None:
    procedure = copy(small_world)
    line = procedure.lines.get(key="en-110")
    procedures.edit_line(actor=small_world.manager, line=line, changes={"accept": "within 0.5 %"})
    procedures.add_line(
        actor=small_world.manager, procedure=procedure, stage_kind="energisation", after="en-110", title="Own line"
    )
    procedures.remove_line(actor=small_world.manager, line=procedure.lines.get(key="mc-140"), reason="no vented cells")
    assert {(d.kind, d.key) for d in procedures.own_edits(procedure=procedure)} == {
        ("changed", "en-110"),
        ("added", "own-001"),
        ("removed", "mc-140"),
    }


@pytest.mark.parametrize("person", ["engineer", "client", "stranger"])
def test_only_a_manager_edits(small_world: World, person: str) -> None:
    procedure = copy(small_world)
    with pytest.raises(NotAllowed):
        procedures.edit_line(
            actor=getattr(small_world, person), line=procedure.lines.first(), changes={"title": "other"}
        )


def test_modules_are_laid_out_first_as_master_then_each_following(small_world: World) -> None:
    lifecycle.equip(small_world)
    modules = [
        (line.key, line.equipment.tag)
        for line in laid_out(small_world)
        if line.equipment and line.equipment.kind == "rectifier_module"
    ]
    assert modules.index(("en-070", "T1-M1")) < modules.index(("en-080", "T1-M2"))
    assert ("en-080", "T1-M1") not in modules


def test_applying_twice_changes_nothing(small_world: World) -> None:
    lifecycle.equip(small_world)
    before = [(line.pk, line.key) for line in laid_out(small_world)]
    counts = procedures.apply_procedure(
        actor=small_world.manager, system=small_world.system, procedure=Procedure.objects.get()
    )
    assert (counts["added"], counts["changed"], counts["retired"]) == (0, 0, 0)
    assert [(line.pk, line.key) for line in laid_out(small_world)] == before


def test_a_line_that_carries_a_record_is_retired_not_lost(small_world: World) -> None:
    lifecycle.equip(small_world)
    lifecycle.isolate_all(small_world)
    stages.start_stage(actor=small_world.engineer, stage=small_world.stage("mechanical_completion"))
    line = CheckLine.objects.get(stage__system=small_world.system, key="mc-010")
    lines.record_result(actor=small_world.engineer, line=line, outcome="passed")
    procedure = Procedure.objects.get()
    procedures.remove_line(actor=small_world.manager, line=procedure.lines.get(key="mc-010"), reason="done elsewhere")
    procedures.apply_procedure(actor=small_world.manager, system=small_world.system, procedure=procedure)
    line.refresh_from_db()
    assert line.retired_at is not None
    assert line.results.count() == 1
    with pytest.raises(Conflict):
        lines.record_result(actor=small_world.engineer, line=line, outcome="passed")


def test_a_procedure_for_another_kind_is_refused(small_world: World) -> None:
    other = procedures.copy_procedure(actor=small_world.manager, project=small_world.project, key="ups")
    with pytest.raises(InvalidInput):
        procedures.apply_procedure(actor=small_world.manager, system=small_world.system, procedure=other)
