"""Many writers at once, on systems that wait for each other: nobody waits for ever, and every counter is right."""

from __future__ import annotations

import random
from collections.abc import Callable
from contextlib import suppress

import pytest

from commissioning.errors import ServiceError
from commissioning.models import AuditEntry, Stage, System, SystemCounters
from commissioning.selectors.counters_audit import differences
from commissioning.services import alarms, dependencies, stages, supplies
from commissioning.services.audit import first_broken_link
from punchlist.services.items import raise_item
from tests.commissioning.views.plant import ready_to_accept
from tests.punchlist.test_services_races import together
from tests.support.counted import wrong_counters
from tests.support.world import PASSWORD, World, make_project, make_system

pytestmark = pytest.mark.django_db(transaction=True)


def deeds(world: World) -> list[Callable[[Stage], object]]:
    return [
        lambda stage: raise_item(
            actor=world.engineer, system=stage.system, stage=stage, category="B", text="label loose"
        ),
        lambda stage: alarms.log_alarm(actor=world.engineer, stage=stage, text="fuse"),
        lambda stage: supplies.isolate_supply(
            actor=world.engineer, supply=stage.system.supplies.get(), lock_number="L3"
        ),
        lambda stage: stages.accept_stage(stage=stage, signed_by=world.client, password=PASSWORD),
        lambda stage: stages.withdraw_acceptance(actor=world.manager, stage=stage, reason="looked at again"),
    ]


def test_writers_of_systems_that_wait_for_each_other_never_deadlock_and_count_right() -> None:
    world = make_project(kind="dc_board", tag="GUA10")
    other = make_system(site=world.site, tag="GUA20", kind="dc_board")
    systems = [world.system, other]
    first = [ready_to_accept(world, system) for system in systems]
    # Each waits for the other, so that accepting either counts both again.
    for stage, needed in zip([system.stages.get(order=2) for system in systems], reversed(first), strict=True):
        dependencies.add_dependency(actor=world.manager, stage=stage, requires=needed)

    def work(seed: int) -> None:
        choose = random.Random(seed)
        for _ in range(8):
            stage = Stage.objects.get(pk=choose.choice(first).pk)
            with suppress(ServiceError):  # refused, where the other has been quicker
                choose.choice(deeds(world))(stage)

    assert together(lambda: work(1), lambda: work(2)) == []
    assert wrong_counters(systems) == []
    assert list(differences(System.objects.all())) == []
    assert sum(SystemCounters.objects.values_list("open_b", flat=True)) > 0
    assert AuditEntry.objects.filter(action="stage_accepted").exists()
    assert first_broken_link(world.project) is None
