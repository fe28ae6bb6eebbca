"""Check lines and readings: what is recorded, what is refused, and that nothing is ever edited."""

from __future__ import annotations

import uuid
from datetime import timedelta

import pytest
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed, Refused
from commissioning.models import CheckLine, CheckResult, Concession, Reading
from commissioning.services import concessions, instruments, lines, readings, stages, supplies
from tests.support import lifecycle
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(small_world: World) -> World:
    lifecycle.equip(small_world)
    lifecycle.isolate_all(small_world)
    stages.start_stage(actor=small_world.engineer, stage=small_world.stage("mechanical_completion"))
    return small_world


@pytest.fixture
def energising(world: World) -> World:
    """Energisation in hand, Q1 released."""
    for kind in ("mechanical_completion", "pre_energisation"):
        lifecycle.do_stage(world, kind)
        lifecycle.accept(world, kind)
    stage = stages.start_stage(actor=world.engineer, stage=world.stage("energisation"))
    lifecycle.permit_and_release(world, stage=stage, tags=("Q1",))
    return world


def line_of(world: World, key: str) -> CheckLine:
    return CheckLine.objects.filter(stage__system=world.system, key=key).order_by("order")[0]


def until(world: World, key: str) -> CheckLine:
    """Do every energisation line before this one."""
    for line in world.stage("energisation").lines.order_by("order"):
        if line.key == key:
            return line
        lifecycle.do_line(world, line)
    raise AssertionError(key)


def codes(caught: pytest.ExceptionInfo[Refused]) -> list[str]:
    return [blocker.code for blocker in caught.value.blockers]


def test_a_result_stands_and_a_later_one_supersedes_it(world: World) -> None:
    line = line_of(world, "mc-040")
    lines.record_result(actor=world.engineer, line=line, outcome="failed", remark="nameplate missing")
    lines.record_result(actor=world.engineer, line=line, outcome="passed")
    line.refresh_from_db()
    assert line.state == "passed"
    assert [(r.outcome, r.superseded_at is None) for r in line.results.all()] == [("failed", False), ("passed", True)]


@pytest.mark.parametrize("outcome", ["not_applicable", "failed"])
def test_not_applicable_and_failed_need_words(world: World, outcome: str) -> None:
    with pytest.raises(InvalidInput) as caught:
        lines.record_result(actor=world.engineer, line=line_of(world, "mc-040"), outcome=outcome, remark=" ")
    assert set(caught.value.fields) == {"remark"}


def test_sending_a_result_twice_records_it_once(world: World) -> None:
    line, key = line_of(world, "mc-040"), uuid.uuid4()
    for _ in range(2):
        lines.record_result(actor=world.engineer, line=line, outcome="passed", id=key)
    assert line.results.count() == 1
    with pytest.raises(Conflict):
        lines.record_result(actor=world.engineer, line=line, outcome="failed", remark="other", id=key)


def test_dead_work_is_refused_on_a_system_recorded_live(energising: World) -> None:
    line = line_of(energising, "pe-060")
    stages.withdraw_acceptance(actor=energising.manager, stage=line.stage, reason="measure again")
    with pytest.raises(Refused) as caught:
        readings.record_reading(actor=energising.engineer, line=line, typed=lifecycle.typed_for(line))
    assert codes(caught) == ["dead_work_on_live"]


def test_an_insulation_test_asks_for_the_proof_of_dead_and_a_release_makes_it_stale(world: World) -> None:
    lifecycle.do_stage(world, "mechanical_completion")
    lifecycle.accept(world, "mechanical_completion")
    stages.start_stage(actor=world.engineer, stage=world.stage("pre_energisation"))
    line = line_of(world, "pe-060")
    with pytest.raises(Refused) as caught:
        readings.record_reading(actor=world.engineer, line=line, typed=lifecycle.typed_for(line))
    assert codes(caught) == ["proof_of_dead_missing"]
    lifecycle.do_line(world, line)
    assert lines.proved_dead(line)
    supply = world.system.supplies.get(tag="Q1")
    supply.changes.create(state="released", by=world.engineer, at=timezone.now())
    assert not lines.proved_dead(line)


def test_a_proof_of_dead_needs_the_detector_proved_before_and_after(world: World) -> None:
    with pytest.raises(InvalidInput) as caught:
        lines.prove_dead(
            actor=world.engineer, line=line_of(world, "mc-040"), point_of_work="", detector="VD-07",
            proved_before=True, proved_after=False,
        )  # fmt: skip
    assert set(caught.value.fields) == {"point_of_work", "proved_after"}


