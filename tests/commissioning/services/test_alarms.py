"""Alarm sightings: what each turned out to be, and that it is seen to clear where it should."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from commissioning.errors import InvalidInput, NotAllowed
from commissioning.models import AlarmSighting, Stage
from commissioning.rules.gate import acceptance_blockers
from commissioning.selectors.facts import stage_facts
from commissioning.services import alarms
from punchlist.services import items
from tests.support.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def energisation(small_world: World) -> Stage:
    Stage.objects.filter(system=small_world.system, order__lt=3).update(state="accepted")
    Stage.objects.filter(system=small_world.system, order=3).update(state="started")
    return small_world.stage("energisation")


def alarm_codes(stage: Stage) -> list[str]:
    return [b.code for b in acceptance_blockers(stage_facts(stage=stage)) if b.rule == 8]


def seen(world: World, stage: Stage, text: str = "Battery fuse failure") -> AlarmSighting:
    return alarms.log_alarm(actor=world.engineer, stage=stage, text=text)


def test_an_alarm_blocks_until_somebody_says_what_it_is(small_world: World, energisation: Stage) -> None:
    alarm = seen(small_world, energisation)
    assert alarm_codes(energisation) == ["alarm_unexplained"]
    alarms.decide_alarm(actor=small_world.engineer, alarm=alarm, outcome="explained", explanation="monitor was off")
    assert alarm_codes(energisation) == []


def test_a_genuine_alarm_needs_a_punch_item(small_world: World, energisation: Stage) -> None:
    alarm = seen(small_world, energisation)
    alarms.decide_alarm(actor=small_world.engineer, alarm=alarm, outcome="genuine")
    assert alarm_codes(energisation) == ["alarm_without_item"]
    items.raise_item(
        actor=small_world.engineer, system=small_world.system, stage=energisation, category="A",
        text="cable off the fuse detector, behind the cover", alarm=alarm,
    )  # fmt: skip
    assert alarm_codes(energisation) == []


def test_an_expected_alarm_waits_for_its_stage_and_must_be_seen_to_clear_there(
    small_world: World, energisation: Stage
) -> None:
    last = small_world.stage("battery_connected")
    alarm = seen(small_world, energisation, "Battery disconnected")
    alarms.decide_alarm(
        actor=small_world.engineer, alarm=alarm, outcome="expected", explanation="no battery yet", expected_until=last
    )
    assert alarm_codes(energisation) == []
    with pytest.raises(InvalidInput):
        alarms.clear_alarm(actor=small_world.engineer, alarm=alarm)
    Stage.objects.filter(pk=energisation.pk).update(state="accepted")
    Stage.objects.filter(pk=last.pk).update(state="started")
    assert alarm_codes(last) == ["alarm_not_seen_clear"]
    alarms.clear_alarm(actor=small_world.engineer, alarm=alarm, remark="battery isolator closed")
    assert alarm_codes(last) == []


@pytest.mark.parametrize(
    ("decision", "field"),
    [
        ({"outcome": "explained"}, "explanation"),
        ({"outcome": "expected", "explanation": "no battery"}, "expected_until"),
        ({"outcome": "unexplained"}, "outcome"),
    ],
)
def test_a_decision_needs_its_words(
    small_world: World, energisation: Stage, decision: dict[str, str], field: str
) -> None:
    with pytest.raises(InvalidInput) as caught:
        alarms.decide_alarm(actor=small_world.engineer, alarm=seen(small_world, energisation), **decision)
    assert set(caught.value.fields) == {field}


def test_an_alarm_is_not_expected_until_an_earlier_stage(small_world: World, energisation: Stage) -> None:
    with pytest.raises(InvalidInput):
        alarms.decide_alarm(
            actor=small_world.engineer, alarm=seen(small_world, energisation), outcome="expected", explanation="x",
            expected_until=small_world.stage("pre_energisation"),
        )  # fmt: skip


def test_an_alarm_does_not_clear_before_it_was_seen(small_world: World, energisation: Stage) -> None:
    with pytest.raises(InvalidInput):
        alarms.clear_alarm(
            actor=small_world.engineer, alarm=seen(small_world, energisation), at=timezone.now() - timedelta(hours=1)
        )


def test_a_client_logs_no_alarm(small_world: World, energisation: Stage) -> None:
    with pytest.raises(NotAllowed):
        alarms.log_alarm(actor=small_world.client, stage=energisation, text="x")
