"""Changed readings decided together: one transaction, one lock each, every decision in the audit log."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import AuditEntry, LineState, Reading, Role, Site, VerificationRun
from commissioning.selectors.verification import change_counts
from commissioning.services import verification
from commissioning.services.audit import first_broken_link
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.readings import record_reading
from tests.commissioning.views.run_plant import SUPPLY_INPUTS, meter, started, supply_line
from tests.support.world import World, make_member, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def run_of(small_world: World) -> Callable[..., VerificationRun]:
    """A run that found readings changed: 207.5 V leaves a tolerance of 5 %, 225 V stays in it with other limits."""

    def made(volts: list[str], *, with_meter: bool = False) -> VerificationRun:
        stage = small_world.stage("mechanical_completion")
        stage = stage if stage.state == "started" else started(small_world)
        instruments = {"": meter(small_world, serial=f"MM-{stage.lines.count()}")} if with_meter else {}
        for typed in volts:
            line = supply_line(stage)
            given = {"actor": small_world.engineer, "line": line, "instruments": instruments}
            record_reading(**given, typed={"measured": typed})
            line.inputs = {**SUPPLY_INPUTS, "tolerance": {"kind": "value", "value": 5}}
            line.save()
        run = verification.ask_verification(
            actor=small_world.engineer, project=small_world.project, reason=f"Tolerance is 5 %, {len(volts)}"
        )
        rows = list(verification.readings_in_scope(run).order_by("recorded_at"))
        for change in verification.changed_readings(run=run, readings=rows):
            change.save()
        return run

    return made


def test_all_are_taken_over_at_once_and_each_is_audited(
    small_world: World, run_of: Callable[..., VerificationRun]
) -> None:
    run = run_of(["207.5", "208", "225"], with_meter=True)
    done = verification.decide_changes(
        actor=small_world.manager, run=run, changes=None, confirm=True, remark="agreed", expected=3
    )
    standing = Reading.objects.filter(superseded_at__isnull=True).order_by("line__order")
    # independent: 207.5 V and 208 V are 9.8 % and 9.6 % below 230 V, 225 V is 2.2 % below
    assert (done, [one.verdict for one in standing]) == (3, ["reject", "reject", "accept"])
    assert [one.line.state for one in standing] == [LineState.FAILED, LineState.FAILED, LineState.PASSED]
    for new in standing:
        (old,) = new.supersedes.all()
        assert list(new.instruments.all()) == list(old.instruments.all()) != []
        assert new.from_verification.reading == old
        assert (new.by, new.taken_at, new.inputs[0]["typed"]) == (old.by, old.taken_at, old.inputs[0]["typed"])
    entries = AuditEntry.objects.filter(action="verification_decided")
    assert {entry.object_id for entry in entries} == {str(pk) for pk in run.changes.values_list("reading", flat=True)}
    assert first_broken_link(small_world.project) is None


def test_one_decision_takes_as_many_queries_for_thirty_as_for_three(
    small_world: World, run_of: Callable[..., VerificationRun]
) -> None:
    counts = []
    for volts in (["207.5"] * 3, ["207.5"] * 30):
        run = run_of(volts, with_meter=True)
        waiting = [change.pk for change in run.changes.filter(reading__superseded_at__isnull=True)]
        with CaptureQueriesContext(connection) as queries:
            verification.decide_changes(
                actor=small_world.manager, run=run, changes=waiting[-len(volts) :], confirm=True
            )
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_kept_needs_one_reason_and_moves_nothing(small_world: World, run_of: Callable[..., VerificationRun]) -> None:
    run = run_of(["207.5", "208"])
    with pytest.raises(InvalidInput):
        verification.decide_changes(actor=small_world.manager, run=run, changes=None, confirm=False, remark=" ")
    verification.decide_changes(
        actor=small_world.manager, run=run, changes=None, confirm=False, remark="the tolerance was mistyped"
    )
    assert {(c.confirmed, c.remark) for c in run.changes.all()} == {(False, "the tolerance was mistyped")}
    assert Reading.objects.count() == 2


def test_only_those_whose_numbers_changed_are_taken(small_world: World, run_of: Callable[..., VerificationRun]) -> None:
    run = run_of(["207.5", "225"])
    access = require(actor=small_world.manager, project=small_world.project, roles=MANAGERS, site=None, to="look")
    assert change_counts(run, access).waiting == {"": 2, "verdict": 1, "numbers": 1}
    verification.decide_changes(actor=small_world.manager, run=run, changes=None, confirm=True, kind="numbers")
    assert [c.reading.inputs[0]["typed"] for c in run.changes.filter(decided_at__isnull=True)] == ["207.5"]


def test_all_or_none_of_those_ticked(small_world: World, run_of: Callable[..., VerificationRun]) -> None:
    run = run_of(["207.5", "208"])
    first, second = run.changes.all()
    verification.decide_change(actor=small_world.manager, change=first, confirm=True)
    with pytest.raises(Conflict):
        verification.decide_changes(actor=small_world.manager, run=run, changes=[first.pk, second.pk], confirm=True)
    with pytest.raises(Conflict):
        verification.decide_changes(actor=small_world.manager, run=run, changes=None, confirm=True, expected=2)
    second.refresh_from_db()
    assert second.decided_at is None


def test_a_manager_of_another_site_and_an_engineer_decide_nothing(
    small_world: World, run_of: Callable[..., VerificationRun]
) -> None:
    run = run_of(["207.5", "208"])
    with pytest.raises(NotAllowed):
        verification.decide_changes(actor=small_world.engineer, run=run, changes=None, confirm=True)
    other = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    elsewhere = make_user(username="fenn", name="Osric Fenn")
    make_member(project=small_world.project, user=elsewhere, role=Role.MANAGER, sites=[other])
    for changes in (None, [run.changes.first().pk]):
        with pytest.raises(Conflict):
            verification.decide_changes(actor=elsewhere, run=run, changes=changes, confirm=True)
    assert not run.changes.filter(decided_at__isnull=False).exists()
