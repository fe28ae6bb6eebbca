"""The procedure run on a phone and a laptop, on the running product: type, see the verdict, keep, go on, take back."""

from __future__ import annotations

import pytest
from axe_playwright_python.sync_playwright import Axe

from commissioning.models import Reading
from commissioning.services.lines import record_result
from tests.commissioning.views.run_plant import line_on, started, supply_line
from tests.support.browser import PHONE, show_whole, sign_in
from tests.support.world import make_project

pytestmark = pytest.mark.browser


def small_targets(page) -> list[str]:
    """Things to press in the page and at the thumb that are lower than 48 px."""
    return page.evaluate(
        """() => [...document.querySelectorAll("main button, main .button, main summary, main select, .thumb-bar *")]
            .filter((one) => one.matches("a, button, summary, select") && one.checkVisibility())
            .filter((one) => !one.closest(".visually-hidden") && one.getBoundingClientRect().height < 47.5)
            .map((one) => one.outerHTML.slice(0, 120))"""
    )


def test_a_reading_on_the_phone(browser_page):
    world = make_project()
    stage = started(world)
    line, following = supply_line(stage), line_on(stage, title="The line behind it")
    page, code = browser_page, world.project.code
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    sign_in(page, world.engineer)
    page.goto(f"/p/{code}/systems/{world.system.pk}/run/")
    page.click("text=open line 1")
    page.wait_for_selector("[name=measured]")  # the line's own page has come
    assert small_targets(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 390

    page.fill("[name=measured]", "206900")
    page.click(".unit-keys >> text=mV")
    assert page.input_value("[name=measured]") == "206900 mV"
    page.wait_for_selector("#live .state.s-reject")  # independent: 206.9 V is outside 230 V - 10 %
    page.fill("[name=measured]", "0.231")
    page.click(".unit-keys >> text=kV")
    page.wait_for_selector("#live .state.s-accept")
    assert page.locator("#live-working math").count() > 0
    assert Reading.objects.count() == 0

    page.click("text=keep the reading")
    page.wait_for_selector("text=undo")
    assert Reading.objects.get().inputs[0]["typed"] == "0.231 kV"
    assert small_targets(page) == []
    page.click("text=undo")
    page.wait_for_selector("[name=measured]")
    line.refresh_from_db()
    assert line.state == "open"

    page.fill("[name=measured]", "231")
    page.click("text=keep the reading")
    page.click("text=next open line")
    page.wait_for_url(f"**/lines/{following.pk}/")
    page.click("button[value=passed]")
    page.wait_for_selector("text=the gate")
    following.refresh_from_db()
    assert following.state == "passed"
    assert broken == []


def test_keys_lead_from_line_to_line(laptop_page):
    world = make_project()
    stage = started(world)
    first, second = line_on(stage), line_on(stage)
    page = laptop_page
    sign_in(page, world.engineer)
    page.goto(f"/p/{world.project.code}/lines/{first.pk}/")
    page.keyboard.press("n")
    page.wait_for_url(f"**/lines/{second.pk}/")
    page.keyboard.press("p")
    page.wait_for_url(f"**/lines/{first.pk}/")


def test_enter_in_a_value_answers_nothing(laptop_page):
    world = make_project()
    inputs = {"torque": {"kind": "measured", "label": "Torque", "unit": "N·m"}}
    line = line_on(started(world), inputs=inputs)
    page = laptop_page
    sign_in(page, world.engineer)
    page.goto(f"/p/{world.project.code}/lines/{line.pk}/")
    page.fill("[name=torque]", "12")
    page.press("[name=torque]", "Enter")
    page.click("button[value=passed]")
    page.wait_for_selector("text=undo")
    assert line.results.count() == 1
    assert line.results.get().values[0]["typed"] == "12"


def test_everything_works_without_script(browser_page):
    world = make_project()
    stage = started(world)
    line, following = supply_line(stage, work="dead", injects_voltage=True), line_on(stage)
    browser_page.goto("/sign-in/")
    address = browser_page.evaluate("location.origin")
    context = browser_page.context.browser.new_context(base_url=address, java_script_enabled=False)
    page = context.new_page()
    try:
        sign_in(page, world.engineer)
        page.goto(f"/p/{world.project.code}/lines/{line.pk}/")
        page.fill("[name=point_of_work]", "terminals X1")
        page.fill("[name=detector]", "VD-07")
        page.check("[name=proved_before]")
        page.check("[name=proved_after]")
        page.click("text=record the proof of dead")
        page.fill("[name=measured]", "231 V")
        page.click("text=keep the reading")
        assert page.locator(".verdict-bar.s-accept").count() == 1
        page.click("text=next open line")
        page.click("button[value=passed]")
        page.click("text=undo")
        following.refresh_from_db()
        assert following.state == "open"
    finally:
        context.close()


def test_the_watch_of_a_forced_relay_counts_down(laptop_page):
    world = make_project()
    line = line_on(started(world), timer_seconds=2)
    page = laptop_page
    sign_in(page, world.engineer)
    page.goto(f"/p/{world.project.code}/lines/{line.pk}/")
    page.click("text=start 2 s")
    page.wait_for_selector("output:has-text('done: let go')")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_run_is_read_in_sun_and_in_the_dark(browser_page, scheme):
    """No finding of the accessibility rules, enhanced contrast (WCAG 2.2, 1.4.6) among them."""
    world = make_project()
    stage = started(world)
    waits, failed = supply_line(stage, caution="Live parts behind the cover."), line_on(stage, point="hold")
    record_result(actor=world.engineer, line=failed, outcome="failed", remark="loose")
    page = browser_page
    page.emulate_media(color_scheme=scheme)
    sign_in(page, world.engineer)
    wanted = {"runOnly": ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa", "wcag2aaa"]}
    for path in (f"systems/{world.system.pk}/run/", f"lines/{waits.pk}/", f"lines/{failed.pk}/"):
        page.set_viewport_size(PHONE)
        page.goto(f"/p/{world.project.code}/{path}")
        show_whole(page)
        found = Axe().run(page, options=wanted).response["violations"]
        assert [(one["id"], [node["html"] for node in one["nodes"]]) for one in found] == [], path