def test_energisation_goes_in_order(energising: World) -> None:
    lifecycle.do_line(energising, line_of(energising, "en-010"))
    later = line_of(energising, "en-070")
    with pytest.raises(Refused) as caught:
        lines.record_result(actor=energising.engineer, line=later, outcome="passed", values={"bus_voltage": "122.7"})
    assert codes(caught) == ["line_before_open"]


def test_a_hold_point_stops_the_lines_after_it_until_the_named_party_has_witnessed(energising: World) -> None:
    hold, after = line_of(energising, "en-010"), line_of(energising, "en-020")
    lines.record_result(actor=energising.engineer, line=hold, outcome="passed")
    with pytest.raises(Refused) as caught:
        lines.record_result(actor=energising.engineer, line=after, outcome="passed")
    assert codes(caught) == ["hold_point_before"]
    with pytest.raises(NotAllowed):
        lines.witness_line(actor=energising.client, line=hold)
    lines.witness_line(actor=energising.manager, line=hold)
    lines.record_result(actor=energising.engineer, line=after, outcome="passed")


def test_a_sound_reading_passes_its_line_and_shows_its_working(energising: World) -> None:
    line = until(energising, "en-040")
    reading = readings.record_reading(actor=energising.engineer, line=line, typed={"measured": "398"})
    line.refresh_from_db()
    assert (reading.verdict, line.state) == ("accept", "passed")
    # independent: 100·(398 − 400)/400 = −0.5
    assert reading.result["outputs"]["deviation"]["value"] == pytest.approx(-0.5)
    assert reading.result["working"]
    assert reading.inputs[0]["typed"] == "398"


def test_a_reading_outside_its_limit_fails_the_line_until_a_concession_is_signed(energising: World) -> None:
    line = until(energising, "en-040")
    reading = readings.record_reading(actor=energising.engineer, line=line, typed={"measured": "355"})
    line.refresh_from_db()
    assert (reading.verdict, line.state) == ("reject", "failed")
    with pytest.raises(NotAllowed):
        concessions.sign_concession(signed_by=energising.engineer, line=line, reason="no", password=PASSWORD)
    concession = concessions.sign_concession(
        signed_by=energising.manager, line=line, reason="Diesel set, agreed with the operator", password=PASSWORD
    )
    assert Concession.objects.get() == concession
    following = line.stage.lines.filter(order__gt=line.order).order_by("order")[0]
    lifecycle.do_line(energising, following)


def test_a_new_reading_needs_a_new_concession(energising: World) -> None:
    line = until(energising, "en-040")
    readings.record_reading(actor=energising.engineer, line=line, typed={"measured": "355"})
    concessions.sign_concession(signed_by=energising.manager, line=line, reason="agreed", password=PASSWORD)
    readings.record_reading(actor=energising.engineer, line=line, typed={"measured": "350"})
    following = line.stage.lines.filter(order__gt=line.order).order_by("order")[0]
    with pytest.raises(Refused) as caught:
        lifecycle.do_line(energising, following)
    assert codes(caught) == ["line_before_open"]


def test_superseding_keeps_the_old_reading(energising: World) -> None:
    line = until(energising, "en-040")
    first = readings.record_reading(actor=energising.engineer, line=line, typed={"measured": "355"})
    second = readings.record_reading(actor=energising.engineer, line=line, typed={"measured": "399"})
    first.refresh_from_db()
    assert first.superseded_at is not None
    assert first.superseded_by == second
    assert line.readings.count() == 2


@pytest.mark.parametrize(
    ("typed", "value"),
    [("398", 398.0), ("0,398 kV", 398.0), ("398 000 mV", 398.0), ("398.0 V", 398.0), ("398+-2", 398.0)],
)
def test_units_are_taken_as_people_type_them(energising: World, typed: str, value: float) -> None:
    line = until(energising, "en-040")
    reading = readings.record_reading(actor=energising.engineer, line=line, typed={"measured": typed})
    assert reading.inputs[0]["value"] == pytest.approx(value)
    assert reading.inputs[0]["typed"] == typed


@pytest.mark.parametrize("typed", ["", "12 A", "nan", "inf", "three hundred", "-398", "9e9"])
def test_what_cannot_be_is_refused_beside_its_field(energising: World, typed: str) -> None:
    line = until(energising, "en-040")
    with pytest.raises(InvalidInput) as caught:
        readings.record_reading(actor=energising.engineer, line=line, typed={"measured": typed})
    assert set(caught.value.fields) == {"measured"}
    assert not line.readings.exists()


