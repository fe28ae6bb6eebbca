"""The punch list in a real browser on a phone: two taps from a failed line, and the same without any script."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from django.urls import reverse
from playwright.sync_api import expect

from punchlist.models import Photo, PunchItem
from tests.punchlist.making import make_equipment, make_item, make_line, picture
from tests.support.browser import sign_in
from tests.support.world import make_project

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from tests.support.product import Product

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


def test_from_a_failed_line_two_taps_put_it_on_the_list_with_a_photo(browser_page: Page) -> None:
    world = make_project()
    line = make_line(world.stages[0], equipment=make_equipment(world.system, "GUB10-BAT1"))
    sign_in(browser_page, world.engineer)
    browser_page.goto(f"{reverse('punch-new', args=[world.project.code])}?line={line.pk}")
    browser_page.set_input_files(
        "[name=photos]", [{"name": "snag.jpg", "mimeType": "image/jpeg", "buffer": picture().read()}]
    )
    browser_page.get_by_role("button", name="raise it").tap()
    expect(browser_page.get_by_role("status")).to_contain_text("P-1 is on the list, category A.")
    assert (PunchItem.objects.get().line, Photo.objects.get().item.number) == (line, 1)
    seen = browser_page.locator(".photos img").first
    expect(seen).to_be_visible()
    assert seen.evaluate("picture => picture.decode().then(() => picture.naturalWidth)") == 60


def test_a_tag_is_found_while_it_is_typed(browser_page: Page) -> None:
    world = make_project()
    for number in range(120):
        make_equipment(world.system, f"GUB10-A{number:03}")
    make_equipment(world.system, "GUB10-Z9")
    sign_in(browser_page, world.engineer)
    browser_page.goto(reverse("punch-new", args=[world.project.code]))
    assert "GUB10-Z9" not in browser_page.locator("#tags").inner_html()
    browser_page.locator("[name=tag]").press_sequentially("z9")
    expect(browser_page.locator("#tags option[value='GUB10-Z9']")).to_be_attached()


def test_the_whole_block_of_an_item_can_be_tapped(browser_page: Page) -> None:
    world = make_project()
    make_item(world, text="Label of outgoing way 7 does not match the drawing")
    sign_in(browser_page, world.engineer)
    browser_page.goto(reverse("punch-list", args=[world.project.code]))
    block = browser_page.locator(".punch-rows tbody tr")
    assert (block.bounding_box() or {})["height"] >= 48
    block.locator(".what").tap(force=True)
    expect(browser_page.get_by_role("heading", level=1)).to_contain_text("P-1")


def test_it_all_works_without_any_script(browser_page: Page, live_product: Product) -> None:
    world = make_project()
    browser = browser_page.context.browser
    assert browser is not None
    context = browser.new_context(base_url=live_product.address, java_script_enabled=False)
    page = context.new_page()
    sign_in(page, world.manager)
    page.goto(reverse("punch-new", args=[world.project.code]))
    page.locator("label", has_text="before handover").click()
    page.locator("[name=text]").fill("Paint scratched on the door")
    page.locator("[name=tag]").fill("GUB10")
    page.get_by_role("button", name="raise it").click()
    page.locator("[name=remark]").fill("Touched up")
    page.get_by_role("button", name="record it rectified").click()
    expect(page.locator(".life")).to_contain_text("Touched up")
    page.goto(reverse("punch-list", args=[world.project.code]))
    page.locator("[name=item]").check()
    page.get_by_role("button", name="say who owes the ticked ones").click()
    page.locator("[name=owes]").select_option(str(world.engineer.pk))
    page.get_by_role("button", name="set it for all of them").click()
    page.get_by_role("button", name="take the last assignment back").click()
    context.close()
    steps = list(PunchItem.objects.get().steps.values_list("step", flat=True))
    assert steps == ["raised", "rectified", "assigned", "assign_undone"]
