"""One system through all its gates, by the services alone."""

from __future__ import annotations

import pytest

from commissioning.models import AuditEntry, Reading
from commissioning.rules.stages import ALL_STAGES
from commissioning.services.audit import first_broken_link
from commissioning.services.signing import signature_holds
from tests.support import lifecycle
from tests.support.world import World

pytestmark = pytest.mark.django_db


def test_a_system_passes_all_its_gates(small_world: World) -> None:
    lifecycle.equip(small_world)
    lifecycle.isolate_all(small_world)
    for kind in ALL_STAGES:
        lifecycle.do_stage(small_world, kind)
        acceptance = lifecycle.accept(small_world, kind)
        assert signature_holds(acceptance)
    assert [stage.state for stage in small_world.stages] == ["accepted"] * 4
    assert set(Reading.objects.values_list("verdict", flat=True)) == {"accept"}
    assert first_broken_link(small_world.project) is None
    assert AuditEntry.objects.filter(action="stage_accepted").count() == 4
