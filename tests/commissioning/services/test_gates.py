"""Gates as services: signed with the password, once, by somebody who did none of the work."""

from __future__ import annotations

import threading
from collections.abc import Callable

import pytest
from django.db import IntegrityError, connection, transaction

from commissioning.errors import Conflict, InvalidInput, NotAllowed, Refused
from commissioning.models import Acceptance, AuditEntry, PermissionToEnergise, Stage, StageDependency
from commissioning.services import stages
from commissioning.services.signing import signature_holds
from tests.support import lifecycle
from tests.support.world import PASSWORD, World, make_member, make_system, make_user

pytestmark = pytest.mark.django_db

MC = "mechanical_completion"


@pytest.fixture
def ready(small_world: World) -> World:
    """Mechanical completion done, waiting for its signature."""
    lifecycle.equip(small_world)
    lifecycle.isolate_all(small_world)
    lifecycle.do_stage(small_world, MC)
    return small_world


def refused(act: Callable[[], object]) -> list[str]:
    with pytest.raises(Refused) as caught:
        act()
    return [blocker.code for blocker in caught.value.blockers]


def test_the_client_accepts_and_the_stage_is_accepted(ready: World) -> None:
    acceptance = lifecycle.accept(ready, MC)
    assert ready.stage(MC).state == "accepted"
    assert (acceptance.signed_name, acceptance.signed_role) == ("Perpetua Lunn", "client")
    assert AuditEntry.objects.filter(action="stage_accepted", object_id=str(acceptance.stage_id)).count() == 1


def test_a_wrong_password_signs_nothing(ready: World) -> None:
    with pytest.raises(InvalidInput) as caught:
        stages.accept_stage(stage=ready.stage(MC), signed_by=ready.client, password="not this one")
    assert set(caught.value.fields) == {"password"}
    assert not Acceptance.objects.exists()


def test_what_was_signed_is_proved_by_its_hash(ready: World) -> None:
    acceptance = lifecycle.accept(ready, MC)
    stored = Acceptance.objects.get(pk=acceptance.pk)
    assert signature_holds(stored)
    stored.signed_content["results"][0]["outcome"] = "failed"
    assert not signature_holds(stored)


def test_whoever_did_the_work_does_not_accept_it(small_world: World) -> None:
    second_manager = make_user(username="second-manager", name="Ansel Brightwater")
    make_member(project=small_world.project, user=second_manager, role="manager")
    lifecycle.equip(small_world)
    lifecycle.isolate_all(small_world)
    stage = stages.start_stage(actor=small_world.manager, stage=small_world.stage(MC))
    for line in stage.lines.order_by("order"):
        lifecycle.do_line(World(**{**_fields(small_world), "engineer": second_manager}), line)
    assert refused(lambda: lifecycle.accept(small_world, MC, by=second_manager)) == ["did_the_work"]
    lifecycle.accept(small_world, MC, by=small_world.manager)


def _fields(world: World) -> dict[str, object]:
    return {name: getattr(world, name) for name in World.__dataclass_fields__}


def test_a_field_engineer_does_not_accept_a_gate(ready: World) -> None:
    assert refused(lambda: lifecycle.accept(ready, MC, by=ready.second_engineer)) == ["role_cannot_accept"]


def test_a_stranger_accepts_nothing(ready: World) -> None:
    with pytest.raises(NotAllowed):
        lifecycle.accept(ready, MC, by=ready.stranger)


def test_a_second_signature_is_told_who_was_first(ready: World) -> None:
    lifecycle.accept(ready, MC)
    with pytest.raises(Conflict, match="Perpetua Lunn has already accepted"):
        lifecycle.accept(ready, MC, by=ready.manager)
    assert Acceptance.objects.count() == 1


def test_the_database_holds_one_standing_acceptance_a_stage(ready: World) -> None:
    acceptance = lifecycle.accept(ready, MC)
    fields = {f.attname: getattr(acceptance, f.attname) for f in Acceptance._meta.fields if f.attname != "id"}
    with pytest.raises(IntegrityError), transaction.atomic():
        Acceptance.objects.create(**fields)


def test_sending_the_same_signature_twice_signs_once(ready: World) -> None:
    first = lifecycle.accept(ready, MC)
    again = stages.accept_stage(stage=ready.stage(MC), signed_by=ready.client, password=PASSWORD, id=first.pk)
    assert again == first


def test_a_stage_does_not_start_before_the_one_before_it_is_accepted(ready: World) -> None:
    start = lambda: stages.start_stage(actor=ready.engineer, stage=ready.stage("pre_energisation"))  # noqa: E731
    assert refused(start) == ["previous_not_accepted"]
    lifecycle.accept(ready, MC)
    assert start().state == "started"


def test_a_stage_waits_for_the_stage_of_another_system(ready: World) -> None:
    other = make_system(site=ready.site, tag="GUB20", name="Battery bank")
    needed = other.stages.get(kind=MC)
    StageDependency.objects.create(stage=ready.stage(MC), requires=needed)
    assert refused(lambda: lifecycle.accept(ready, MC)) == ["dependency_not_accepted"]
    Stage.objects.filter(pk=needed.pk).update(state="accepted")
    lifecycle.accept(ready, MC)


def test_withdrawing_an_acceptance_withdraws_every_later_one_with_the_reason(ready: World) -> None:
    lifecycle.accept(ready, MC)
    lifecycle.do_stage(ready, "pre_energisation")
    lifecycle.accept(ready, "pre_energisation")
    energisation = stages.start_stage(actor=ready.engineer, stage=ready.stage("energisation"))
    lifecycle.permit_and_release(ready, stage=energisation, tags=("Q1",))
    other = make_system(site=ready.site, tag="GUB20", name="Board behind it")
    StageDependency.objects.create(stage=other.stages.get(kind=MC), requires=ready.stage(MC))
    withdrawn = stages.withdraw_acceptance(actor=ready.manager, stage=ready.stage(MC), reason="wrong torque schedule")
    assert {acceptance.stage.kind for acceptance in withdrawn} == {MC, "pre_energisation"}
    assert [stage.state for stage in ready.stages] == ["started", "started", "started", "not_started"]
    assert all("wrong torque schedule" in a.withdrawn_reason for a in Acceptance.objects.all())
    assert PermissionToEnergise.objects.filter(withdrawn_at__isnull=True).count() == 0


def test_withdrawing_needs_a_reason_and_a_manager(ready: World) -> None:
    lifecycle.accept(ready, MC)
    with pytest.raises(InvalidInput):
        stages.withdraw_acceptance(actor=ready.manager, stage=ready.stage(MC), reason=" ")
    with pytest.raises(NotAllowed):
        stages.withdraw_acceptance(actor=ready.client, stage=ready.stage(MC), reason="I changed my mind")


@pytest.mark.django_db(transaction=True)
def test_two_people_signing_at_once_give_exactly_one_acceptance() -> None:
    from tests.support.world import make_project

    world = make_project()
    lifecycle.equip(world)
    lifecycle.isolate_all(world)
    lifecycle.do_stage(world, MC)
    outcomes: list[str] = []
    barrier = threading.Barrier(2)

    def sign(person: object) -> None:
        barrier.wait(timeout=30)
        try:
            lifecycle.accept(world, MC, by=person)
            outcomes.append("signed")
        except Conflict:
            outcomes.append("second")
        finally:
            connection.close()

    threads = [threading.Thread(target=sign, args=(person,)) for person in (world.manager, world.client)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(outcomes) == ["second", "signed"]
    assert Acceptance.objects.filter(stage=world.stage(MC)).count() == 1
