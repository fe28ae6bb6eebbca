"""Dates for which gates are planned come in and go out with the register workbook."""

from __future__ import annotations

import io
from datetime import date

import pytest

from commissioning.models import AuditEntry, Stage
from commissioning.register_import.apply import apply_plan, plan_import
from commissioning.register_import.export import export_register
from commissioning.register_import.plan import Plan
from commissioning.selectors.access import access_or_404
from tests.support import books
from tests.support.world import World

pytestmark = pytest.mark.django_db

HEADS = ["system", "stage", "planned for"]


def plan(world: World, *rows: list[object]) -> Plan:
    access = access_or_404(user=world.manager, project=world.project)
    return plan_import(access=access, file=books.xlsx({"Plan dates": [HEADS, *rows]}), name="plan.xlsx")


def test_dates_are_set_moved_and_taken_away_and_the_record_says_so(small_world: World) -> None:
    access = access_or_404(user=small_world.manager, project=small_world.project)
    first, second = small_world.stages[:2]
    rows = [["GUB10", "mechanical completion", date(2026, 9, 14)], ["GUB10", "pre-energisation", "2026-10-02"]]
    apply_plan(access=access, plan=plan(small_world, *rows))
    assert list(Stage.objects.filter(planned_for__isnull=False).order_by("order")) == [first, second]
    assert plan(small_world, *rows).changes_nothing

    moved = [["GUB10", "mechanical completion", "2026-09-21"], ["GUB10", "pre-energisation", "(none)"]]
    apply_plan(access=access, plan=plan(small_world, *moved, ["GUB10", "energisation", None]))
    assert list(Stage.objects.values_list("planned_for", flat=True).order_by("order"))[:3] == [
        date(2026, 9, 21),
        None,
        None,
    ]
    entry = AuditEntry.objects.filter(action="register_imported").order_by("-at").first()
    [one, other] = entry.data["sheets"]["plan_dates"]["changed"]
    assert one["changes"] == {"planned_for": ["2026-09-14", "2026-09-21"]}
    assert other["id"] == str(second.pk)

    out = io.BytesIO()
    export_register(access=access, out=out)
    out.seek(0)
    assert [row[:2] for row in books.cells(out)["Plan dates"][1:]] == [["GUB10", "mechanical completion"]]


def test_a_date_for_a_stage_that_is_not_there_or_no_date_is_a_problem(small_world: World) -> None:
    found = plan(
        small_world,
        ["GUB10", "energisation", "14/09/2026"],
        ["GUB99", "energisation", "2026-09-14"],
    )
    assert [(one.row, one.column) for one in found.problems] == [(2, "planned for"), (3, "system")]
