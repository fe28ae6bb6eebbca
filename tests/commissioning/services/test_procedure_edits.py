"""A line of the project's procedure gets its place, its calculation and its inputs; what cannot work is not saved."""

from __future__ import annotations

import pytest

from commissioning.errors import InvalidInput, NotAllowed
from commissioning.models import AuditEntry, CheckLine, Procedure
from commissioning.services import procedures
from commissioning.services.procedures import edit_line, place_line
from tests.support import lifecycle
from tests.support.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def copy(small_world: World) -> Procedure:
    return procedures.copy_procedure(actor=small_world.manager, project=small_world.project, key="dc_power_vrla")


def keys(copy: Procedure, stage: str = "energisation") -> list[str]:
    return list(copy.lines.filter(stage_kind=stage).order_by("order").values_list("key", flat=True))


def test_a_line_is_put_behind_another_and_at_the_head_of_its_stage(small_world: World, copy: Procedure) -> None:
    first, second, third, *rest = keys(copy)
    everything = {key for stage in ("mechanical_completion", "energisation") for key in keys(copy, stage)}
    place_line(actor=small_world.manager, line=copy.lines.get(key=first), after=third)
    assert keys(copy) == [second, third, first, *rest]
    place_line(actor=small_world.manager, line=copy.lines.get(key=rest[-1]), after="")
    assert keys(copy) == [rest[-1], second, third, first, *rest[:-1]]
    assert {key for stage in ("mechanical_completion", "energisation") for key in keys(copy, stage)} == everything
    orders = list(copy.lines.values_list("order", flat=True))
    assert len(set(orders)) == len(orders)
    copy.refresh_from_db()
    assert copy.revision == 3
    assert AuditEntry.objects.filter(action="procedure_edited").count() == 2


def test_a_place_that_is_its_own_already_is_no_edit(small_world: World, copy: Procedure) -> None:
    first, second, *_ = keys(copy)
    place_line(actor=small_world.manager, line=copy.lines.get(key=second), after=first)
    place_line(actor=small_world.manager, line=copy.lines.get(key=first), after="")
    copy.refresh_from_db()
    assert copy.revision == 1


def test_a_line_does_not_leave_its_stage(small_world: World, copy: Procedure) -> None:
    line = copy.lines.get(key=keys(copy)[0])
    for after in (keys(copy, "mechanical_completion")[0], "no-line", line.key):
        with pytest.raises(InvalidInput) as refused:
            place_line(actor=small_world.manager, line=line, after=after)
        assert list(refused.value.fields) == ["after"]
    with pytest.raises(NotAllowed):
        place_line(actor=small_world.engineer, line=line, after=keys(copy)[1])


def test_systems_get_the_new_order_when_it_is_laid_out_again(small_world: World) -> None:
    lifecycle.equip(small_world)
    copy = Procedure.objects.get()
    last = keys(copy, "mechanical_completion")[-1]
    place_line(actor=small_world.manager, line=copy.lines.get(key=last), after="")
    procedures.apply_procedure(actor=small_world.manager, system=small_world.system, procedure=copy)
    first = CheckLine.objects.filter(stage=small_world.stage("mechanical_completion")).order_by("order").first()
    assert first.key == last


def test_a_line_that_can_never_be_calculated_is_not_saved(small_world: World, copy: Procedure) -> None:
    line = copy.lines.filter(calculation="float_voltage").first()
    before = line.inputs
    wrong = {**before, "measured": {"kind": "measured", "label": "Float voltage", "unit": "Ω"}}
    for changes, field in (
        ({"inputs": wrong}, "inputs.measured.unit"),
        ({"inputs": {}}, "inputs.cells.kind"),
        ({"calculation": "no_such_thing"}, "calculation"),
        ({"limits": [{"output": "taste", "lower": 1, "source": "x"}]}, "limits.taste"),
    ):
        with pytest.raises(InvalidInput) as refused:
            edit_line(actor=small_world.manager, line=copy.lines.get(pk=line.pk), changes=changes)
        assert field in refused.value.fields
    line.refresh_from_db()
    assert (line.calculation, line.inputs) == ("float_voltage", before)


def test_a_line_of_the_projects_own_cannot_begin_with_what_cannot_be_calculated(
    small_world: World, copy: Procedure
) -> None:
    with pytest.raises(InvalidInput):
        procedures.add_line(
            actor=small_world.manager,
            procedure=copy,
            stage_kind="energisation",
            title="Own",
            calculation="ac_supply_tolerance",
        )
