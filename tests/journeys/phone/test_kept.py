"""What a phone holds is never lost: the session ends, the disk is full, the server refuses, somebody leaves."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, Route, expect

from commissioning.models import CheckResult, OutboxItem, Project
from punchlist.models import PunchItem
from tests.journeys.phone.conftest import APP, Pocket
from tests.journeys.phone.plant import POSITION, equip, photo
from tests.support.programs import wait_until
from tests.support.world import PASSWORD

pytestmark = pytest.mark.browser
#: The disk has room for entries, and none for photos.
FULL = """() => {
  window.put = IDBObjectStore.prototype.put;
  IDBObjectStore.prototype.put = function (value, ...more) {
    if (value instanceof Blob) throw new DOMException("no room", "QuotaExceededError");
    return window.put.call(this, value, ...more);
  };
}"""


def send_now(page: Page) -> None:
    page.click(".thumb-bar >> text=send now")


def states(pocket: Pocket) -> list[str]:
    return [one["state"] for one in pocket.outbox()]


def test_an_ended_session_asks_to_sign_in_and_keeps_everything_and_a_wrong_clock_is_corrected(pocket: Pocket) -> None:
    page = pocket.page
    page.clock.install(time=timezone.now() + timedelta(hours=2))  # the phone's clock is two hours fast
    pocket.sign_in()
    pocket.take_along()
    pocket.context.clear_cookies()
    pocket.open("#/outbox")
    pocket.keep("check_result", pocket.result(pocket.lines[1]))
    send_now(page)
    page.wait_for_selector("text=Sign in to send. Everything that waits is kept.")
    page.wait_for_selector(".sending-state >> text=sign in to send, 1 waiting")
    assert states(pocket) == ["waiting"]
    page.click(".news >> text=sign in")
    page.fill("input[name=username]", pocket.world.engineer.username)
    page.fill("input[name=password]", PASSWORD)
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/phone/#/outbox")  # back where it was
    page.wait_for_selector("text=Everything that was recorded on this phone has arrived.")
    result = CheckResult.objects.get()
    assert abs(result.at - timezone.now()) < timedelta(minutes=2)
    pocket.open("#/")
    page.wait_for_selector("text=120 min fast: the server corrects the times")


def test_a_full_phone_says_so_and_what_was_typed_stays_on_the_screen(pocket: Pocket) -> None:
    page = pocket.page
    equip(pocket.world)
    Project.objects.filter(pk=pocket.world.project.pk).update(keep_photo_position=True)
    pocket.sign_in()
    pocket.take_along()
    pocket.open(f"#/snag?system={pocket.world.system.pk}")
    page.set_input_files("input[type=file]", {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": photo()})
    page.wait_for_selector("text=another photo (1 of 10)")
    page.click(".how-bad >> text=before handover")
    page.fill("textarea[name=text]", "Gland missing")
    page.evaluate(FULL)
    page.click("text=keep the snag")
    page.wait_for_selector("text=This phone has no room left, so the entry was not kept.")
    assert page.input_value("textarea[name=text]") == "Gland missing"
    assert pocket.outbox() == []  # neither the item without its photo nor the photo alone
    page.evaluate("() => { IDBObjectStore.prototype.put = window.put; }")
    page.click("text=keep the snag")
    page.wait_for_selector("text=Snag kept on this phone, category B.")
    item, kept = pocket.outbox()
    assert (item["kind"], kept["kind"]) == ("punch_item", "photo")
    exif = pocket.picture(kept).getexif()  # this project wants to know where a photo was taken, and nothing else of it
    assert set(exif) == {POSITION}
    assert exif.get_ifd(POSITION)[2] == (54.0, 12.0, 30.0)


def test_what_the_server_refuses_stays_with_its_reason_until_it_is_mended_or_dropped(pocket: Pocket) -> None:
    page = pocket.page
    pocket.sign_in()
    pocket.take_along()
    pocket.open("#/outbox")
    system = str(pocket.world.system.pk)
    for text in ("", "Not here"):
        pocket.keep("punch_item", {"category": "B" if not text else "E", "text": text, "system": system})
    pocket.keep("check_result", pocket.result(pocket.lines[1]))
    send_now(page)
    page.wait_for_selector(".sending-state >> text=2 need you")
    assert states(pocket) == ["needs you", "needs you", "arrived"]  # what is refused holds nobody up
    pocket.open("#/")
    pocket.open("#/outbox")
    expect(page.locator(".entry:has(.reason)")).to_have_count(2)
    mended, dropped = page.locator(".entry:has(.reason)").all()
    assert all(row.locator(".reason").inner_text().strip() for row in (mended, dropped))
    mended.locator("text=mend it").click()
    page.fill(".mending textarea", "Gland missing")
    page.click("text=send it mended")
    page.wait_for_selector(".sending-state >> text=1 needs you")
    page.click(".entry >> text=drop it")
    page.click(".mending >> text=drop it")
    assert states(pocket).count("needs you") == 1  # not without a reason
    page.fill(".mending textarea", "Logged by mistake")
    page.click(".mending >> text=drop it")
    page.wait_for_selector("text=Dropped: Logged by mistake")
    send_now(page)
    page.wait_for_selector(".sending-state >> text=all arrived")
    assert PunchItem.objects.get().text == "Gland missing"
    wait_until(lambda: OutboxItem.objects.filter(state="dropped").exists(), what="the server told of what was dropped")
    kept = OutboxItem.objects.get(state="dropped")
    assert (kept.dropped_reason, kept.dropped_by) == ("Logged by mistake", pocket.world.engineer)


def test_what_is_held_is_shown_and_goes_at_sign_out_and_when_the_person_leaves_the_project(pocket: Pocket) -> None:
    page, world = pocket.page, pocket.world
    pocket.sign_in()
    pocket.take_along()
    pocket.open("#/")
    said = page.locator("main")
    expect(said).to_contain_text("As it stood just now")
    expect(said).to_contain_text("that this browser allows")
    expect(said).to_contain_text("ask to keep it")
    pocket.go_under()
    pocket.keep("check_result", pocket.result(pocket.lines[1]))
    page.reload()
    expect(said).to_contain_text("1 entry not on the server yet")
    pocket.come_up()
    world.project.memberships.filter(user=world.engineer).delete()
    page.evaluate(f"async () => {APP}.outbox.sendAll()")
    expect(page.locator(".phone-news")).to_contain_text("1 entry of it was not sent")
    page.click(".phone-news >> text=keep or drop them")
    page.wait_for_selector("text=show it to a manager of the project, or drop it")
    assert (page.evaluate(f"async () => (await {APP}.store.bundles()).length"), states(pocket)) == (0, ["needs you"])
    page.goto("/")
    page.evaluate("document.querySelector('form[action*=sign-out]').requestSubmit()")  # it stands in a menu
    page.wait_for_selector("text=1 entry on this phone is not on the server yet")
    page.click("text=sign out, keep them here")
    page.wait_for_url("**/sign-in/**")
    page.goto("/phone/")
    page.wait_for_selector("text=Nothing is taken along yet")
    assert states(pocket) == ["needs you"]


def test_at_sign_out_what_was_not_sent_is_listed_and_only_what_is_ticked_is_dropped(pocket: Pocket) -> None:
    page, system = pocket.page, str(pocket.world.system.pk)
    pocket.sign_in()
    pocket.take_along()
    pocket.open("#/outbox")
    refused = pocket.keep("punch_item", {"category": "B", "text": "", "system": system})
    send_now(page)
    page.wait_for_selector(".sending-state >> text=1 needs you")
    kept = pocket.keep("check_result", pocket.result(pocket.lines[1]), hold=50_000)
    gone = pocket.keep("check_result", pocket.result(pocket.lines[2]), hold=50_000)
    page.goto("/")
    page.evaluate("document.querySelector('form[action*=sign-out]').requestSubmit()")  # it stands in a menu
    rows = page.locator("dialog.leaving li")
    expect(rows).to_have_count(3)
    expect(rows.nth(0)).to_contain_text("not taken: ")
    expect(rows.nth(1)).to_contain_text(pocket.lines[1].title)
    page.check(f"dialog.leaving input[value='{refused}']")
    page.check(f"dialog.leaving input[value='{gone}']")
    page.click("text=drop the ticked, keep the rest, sign out")
    expect(page.locator("dialog.leaving [role=alert]")).to_have_text("Say why they are dropped.")
    assert OutboxItem.objects.get().state == "needs_you"
    page.fill("[name=drop_reason]", "Logged by mistake")
    page.click("text=drop the ticked, keep the rest, sign out")
    page.wait_for_url("**/sign-in/**")
    item = OutboxItem.objects.get()
    assert (str(item.pk), item.state, item.dropped_reason) == (refused, "dropped", "Logged by mistake")
    page.goto("/phone/")
    page.wait_for_selector("text=Nothing is taken along yet")
    assert [(one["id"], one["state"]) for one in pocket.outbox()] == [(kept, "waiting")]


def test_a_screen_that_was_left_while_it_waited_has_no_say_over_the_buttons_of_the_next(pocket: Pocket) -> None:
    page = pocket.page
    pocket.sign_in()
    held: list[Route] = []
    page.route("**/api/v1/projects/*/systems/**", lambda route: held.append(route))
    pocket.open("#/")
    page.wait_for_selector(".thumb-bar >> text=tick what to take along")
    page.wait_for_timeout(50)
    page.evaluate("location.hash = '#/outbox'")
    page.wait_for_selector(".thumb-bar >> text=send now")
    held[0].abort()  # the screen that is left hears only now that there is no signal
    page.wait_for_timeout(300)
    expect(page.locator(".thumb-bar >> text=send now")).to_be_visible()
