"""Signal points: forced, seen at the far end by somebody else, restored."""

from __future__ import annotations

from datetime import timedelta

import pytest

from commissioning.errors import Conflict, InvalidInput, NotAllowed, Refused
from commissioning.models import SignalPoint, Stage
from commissioning.rules.gate import acceptance_blockers
from commissioning.selectors.facts import stage_facts
from commissioning.services import signals
from tests.support.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def point(small_world: World) -> SignalPoint:
    Stage.objects.filter(system=small_world.system, order__lt=3).update(state="accepted")
    Stage.objects.filter(system=small_world.system, order=3).update(state="started")
    return SignalPoint.objects.create(system=small_world.system, tag="K1", description="common alarm")


def open_signals(world: World) -> list[str]:
    blockers = acceptance_blockers(stage_facts(stage=world.stage("energisation")))
    return [b.words for b in blockers if b.rule == 9]


def test_a_point_is_proved_when_forced_seen_and_restored(small_world: World, point: SignalPoint) -> None:
    assert "not forced yet" in open_signals(small_world)[0]
    proof = signals.force_signal(actor=small_world.engineer, point=point)
    assert "not yet seen" in open_signals(small_world)[0]
    seen_at = proof.forced_at + timedelta(seconds=2)
    proof = signals.see_signal(actor=small_world.second_engineer, proof=proof, at=seen_at)
    assert proof.response_seconds == pytest.approx(2.0)
    assert "not yet restored" in open_signals(small_world)[0]
    signals.restore_signal(actor=small_world.engineer, proof=proof)
    assert open_signals(small_world) == []


def test_who_forced_it_does_not_confirm_the_far_end(small_world: World, point: SignalPoint) -> None:
    proof = signals.force_signal(actor=small_world.engineer, point=point)
    with pytest.raises(InvalidInput):
        signals.see_signal(actor=small_world.engineer, proof=proof)
    small_world.project.far_end_by_second_person = False
    small_world.project.save()
    assert signals.see_signal(actor=small_world.engineer, proof=proof).seen_at


def test_a_failed_proof_blocks_until_the_point_is_forced_anew(small_world: World, point: SignalPoint) -> None:
    proof = signals.force_signal(actor=small_world.engineer, point=point)
    with pytest.raises(InvalidInput):
        signals.fail_signal(actor=small_world.engineer, proof=proof, reason="")
    signals.fail_signal(actor=small_world.second_engineer, proof=proof, reason="another point lit")
    assert "failed" in open_signals(small_world)[0]
    with pytest.raises(Conflict):
        signals.see_signal(actor=small_world.second_engineer, proof=proof)
    signals.restore_signal(actor=small_world.engineer, proof=proof)
    signals.force_signal(actor=small_world.engineer, point=point)
    assert "not yet seen" in open_signals(small_world)[0]
    with pytest.raises(Conflict):
        signals.see_signal(actor=small_world.second_engineer, proof=proof)


def test_a_point_is_proved_only_while_its_stage_is_in_hand(small_world: World, point: SignalPoint) -> None:
    Stage.objects.filter(system=small_world.system, order=3).update(state="accepted")
    with pytest.raises(Refused):
        signals.force_signal(actor=small_world.engineer, point=point)


def test_a_stranger_and_a_client_force_nothing(small_world: World, point: SignalPoint) -> None:
    for person in (small_world.stranger, small_world.client):
        with pytest.raises(NotAllowed):
            signals.force_signal(actor=person, point=point)
