"""Supplies: isolated with a lock, released only under a permission that stands."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed, Refused
from commissioning.models import AuditEntry, PermissionToEnergise, Stage, SupplyPoint
from commissioning.services import supplies
from tests.support.emptying import behind_the_back
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db


@pytest.fixture
def stage(small_world: World) -> Stage:
    """Energisation in hand; a temporary supply and a battery, both isolated."""
    for tag, kind in (("Q1", "temporary"), ("Q2", "battery")):
        point = SupplyPoint.objects.create(system=small_world.system, tag=tag, kind=kind)
        supplies.isolate_supply(actor=small_world.engineer, supply=point, lock_number=f"L-{tag}")
    Stage.objects.filter(system=small_world.system, order__lt=3).update(state="accepted")
    Stage.objects.filter(system=small_world.system, order=3).update(state="started")
    return small_world.stage("energisation")


def permit(world: World, stage: Stage, *tags: str, **changes: object) -> PermissionToEnergise:
    values = {
        "signed_by": world.manager,
        "stage": stage,
        "supplies": list(world.system.supplies.filter(tag__in=tags)),
        "valid_until": timezone.now() + timedelta(hours=8),
        "password": PASSWORD,
    } | changes
    return supplies.sign_permission(**values)  # type: ignore[arg-type]


def q1(world: World) -> SupplyPoint:
    return world.system.supplies.get(tag="Q1")


def test_a_release_under_a_permission_is_logged_and_makes_the_system_live(small_world: World, stage: Stage) -> None:
    permission = permit(small_world, stage, "Q1")
    change = supplies.release_supply(actor=small_world.engineer, supply=q1(small_world), permission=permission)
    assert (q1(small_world).state, change.permission) == ("released", permission)
    assert AuditEntry.objects.filter(action="supply_released").count() == 1


def test_isolating_again_takes_the_lock_number_and_ends_the_release(small_world: World, stage: Stage) -> None:
    permission = permit(small_world, stage, "Q1")
    supplies.release_supply(actor=small_world.engineer, supply=q1(small_world), permission=permission)
    supplies.isolate_supply(actor=small_world.engineer, supply=q1(small_world), lock_number="L-88")
    assert (q1(small_world).state, q1(small_world).lock_number) == ("isolated", "L-88")
    assert [c.state for c in q1(small_world).changes.all()] == ["isolated", "released", "isolated"]


def test_an_isolation_recorded_late_does_not_undo_a_later_release(small_world: World, stage: Stage) -> None:
    permission = permit(small_world, stage, "Q1")
    before = timezone.now()
    supplies.release_supply(actor=small_world.engineer, supply=q1(small_world), permission=permission)
    with pytest.raises(Conflict):
        supplies.isolate_supply(actor=small_world.engineer, supply=q1(small_world), lock_number="L-9", at=before)


def test_a_supply_that_the_permission_does_not_name_stays_isolated(small_world: World, stage: Stage) -> None:
    point = SupplyPoint.objects.create(system=small_world.system, tag="Q3", kind="incomer")
    supplies.isolate_supply(actor=small_world.engineer, supply=point, lock_number="L-Q3")
    with pytest.raises(Refused) as caught:
        supplies.release_supply(actor=small_world.engineer, supply=point, permission=permit(small_world, stage, "Q1"))
    assert [b.code for b in caught.value.blockers] == ["not_named"]


def test_a_lapsed_or_withdrawn_permission_releases_nothing(small_world: World, stage: Stage) -> None:
    permission = permit(small_world, stage, "Q1")
    supplies.withdraw_permission(actor=small_world.manager, permission=permission, reason="weather")
    with pytest.raises(Refused) as caught:
        supplies.release_supply(actor=small_world.engineer, supply=q1(small_world), permission=permission)
    assert [b.code for b in caught.value.blockers] == ["permission_withdrawn"]
    lapsed = permit(small_world, stage, "Q1")
    now = timezone.now()
    with behind_the_back():
        PermissionToEnergise.objects.filter(pk=lapsed.pk).update(
            valid_from=now - timedelta(hours=2), valid_until=now - timedelta(hours=1)
        )
    with pytest.raises(Refused) as caught:
        supplies.release_supply(actor=small_world.engineer, supply=q1(small_world), permission=lapsed)
    assert [b.code for b in caught.value.blockers] == ["permission_lapsed"]


def test_the_battery_is_not_named_before_its_stage(small_world: World, stage: Stage) -> None:
    with pytest.raises(Refused) as caught:
        permit(small_world, stage, "Q1", "Q2")
    assert [b.code for b in caught.value.blockers] == ["battery_too_early"]


def test_only_the_authorised_person_signs_with_the_password(small_world: World, stage: Stage) -> None:
    for person in (small_world.engineer, small_world.client, small_world.stranger):
        with pytest.raises(NotAllowed):
            permit(small_world, stage, "Q1", signed_by=person)
    with pytest.raises(InvalidInput):
        permit(small_world, stage, "Q1", password="wrong")
    assert not PermissionToEnergise.objects.exists()


@pytest.mark.parametrize("hours", [-1, 0, 24 * 30])
def test_a_permission_ends_later_than_now_and_within_a_week(small_world: World, stage: Stage, hours: int) -> None:
    with pytest.raises(InvalidInput) as caught:
        permit(small_world, stage, "Q1", valid_until=timezone.now() + timedelta(hours=hours))
    assert set(caught.value.fields) == {"valid_until"}


def test_the_database_holds_no_isolation_without_a_lock(small_world: World, stage: Stage) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        SupplyPoint.objects.filter(tag="Q1").update(lock_number="")
