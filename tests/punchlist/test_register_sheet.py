"""Snags in the register workbook: raised once, found again by reference or words, exported while they are open."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.utils import timezone

from commissioning.models import Stage
from commissioning.register_import.apply import apply_plan, plan_import
from commissioning.register_import.export import export_register
from commissioning.register_import.plan import Plan
from commissioning.selectors.access import Access, access_or_404
from punchlist.models import ItemStep, PunchItem
from punchlist.services import items
from tests.support import books, world

pytestmark = pytest.mark.django_db

HEADS = ["reference", "system", "stage", "tag", "category", "text", "owes", "due on", "raised on"]


def access(w: world.World) -> Access:
    return access_or_404(user=w.manager, project=w.project)


def plan(w: world.World, *rows: list[Any]) -> Plan:
    return plan_import(access=access(w), file=books.xlsx({"Snags": [HEADS, *rows]}), name="snags.xlsx")


def do(w: world.World, *rows: list[Any]) -> None:
    apply_plan(access=access(w), plan=plan(w, *rows))


def snag(reference: str | None = "SN-004", text: str = "Label missing", category: str = "B", **more: Any) -> list[Any]:
    cells = {"reference": reference, "system": "GUB10", "category": category, "text": text, **more}
    return [cells.get(head.replace(" ", "_")) for head in HEADS]


def counts(planned: Plan) -> tuple[int, int, int]:
    (sheet,) = planned.sheets.values()
    return len(sheet.added), len(sheet.changed), sheet.same


def test_snags_are_numbered_after_those_there_and_keep_their_own_number(small_world: world.World) -> None:
    first = items.raise_item(
        actor=small_world.engineer, system=small_world.system, stage=small_world.stages[0], category="A", text="There"
    )
    do(small_world, snag(owes="Pellwick", due_on="2026-05-01", raised_on="2026-02-03"), snag(None, "Paint", "C"))
    two, three = PunchItem.objects.exclude(pk=first.pk).order_by("number")
    assert (two.label, three.label) == ("P-2", "P-3")
    assert (two.category, two.owes_company, str(two.due_on)) == ("B", "Pellwick", "2026-05-01")
    assert two.raised_at.date().isoformat() == "2026-02-03"
    raised = ItemStep.objects.get(item=two, step="raised")
    assert raised.changes["reference"] == "SN-004"
    after = items.raise_item(
        actor=small_world.engineer, system=small_world.system, stage=small_world.stages[0], category="A", text="Next"
    )
    assert after.label == "P-4"


def test_a_snag_without_a_stage_goes_to_the_first_that_is_not_accepted(small_world: world.World) -> None:
    Stage.objects.filter(pk=small_world.stages[0].pk).update(state="accepted")
    do(small_world, snag(), snag("SN-5", "Door", stage="energisation"))
    kinds = dict(PunchItem.objects.values_list("text", "stage__kind"))
    assert kinds == {"Label missing": "pre_energisation", "Door": "energisation"}


def test_found_again_by_reference_text_or_our_number(small_world: world.World) -> None:
    do(small_world, snag())
    assert counts(plan(small_world, snag())) == (0, 0, 1)
    assert counts(plan(small_world, snag(None))) == (0, 0, 1)
    assert counts(plan(small_world, snag("P-1"))) == (0, 0, 1)
    assert counts(plan(small_world, snag("SN-9"))) == (1, 0, 0)


def test_a_change_keeps_what_was_said_before(small_world: world.World) -> None:
    do(small_world, snag())
    do(small_world, snag(text="Label missing on F2", category="A", due_on="2026-06-01"))
    item = PunchItem.objects.get()
    assert (item.text, item.category) == ("Label missing on F2", "A")
    step = ItemStep.objects.get(item=item, step="changed")
    assert step.changes["category"] == ["B", "A"]
    assert step.changes["due_on"] == ["", "2026-06-01"]
    assert "owes_company" not in step.changes


def test_a_closed_snag_is_neither_raised_again_nor_exported(small_world: world.World) -> None:
    do(small_world, snag(), snag(None, "Paint"))
    PunchItem.objects.filter(text="Label missing").update(state="closed", closed_at=timezone.now())
    assert counts(plan(small_world, snag(category="A"), snag(None, "Paint"))) == (0, 0, 2)
    out = io.BytesIO()
    export_register(access=access(small_world), out=out)
    assert [row[5] for row in books.cells(out)["Snags"][1:]] == ["Paint"]


def test_an_open_snag_is_not_hidden_by_a_closed_one_with_the_same_words(small_world: world.World) -> None:
    do(small_world, snag("SN-1"))
    PunchItem.objects.update(state="closed", closed_at=timezone.now())
    do(small_world, snag("SN-2"))
    assert counts(plan(small_world, snag(None, category="A"))) == (0, 1, 0)


@pytest.mark.parametrize(
    ("row", "column"),
    [
        (snag("P-77"), "reference"),
        (snag(category="D"), "category"),
        (snag(system="NOWHERE"), "system"),
        (snag(tag="NOWHERE"), "tag"),
        (snag(due_on="soon"), "due on"),
        (snag(text=None), "text"),
        (snag(text="x" * 4001), "text"),
    ],
)
def test_bad_snags_say_where(small_world: world.World, row: list[Any], column: str) -> None:
    assert [problem.column for problem in plan(small_world, row).problems] == [column]


def test_a_snag_stays_on_its_system_and_equipment_belongs_to_it(small_world: world.World) -> None:
    other = world.make_system(site=small_world.site, tag="QPS-LV1", kind="lv_board")
    other.equipment.create(project=small_world.project, tag="LV1-Q1")
    do(small_world, snag())
    assert [one.column for one in plan(small_world, snag(system="QPS-LV1")).problems] == ["system"]
    assert [one.column for one in plan(small_world, snag("SN-9", tag="LV1-Q1")).problems] == ["tag"]
    late = snag("SN-9", system="QPS-LV1", stage="battery-connected")
    assert [one.column for one in plan(small_world, late).problems] == ["stage"]
