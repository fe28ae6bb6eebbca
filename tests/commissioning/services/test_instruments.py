"""Instruments go out of use and come back; what they measured stays, and they measure nothing new meanwhile."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import AuditEntry, Job, Reading, VerificationRun
from commissioning.services import job_runs, verification
from commissioning.services.instruments import bring_back_instrument, retire_instrument
from commissioning.services.readings import record_reading
from commissioning.services.register_points import change_range
from tests.commissioning.views.run_plant import meter, started, supply_line
from tests.support.world import World

pytestmark = pytest.mark.django_db


def test_a_retired_instrument_measures_nothing_new_and_keeps_its_record(small_world: World) -> None:
    one, line = meter(small_world), supply_line(started(small_world))
    taken = record_reading(actor=small_world.engineer, line=line, typed={"measured": "230"}, instruments={"": one})
    retire_instrument(actor=small_world.engineer, instrument=one, reason="fell from a ladder")
    one.refresh_from_db()
    with pytest.raises(InvalidInput) as refused:
        record_reading(actor=small_world.engineer, line=line, typed={"measured": "231"}, instruments={"": one})
    assert "no longer in use" in refused.value.fields["measured"]
    assert "fell from a ladder" in refused.value.fields["measured"]
    assert list(one.readings.all()) == [taken]
    assert Reading.objects.count() == 1


def test_what_was_taken_before_it_was_retired_may_still_arrive(small_world: World) -> None:
    one, line = meter(small_world), supply_line(started(small_world))
    retire_instrument(actor=small_world.engineer, instrument=one, reason="sold")
    one.refresh_from_db()
    before = timezone.now() - timedelta(hours=2)
    given = {"actor": small_world.engineer, "line": line, "typed": {"measured": "230"}, "instruments": {"": one}}
    assert record_reading(**given, taken_at=before).verdict == "accept"


def test_readings_of_a_retired_instrument_are_still_verified_again(small_world: World) -> None:
    one, line = meter(small_world), supply_line(started(small_world))
    record_reading(actor=small_world.engineer, line=line, typed={"measured": "207.2"}, instruments={"": one})
    retire_instrument(actor=small_world.engineer, instrument=one, reason="sold")
    # independent: U = 2·(207.2·2 %)/√3 = 4.8 V is more than the 0.2 V that are left to the limit of 207 V
    change_range(actor=small_world.engineer, range=one.ranges.get(), percent_of_reading=2)
    job_runs.run(Job.objects.get(kind=verification.JOB_KIND).pk)
    assert [change.verdict for change in VerificationRun.objects.get().changes.all()] == ["accept_within_guard_band"]


def test_it_comes_back_with_a_reason_and_may_be_used_again(small_world: World) -> None:
    one, line = meter(small_world), supply_line(started(small_world))
    retire_instrument(actor=small_world.engineer, instrument=one, reason="lost")
    with pytest.raises(Conflict):
        retire_instrument(actor=small_world.engineer, instrument=one, reason="lost again")
    one = bring_back_instrument(actor=small_world.manager, instrument=one, reason="found in the van")
    assert (one.retired_at, one.retired_reason) == (None, "")
    with pytest.raises(Conflict):
        bring_back_instrument(actor=small_world.manager, instrument=one, reason="found in the van")
    record_reading(actor=small_world.engineer, line=line, typed={"measured": "230"}, instruments={"": one})
    entries = AuditEntry.objects.filter(object_id=str(one.pk)).order_by("sequence").values_list("action", flat=True)
    assert list(entries) == ["instrument_retired", "instrument_brought_back"]


@pytest.mark.parametrize("act", [retire_instrument, bring_back_instrument])
def test_a_reason_is_asked_and_a_client_may_not(small_world: World, act: object) -> None:
    one = meter(small_world)
    with pytest.raises(InvalidInput):
        act(actor=small_world.engineer, instrument=one, reason="  ")  # type: ignore[operator]
    for person in (small_world.client, small_world.stranger):
        with pytest.raises(NotAllowed):
            act(actor=person, instrument=one, reason="because")  # type: ignore[operator]
    assert not AuditEntry.objects.filter(object_id=str(one.pk)).exists()


def test_an_accuracy_that_stays_as_it_is_asks_for_no_run(small_world: World) -> None:
    one, line = meter(small_world), supply_line(started(small_world))
    record_reading(actor=small_world.engineer, line=line, typed={"measured": "230"}, instruments={"": one})
    change_range(actor=small_world.engineer, range=one.ranges.get(), percent_of_reading=0.05)
    assert not VerificationRun.objects.exists()
