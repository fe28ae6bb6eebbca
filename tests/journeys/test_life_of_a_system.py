"""One system's whole life in Chromium: from the register workbook to a dossier that is read back from its PDF.

The three people of the job work on the running product, each in a browser of their own: the manager (who is the
authorised person), the field engineer on a phone, the client; a second engineer confirms the far end. Every kind of
act is done through the pages at least once; the many lines alike go through the same services as the demo's walk.
"""

from __future__ import annotations

from contextlib import AbstractContextManager
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from tests.journeys import dead_stages, handover, live_stages
from tests.journeys.story import Story, new_project
from tests.support.product import Product

pytestmark = pytest.mark.browser


@pytest.fixture
def beginning(live_product: Product, _chromium: Browser, tmp_path: Path) -> AbstractContextManager[Story]:
    return new_project(live_product, _chromium, tmp_path)


def test_the_life_of_a_system(beginning: AbstractContextManager[Story]) -> None:
    with beginning as story:
        for chapter in (
            dead_stages.the_register_comes_in,
            dead_stages.the_certificates_are_added,
            dead_stages.the_procedure_is_laid_out,
            dead_stages.the_supplies_are_isolated,
            dead_stages.mechanical_completion,
            dead_stages.mechanical_completion_is_accepted,
            dead_stages.pre_energisation,
            live_stages.the_supply_is_released,
            live_stages.the_rectifier_comes_up,
            live_stages.three_alarms,
            live_stages.the_genuine_one_is_put_right,
            live_stages.relays_are_seen_at_the_far_end,
            live_stages.shut_down_and_isolated_again,
            handover.the_battery_is_connected,
            handover.everything_is_accepted,
            handover.the_dossier_is_handed_over,
        ):
            chapter(story)
        for person in (story.manager, story.engineer, story.second, story.client):
            assert person.broken == []