def test_the_uncertainty_is_that_of_the_instruments_range(energising: World) -> None:
    instrument = lifecycle.make_instrument(energising)
    line = until(energising, "en-040")
    reading = readings.record_reading(
        actor=energising.engineer, line=line, typed={"measured": "398"}, instruments={"": instrument}
    )
    # independent: a = 398·0.05/100 + 5·0.01 = 0.249; U = 2·a/√3 = 0.28752
    assert reading.inputs[0]["expanded_uncertainty"] == pytest.approx(0.28752, abs=1e-5)
    assert list(reading.instruments.all()) == [instrument]


def test_a_cold_room_widens_the_uncertainty_by_the_temperature_coefficient(energising: World) -> None:
    instrument = lifecycle.make_instrument(energising)
    instrument.ranges.update(temperature_coefficient=0.01)
    line = until(energising, "en-040")
    reading = readings.record_reading(
        actor=energising.engineer, line=line, typed={"measured": "398", "ambient": "3"}, instruments={"": instrument}
    )
    # independent: a = 398·0.05/100 + 5·0.01 + 398·0.01·(18 − 3)/100 = 0.846; U = 2·a/√3 = 0.97687
    kept = {entry["name"]: entry for entry in reading.inputs}
    assert kept["measured"]["expanded_uncertainty"] == pytest.approx(0.97687, abs=1e-5)
    assert kept["ambient"]["value"] == 3


def test_an_instrument_out_of_calibration_is_refused(energising: World) -> None:
    instrument = lifecycle.make_instrument(energising, due_on=timezone.now().date() - timedelta(days=1))
    line = until(energising, "en-040")
    with pytest.raises(InvalidInput) as caught:
        readings.record_reading(
            actor=energising.engineer, line=line, typed={"measured": "398"}, instruments={"": instrument}
        )
    assert "not in calibration" in caught.value.fields["measured"]


def test_a_calibration_withdrawn_later_marks_the_readings_that_leaned_on_it(energising: World) -> None:
    instrument = lifecycle.make_instrument(energising)
    line = until(energising, "en-040")
    reading = readings.record_reading(
        actor=energising.engineer, line=line, typed={"measured": "398"}, instruments={"": instrument}
    )
    calibration = instrument.calibrations.get()
    instruments.withdraw_calibration(actor=energising.manager, calibration=calibration, reason="laboratory recalled it")
    reading.refresh_from_db()
    assert not reading.in_calibration


def test_a_value_no_range_can_show_is_refused(energising: World) -> None:
    instrument = lifecycle.make_instrument(energising)
    line = until(energising, "en-040")
    with pytest.raises(InvalidInput) as caught:
        readings.record_reading(
            actor=energising.engineer, line=line, typed={"measured": "700"}, instruments={"": instrument}
        )
    assert "no range" in caught.value.fields["measured"]


def test_a_time_in_the_future_is_refused(energising: World) -> None:
    line = until(energising, "en-040")
    with pytest.raises(InvalidInput):
        readings.record_reading(
            actor=energising.engineer,
            line=line,
            typed={"measured": "398"},
            taken_at=timezone.now() + timedelta(hours=1),
        )


def test_reopening_a_line_keeps_what_was_recorded(world: World) -> None:
    line = line_of(world, "mc-040")
    lines.record_result(actor=world.engineer, line=line, outcome="passed")
    lines.reopen_line(actor=world.engineer, line=line, reason="wrong line")
    line.refresh_from_db()
    assert line.state == "open"
    assert CheckResult.objects.filter(line=line).count() == 2


def test_a_stranger_and_a_client_record_nothing(world: World) -> None:
    for person in (world.stranger, world.client):
        with pytest.raises(NotAllowed):
            lines.record_result(actor=person, line=line_of(world, "mc-040"), outcome="passed")
    assert not CheckResult.objects.exists()


def test_the_mechanical_completion_line_without_reading_cannot_be_talked_past(world: World) -> None:
    line = line_of(world, "mc-150")
    with pytest.raises(InvalidInput):
        lines.record_result(actor=world.engineer, line=line, outcome="passed")
    assert not Reading.objects.exists()


def test_a_supply_is_isolated_only_with_a_lock(world: World) -> None:
    with pytest.raises(InvalidInput) as caught:
        supplies.isolate_supply(actor=world.engineer, supply=world.system.supplies.get(tag="Q1"), lock_number=" ")
    assert set(caught.value.fields) == {"lock_number"}
