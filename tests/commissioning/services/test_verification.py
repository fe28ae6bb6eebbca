"""Verify again: what changed is listed, a manager decides, and an accepted stage does not change by itself."""

from __future__ import annotations

import pytest

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import Equipment, Job, Procedure, Reading, VerificationChange, VerificationRun
from commissioning.rules.gate import acceptance_blockers, exceptions
from commissioning.selectors.facts import stage_facts
from commissioning.services import job_runs, procedures, readings, register, verification
from tests.support import lifecycle
from tests.support.world import World

pytestmark = pytest.mark.django_db

KIND = "mechanical_completion"


@pytest.fixture
def measured(small_world: World) -> Reading:
    """The air flow against hydrogen is enough for the battery on the register (54 cells, 200 Ah, boost)."""
    lifecycle.equip(small_world)
    lifecycle.isolate_all(small_world)
    lifecycle.do_stage(small_world, KIND)
    return Reading.objects.get(calculation="hydrogen_ventilation")


def change_the_nameplate(world: World, capacity: float) -> VerificationRun:
    battery = Equipment.objects.get(system=world.system, tag="B1")
    battery.nameplate = {**battery.nameplate, "capacity_ah": capacity}
    battery.save()
    run = verification.ask_verification(
        actor=world.manager,
        project=world.project,
        reason=f"B1 holds {capacity} Ah",
        scope={"system": str(world.system.pk)},
    )
    job_runs.run(Job.objects.get(verification_run=run).pk)
    run.refresh_from_db()
    return run


def test_a_changed_nameplate_asks_for_the_run_by_itself(small_world: World, measured: Reading) -> None:
    battery = Equipment.objects.get(system=small_world.system, tag="B1")
    register.change_equipment(actor=small_world.manager, equipment=battery, description="a new name")
    assert not VerificationRun.objects.exists()
    register.change_equipment(
        actor=small_world.manager, equipment=battery, nameplate={**battery.nameplate, "capacity_ah": 4000}
    )
    run = VerificationRun.objects.get()
    job_runs.run(run.job_id)
    assert ("capacity ah" in run.reason, [c.verdict for c in run.changes.all()]) == (True, ["reject"])


def test_a_changed_limit_of_a_done_line_is_judged_again(small_world: World, measured: Reading) -> None:
    procedure = Procedure.objects.get()
    line = procedure.lines.get(key="mc-150")
    limits = [{"output": "required_airflow", "lower": None, "upper": 1.0, "source": "project"}]
    procedures.edit_line(actor=small_world.manager, line=line, changes={"limits": limits})
    procedures.apply_procedure(actor=small_world.manager, system=small_world.system, procedure=procedure)
    run = VerificationRun.objects.get()
    job_runs.run(run.job_id)
    assert [change.reading for change in run.changes.all()] == [measured]


def test_nothing_changed_gives_an_empty_list(small_world: World, measured: Reading) -> None:
    run = change_the_nameplate(small_world, 200)
    assert (run.looked_at, run.changes.count()) == (Reading.objects.count(), 0)


def test_what_changed_is_listed_and_blocks_until_a_manager_decides(small_world: World, measured: Reading) -> None:
    # independent: 0.05·54·8·4000/1000 = 86.4 m³/h is more than the 60 m³/h measured
    (change,) = change_the_nameplate(small_world, 4000).changes.all()
    assert (change.reading, measured.verdict, change.verdict) == (measured, "accept", "reject")
    codes = [b.code for b in acceptance_blockers(stage_facts(stage=small_world.stage(KIND)))]
    assert codes == ["reading_changed"]
    assert Reading.objects.get(pk=measured.pk).verdict == "accept"


def test_confirmed_the_new_result_stands_beside_the_old(small_world: World, measured: Reading) -> None:
    (change,) = change_the_nameplate(small_world, 4000).changes.all()
    verification.decide_change(actor=small_world.manager, change=change, confirm=True)
    standing = Reading.objects.get(line=measured.line, superseded_at__isnull=True)
    assert (standing.verdict, standing.by, standing.inputs[-1]["typed"]) == (
        "reject",
        measured.by,
        measured.inputs[-1]["typed"],
    )
    assert Reading.objects.get(pk=measured.pk).superseded_by == standing
    measured.line.refresh_from_db()
    assert measured.line.state == "failed"


def test_kept_needs_a_reason_and_nothing_moves(small_world: World, measured: Reading) -> None:
    (change,) = change_the_nameplate(small_world, 4000).changes.all()
    with pytest.raises(InvalidInput):
        verification.decide_change(actor=small_world.manager, change=change, confirm=False)
    verification.decide_change(actor=small_world.manager, change=change, confirm=False, remark="register was wrong")
    assert acceptance_blockers(stage_facts(stage=small_world.stage(KIND))) == ()
    with pytest.raises(Conflict):
        verification.decide_change(actor=small_world.manager, change=change, confirm=True)


def test_an_accepted_stage_shows_an_exception_and_stays_accepted(small_world: World, measured: Reading) -> None:
    lifecycle.accept(small_world, KIND)
    (change,) = change_the_nameplate(small_world, 4000).changes.all()
    facts = stage_facts(stage=small_world.stage(KIND))
    assert (facts.state, [b.code for b in exceptions(facts)]) == ("accepted", ["reading_changed"])
    verification.decide_change(actor=small_world.manager, change=change, confirm=True)
    facts = stage_facts(stage=small_world.stage(KIND))
    assert (facts.state, [b.code for b in exceptions(facts)]) == ("accepted", ["reading_not_accepted"])


def test_an_engineer_decides_nothing(small_world: World, measured: Reading) -> None:
    (change,) = change_the_nameplate(small_world, 4000).changes.all()
    with pytest.raises(NotAllowed):
        verification.decide_change(actor=small_world.engineer, change=change, confirm=True)


def test_running_the_job_twice_lists_each_change_once(small_world: World, measured: Reading) -> None:
    run = change_the_nameplate(small_world, 4000)
    rows = list(Reading.objects.filter(pk=measured.pk))
    VerificationChange.objects.bulk_create(verification.changed_readings(run=run, readings=rows), ignore_conflicts=True)
    assert run.changes.count() == 1


def test_columns_and_single_rows_find_the_same_changes(small_world: World, measured: Reading) -> None:
    for airflow in range(60):
        readings.attach_reading(
            actor=small_world.engineer,
            equipment=Equipment.objects.get(system=small_world.system, tag="B1"),
            calculation="hydrogen_ventilation",
            typed={"airflow": str(airflow), "cells": "54", "capacity": "200", "chemistry": "vrla", "mode": "boost"},
        )
    rows = list(Reading.objects.filter(line__isnull=True).select_related("system__project", "equipment"))
    for row in rows[::7]:
        row.verdict = "accept" if row.verdict == "reject" else "reject"
    run = VerificationRun.objects.create(project=small_world.project, reason="compare", asked_by=small_world.manager)
    by_columns = {change.reading_id for change in verification.changed_readings(run=run, readings=rows)}
    singly = {c.reading_id for row in rows for c in verification.changed_readings(run=run, readings=[row])}
    assert by_columns == singly == {row.pk for row in rows[::7]}
