"""From file to register: what is planned is what is done, all of it or nothing, and doing it twice changes nothing."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from commissioning.errors import Conflict, NotAllowed
from commissioning.models import (
    AuditEntry,
    Calibration,
    Equipment,
    InstrumentRange,
    Role,
    Site,
    StageDependency,
    SupplyPoint,
    System,
)
from commissioning.register_import.apply import HasProblems, apply_plan, plan_import
from commissioning.register_import.plan import Plan
from commissioning.rules.stages import stage_plan
from commissioning.selectors.access import access_or_404
from commissioning.services.audit import first_broken_link
from punchlist.models import PunchItem
from tests.support import books, world

pytestmark = pytest.mark.django_db


def plan(w: world.World, sheets: Any = books.GOOD, *, name: str = "register.xlsx") -> Plan:
    file = sheets if isinstance(sheets, io.BytesIO) else books.xlsx(sheets)
    return plan_import(access=access_or_404(user=w.manager, project=w.project), file=file, name=name)


def apply(w: world.World, planned: Plan) -> Plan:
    return apply_plan(access=access_or_404(user=w.manager, project=w.project), plan=planned, name="register.xlsx")


def do(w: world.World, sheets: Any = books.GOOD) -> Plan:
    return apply(w, plan(w, sheets))


def counts(planned: Plan) -> tuple[int, int, int]:
    sheets = planned.sheets.values()
    return sum(len(s.added) for s in sheets), sum(len(s.changed) for s in sheets), sum(s.same for s in sheets)


def only_problem(planned: Plan) -> tuple[str, int, str]:
    assert len(planned.problems) == 1, [problem.words for problem in planned.problems]
    one = planned.problems[0]
    assert one.wrong
    assert one.right
    return one.sheet, one.row, one.column


def test_a_dry_run_counts_what_would_be_added_and_writes_nothing(small_world: world.World) -> None:
    entries = AuditEntry.objects.count()
    planned = plan(small_world)
    assert counts(planned) == (books.GOOD_ROWS, 0, 0)
    assert planned.can_apply
    assert System.objects.count() == 1
    assert AuditEntry.objects.count() == entries


def test_an_import_adds_everything_with_the_stages_of_each_kind(small_world: world.World) -> None:
    do(small_world)
    system = System.objects.get(tag="TTW-DC1")
    assert system.nameplate == {"nominal_voltage": 110, "cells": 92}
    assert tuple(system.stages.order_by("order").values_list("kind", flat=True)) == stage_plan("dc_power_nicd")
    board = System.objects.get(tag="TTW-LV1")
    assert tuple(board.stages.order_by("order").values_list("kind", flat=True)) == stage_plan("lv_board")
    module = Equipment.objects.get(tag="TTW-DC1-CH1-M1")
    assert module.parent is not None
    assert (module.parent.tag, module.kind, module.serial_number) == ("TTW-DC1-CH1", "rectifier_module", "R-9-1")
    assert Equipment.objects.get(tag="TTW-DC1-BAT1").nameplate == {"cells": 92, "capacity_ah": 100}
    dependency = StageDependency.objects.get()
    assert str(dependency) == "TTW-DC1 energisation needs TTW-LV1 energisation"
    assert InstrumentRange.objects.get().percent_of_reading == 0.05
    assert Calibration.objects.get().due_on.isoformat() == "2027-03-01"


def test_an_imported_supply_is_not_recorded_so_it_reads_live(small_world: world.World) -> None:
    do(small_world)
    assert set(SupplyPoint.objects.values_list("state", flat=True)) == {"not_recorded"}


def test_importing_twice_changes_nothing(small_world: world.World) -> None:
    do(small_world)
    entries = AuditEntry.objects.count()
    again = plan(small_world)
    assert counts(again) == (0, 0, books.GOOD_ROWS)
    assert again.changes_nothing
    apply(small_world, again)
    assert AuditEntry.objects.count() == entries
    assert PunchItem.objects.count() == 2


def test_a_changed_cell_shows_old_and_new_and_only_it_is_written(small_world: world.World) -> None:
    do(small_world)
    sheets = books.with_rows(
        {},
        Equipment=[["tag", "capacity", "maker", "serial number"], ["TTW-DC1-BAT1", "0,12 kAh", "(none)", None]],
    )
    planned = plan(small_world, sheets)
    (sheet,) = planned.summary()["sheets"]
    assert sheet["changed_rows"] == [
        {
            "row": 2,
            "label": "TTW-DC1-BAT1",
            "changes": [
                {"column": "capacity", "old": "100 Ah", "new": "120 Ah"},
                {"column": "maker", "old": "Harrowmere", "new": "(empty)"},
            ],
        }
    ]
    apply(small_world, planned)
    battery = Equipment.objects.get(tag="TTW-DC1-BAT1")
    assert battery.nameplate == {"cells": 92, "capacity_ah": 120}
    assert (battery.maker, battery.model, battery.serial_number) == ("", "HN-100", "NC-40117")


def test_an_empty_cell_leaves_what_is_recorded_alone(small_world: world.World) -> None:
    do(small_world)
    rows = [["tag", "system", "serial number", "model"], ["TTW-DC1-BAT1", "TTW-DC1", None, ""]]
    assert counts(plan(small_world, {"Equipment": rows})) == (0, 0, 1)


def test_one_bad_row_keeps_everything_out(small_world: world.World) -> None:
    rows = [*books.GOOD["Signal points"], ["TTW-DC1", "K4", "battery fuse", "sideways", None, None, None, 2]]
    planned = plan(small_world, books.with_rows(Signal_points=rows))
    assert only_problem(planned) == ("Signal points", 3, "direction")
    with pytest.raises(HasProblems) as refusal:
        apply(small_world, planned)
    assert "Signal points, row 3, direction" in refusal.value.words
    assert Site.objects.count() == 1


def test_all_problems_of_all_sheets_come_at_once(small_world: world.World) -> None:
    sheets = books.with_rows(
        Systems=[["tag", "site", "name", "kind"], ["TTW-DC1", "NOWHERE", None, "LV switchboard"]],
        Instruments=[["serial number", "description"], ["MM-1", None]],
    )
    found = {(problem.sheet, problem.column) for problem in plan(small_world, sheets).problems}
    assert found >= {
        ("Systems", "site"),
        ("Systems", "name"),
        ("Instruments", "description"),
        ("Stage dependencies", "requires system"),
        ("Instrument ranges", "serial number"),
        ("Calibrations", "serial number"),
        ("Snags", "system"),
    }


def test_a_reference_that_differs_only_in_capitals_is_suggested(small_world: world.World) -> None:
    rows = [["tag", "system"], ["B1", "gub 10"]]
    planned = plan(small_world, {"Equipment": rows})
    assert only_problem(planned) == ("Equipment", 2, "system")
    assert "did you mean 'GUB10'" in planned.problems[0].right


def test_the_same_thing_twice_in_one_workbook_is_a_problem(small_world: world.World) -> None:
    rows = [["tag", "system"], ["B1", "GUB10"], ["B1", "GUB10"]]
    assert only_problem(plan(small_world, {"Equipment": rows})) == ("Equipment", 3, "tag")


def test_a_kind_of_system_stays_once_its_stages_are_laid_out(small_world: world.World) -> None:
    rows = [["tag", "kind"], ["GUB10", "UPS"]]
    assert only_problem(plan(small_world, {"Systems": rows})) == ("Systems", 2, "kind")


def test_equipment_stays_in_the_system_that_holds_its_record(small_world: world.World) -> None:
    do(small_world)
    rows = [["tag", "system"], ["TTW-DC1-BAT1", "TTW-LV1"]]
    assert only_problem(plan(small_world, {"Equipment": rows})) == ("Equipment", 2, "system")


def test_equipment_cannot_be_part_of_itself_over_any_number_of_steps(small_world: world.World) -> None:
    do(small_world)
    rows = [["tag", "system", "parent"], ["TTW-DC1-CH1", "TTW-DC1", "X"], ["X", "TTW-DC1", "TTW-DC1-CH1-M1"]]
    planned = plan(small_world, {"Equipment": rows})
    assert only_problem(planned)[::2] == ("Equipment", "parent")
    assert "'TTW-DC1-CH1-M1' is part of 'TTW-DC1-CH1'" in planned.problems[0].wrong


def test_a_serial_number_on_two_tags_is_a_problem(small_world: world.World) -> None:
    do(small_world)
    rows = [["tag", "system", "serial number", "maker"], ["NEW", "TTW-DC1", "nc-40117", "Harrowmere"]]
    planned = plan(small_world, {"Equipment": rows})
    assert only_problem(planned) == ("Equipment", 2, "serial number")
    assert "former tags" in planned.problems[0].right
    rows[1][3] = "Cobbledick"
    assert plan(small_world, {"Equipment": rows}).can_apply


def test_a_new_tag_with_its_former_one_renames_and_keeps_the_record(small_world: world.World) -> None:
    do(small_world)
    was = Equipment.objects.get(tag="TTW-DC1-CH1").pk
    rows = [
        ["tag", "system", "former tags", "serial number", "maker", "parent"],
        ["TTW-DC1-G1", "TTW-DC1", "TTW-DC1-CH1", "R-9", "Cobbledick", None],
        ["TTW-DC1-CH1-M1", "TTW-DC1", None, None, None, "TTW-DC1-G1"],
    ]
    planned = plan(small_world, {"Equipment": rows})
    assert counts(planned) == (0, 1, 1)
    apply(small_world, planned)
    renamed = Equipment.objects.get(tag="TTW-DC1-G1")
    assert (renamed.pk, renamed.former_tags) == (was, ["TTW-DC1-CH1"])
    assert Equipment.objects.get(tag="TTW-DC1-CH1-M1").parent_id == was
    assert plan(small_world, {"Equipment": rows}).changes_nothing


def test_a_cycle_of_stages_is_refused_with_the_cycle_written_out(small_world: world.World) -> None:
    do(small_world)
    heads = ["system", "stage", "requires system", "requires stage"]
    rows = [heads, ["TTW-LV1", "mechanical completion", "TTW-DC1", "battery-connected"]]
    planned = plan(small_world, {"Stage dependencies": rows})
    assert only_problem(planned) == ("Stage dependencies", 2, "requires stage")
    assert planned.problems[0].wrong == (
        "it would make a stage wait for itself: TTW-LV1 mechanical completion waits for TTW-DC1 battery-connected, "
        "which waits for TTW-DC1 energisation, which waits for TTW-LV1 energisation, "
        "which waits for TTW-LV1 pre-energisation, which waits for TTW-LV1 mechanical completion"
    )


def test_a_stage_that_the_system_does_not_go_through_is_a_problem(small_world: world.World) -> None:
    heads = ["system", "stage", "requires system", "requires stage"]
    rows = [*books.GOOD["Stage dependencies"], ["TTW-LV1", "battery-connected", "TTW-DC1", "mechanical completion"]]
    assert rows[0] == heads
    planned = plan(small_world, books.with_rows(Stage_dependencies=rows))
    assert only_problem(planned) == ("Stage dependencies", 3, "stage")


def test_within_a_system_no_dependency_is_needed(small_world: world.World) -> None:
    heads = ["system", "stage", "requires system", "requires stage"]
    rows = [heads, ["GUB10", "energisation", "GUB10", "mechanical completion"]]
    assert only_problem(plan(small_world, {"Stage dependencies": rows}))[2] == "requires system"


def test_a_range_upside_down_and_a_calibration_due_before_it_was_done_are_problems(small_world: world.World) -> None:
    sheets = books.with_rows(
        Instrument_ranges=[["serial number", "unit", "lower", "upper"], ["MM-2207", "mA", 20, 4]],
        Calibrations=[["serial number", "calibrated on", "due on"], ["MM-2207", "2026-03-01", "2025-03-01"]],
    )
    found = [(problem.sheet, problem.column) for problem in plan(small_world, sheets).problems]
    assert found == [("Instrument ranges", "upper"), ("Calibrations", "due on")]


def test_a_withdrawn_calibration_is_not_added_again(small_world: world.World) -> None:
    do(small_world)
    Calibration.objects.update(withdrawn_at="2026-04-01T00:00Z", withdrawn_reason="dropped")
    again = plan(small_world, books.with_rows({}, Calibrations=books.GOOD["Calibrations"]))
    assert counts(again) == (0, 0, 1)


@pytest.mark.parametrize("who", ["engineer", "client", "stranger"])
def test_only_a_manager_imports(small_world: world.World, who: str) -> None:
    planned = plan(small_world)
    access = access_or_404(user=small_world.manager, project=small_world.project)
    user = getattr(small_world, who)
    with pytest.raises(NotAllowed):
        apply_plan(access=type(access)(access.project, user, Role.MANAGER, access.membership, None), plan=planned)
    assert Site.objects.count() == 1


def test_a_manager_of_some_sites_does_not_import(small_world: world.World) -> None:
    user = world.make_user(username="partial", name="Edda Quince")
    world.make_member(project=small_world.project, user=user, role=Role.MANAGER, sites=[small_world.site])
    access = access_or_404(user=user, project=small_world.project)
    with pytest.raises(NotAllowed, match="all the project's sites"):
        plan_import(access=access, file=books.xlsx(books.GOOD), name="x.xlsx")


def test_a_plan_that_would_now_do_something_else_is_not_carried_out(small_world: world.World) -> None:
    planned = plan(small_world)
    Site.objects.create(project=small_world.project, code="TTW", name="Somebody was quicker")
    with pytest.raises(Conflict):
        apply(small_world, planned)
    assert not System.objects.filter(tag="TTW-DC1").exists()


def test_a_plan_sent_twice_is_carried_out_once(small_world: world.World) -> None:
    planned = plan(small_world)
    digest = planned.digest
    apply(small_world, planned)
    again = apply(small_world, planned)
    assert again.changes_nothing
    assert planned.digest == digest
    assert PunchItem.objects.count() == 2


def test_what_changes_elsewhere_meanwhile_does_not_stop_a_plan(small_world: world.World) -> None:
    planned = plan(small_world)
    Site.objects.create(project=small_world.project, code="VXO", name="Vexley Outfall")
    apply(small_world, planned)
    assert Site.objects.count() == 3


def test_two_projects_do_not_see_each_other(small_world: world.World) -> None:
    other = world.make_project(tag="OTHER1")
    rows = [["tag", "system"], ["B1", "OTHER1"]]
    assert only_problem(plan(small_world, {"Equipment": rows})) == ("Equipment", 2, "system")
    do(small_world)
    do(other)
    assert System.objects.filter(tag="TTW-DC1").count() == 2


def test_one_audit_entry_names_every_object_and_the_chain_holds(small_world: world.World) -> None:
    do(small_world)
    do(small_world, {"Sites": [["code", "name"], ["TTW", "Tarnholt Works"]]})
    first, second = AuditEntry.objects.filter(action="register_imported").order_by("sequence")
    assert f"{books.GOOD_ROWS} added" in first.words
    labels = [one["label"] for one in first.data["sheets"]["equipment"]["added"]]
    assert labels == ["TTW-DC1-BAT1", "TTW-DC1-CH1", "TTW-DC1-CH1-M1"]
    changes = second.data["sheets"]["sites"]["changed"][0]["changes"]
    assert changes == {"name": ["Tarnholt Treatment Works", "Tarnholt Works"]}
    assert first_broken_link(small_world.project) is None


def test_queries_do_not_grow_with_the_rows(small_world: world.World) -> None:
    def queries(prefix: str, count: int) -> int:
        rows = [
            ["tag", "system", "serial number"],
            *([f"{prefix}{at}", "GUB10", f"{prefix}-{at}"] for at in range(count)),
        ]
        with CaptureQueriesContext(
            connection,
        ) as captured:
            do(small_world, {"Equipment": rows})
        return len(captured)

    assert queries("A", 3) == queries("B", 60)
