"""What an entry of the history speaks of can be opened from it."""

from __future__ import annotations

import pytest

from punchlist.services.items import raise_item
from tests.commissioning.views.plant import accepted
from tests.commissioning.views.reading import address, links, signed_in
from tests.support.world import World

pytestmark = pytest.mark.django_db


def test_entries_lead_to_stages_supplies_and_punch_items(small_world: World) -> None:
    stage = accepted(small_world)
    item = raise_item(
        actor=small_world.client, system=stage.system, stage=stage, category="B", text="Label of F1 missing"
    )
    page = signed_in(small_world.client).get(
        address(small_world.project.code, "systems", small_world.system.pk, "history")
    )
    found = links(page)
    assert address(small_world.project.code, "stages", stage.pk) in found
    assert address(small_world.project.code, "supplies", small_world.system.supplies.get().pk) in found
    assert any(str(item.pk) in link for link in found)
