"""The phone without signal: it opens, says what it holds, keeps what is recorded, and sends it when signal returns."""

from __future__ import annotations

import pytest

from commissioning.models import CheckResult
from tests.journeys.phone.conftest import Pocket

pytestmark = pytest.mark.browser


def test_a_day_in_the_basement(pocket: Pocket) -> None:
    page = pocket.page
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    pocket.sign_in()
    pocket.take_along()
    pocket.link.signal = False
    page.reload()  # opened anew in the basement
    page.wait_for_selector(f"main >> text={pocket.world.system.tag}")
    assert "just now" in page.inner_text(".age")
    page.click(f"main a >> text={pocket.world.system.tag}")
    page.wait_for_selector(".energy >> text=recorded isolated - prove dead at the point of work")
    first = pocket.keep("check_result", pocket.result(pocket.lines[1]))
    page.wait_for_selector(".sending-state >> text=1 waiting")
    assert CheckResult.objects.count() == 0

    page.close()  # the tab is killed, the phone is in the pocket
    page = pocket.page = pocket.context.new_page()
    pocket.open("#/outbox")
    page.wait_for_selector("text=1 entry is not on the server yet")
    page.wait_for_selector("main .state.s-waiting")

    pocket.link.signal = True
    page.click("text=send now")
    page.wait_for_selector(".sending-state >> text=all arrived")
    assert str(CheckResult.objects.get().pk) == first
    page.wait_for_selector("text=Everything that was recorded on this phone has arrived.")
    assert broken == []


def test_a_page_of_the_server_says_in_words_that_it_needs_signal_and_leads_to_the_phone(pocket: Pocket) -> None:
    page, code, world = pocket.page, pocket.code, pocket.world
    pocket.sign_in()
    pocket.take_along()
    pocket.link.signal = False
    page.goto(f"/p/{code}/punch/")
    page.wait_for_selector("h1 >> text=No signal")
    page.goto(f"/p/{code}/stages/{pocket.stage.pk}/accept/")
    page.wait_for_selector("text=A gate is accepted with signal only")
    page.goto(f"/p/{code}/supplies/{world.system.supplies.get().pk}/release/")
    page.wait_for_selector("text=A release never waits to be sent")
    page.goto(f"/p/{code}/lines/{pocket.lines[1].pk}/")
    page.click("text=open the phone")
    page.wait_for_url(f"**/p/{code}/phone/#/systems/{world.system.pk}/run/{pocket.stage.pk}/{pocket.lines[1].pk}")


def test_what_is_never_done_without_signal_is_refused_by_the_outbox_with_the_reason(pocket: Pocket) -> None:
    pocket.sign_in()
    pocket.take_along()
    for kind, words in (("supply_released", "A supply is released with signal only"),
                        ("acceptance", "A gate is accepted with signal only"),
                        ("permission", "A permission to energise is signed with signal only")):  # fmt: skip
        with pytest.raises(Exception, match=words):
            pocket.keep(kind, {})
    assert pocket.outbox() == []
