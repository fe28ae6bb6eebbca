"""The phone's screens, used as a person uses them: with no signal, then with it."""

from __future__ import annotations

from datetime import datetime

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from commissioning.labels.codes import code_of
from commissioning.models import AlarmSighting, CheckResult, ProofOfDead, Reading, SignalProof, SupplyPoint
from punchlist.models import PunchItem
from tests.journeys.phone.conftest import APP, Pocket
from tests.journeys.phone.plant import TAKEN_AT, equip, one_line_of_each, photo
from tests.support.browser import PHONE, show_whole, sign_in, wait_in
from tests.support.looks import objections

pytestmark = pytest.mark.browser

#: A browser that reads codes, as few do, with a camera that sees one after the other.
READER = """
  window.stopped = 0;
  window.code = "a parcel";
  window.BarcodeDetector = class {
    static getSupportedFormats = async () => ["qr_code"];
    detect = async () => [{ rawValue: window.code }];
  };
  navigator.mediaDevices.getUserMedia = async () => {
    const canvas = document.createElement("canvas");
    const pen = canvas.getContext("2d");
    setInterval(() => pen.fillRect(0, 0, 9, 9), 50);
    const stream = canvas.captureStream();
    stream.getTracks().forEach((track) => { track.stop = () => { window.stopped += 1; }; });
    return stream;
  };
"""
#: Targets lower than 48 px; a choice is pressed by the whole of its label.
TOO_LOW = """() => [...document.querySelectorAll("button, a, input, select, textarea, summary, label.choice")]
  .filter((one) => one.checkVisibility() && !one.closest(".visually-hidden, .skip, label:not(.button)"))
  .map((one) => [one, one.getBoundingClientRect().height]).filter(([, high]) => high < 47.5)
  .map(([one, high]) => `${one.outerHTML.slice(0, 90)} is ${high} px high`)"""


def press(page: Page, keys: str) -> None:
    """On the number keys of the screen."""
    for key in keys.split():
        page.click(f".pad button >> text=/^{key}$/")


def arrived(pocket: Pocket) -> None:
    """What waits is sent, also what could still be taken back; the server took all of it."""
    later = f"const {{ outbox }} = {APP}; outbox.sender.now = () => Date.now() + 11000; await outbox.sendAll();"
    pocket.page.evaluate(f"async () => {{ {later} }}")
    assert [(one["kind"], one["reason"]) for one in pocket.outbox() if one["state"] != "arrived"] == []
    pocket.page.wait_for_selector(".sending-state >> text=all arrived")


def sharp_objections(page: Page) -> list[str]:
    """What axe objects to, with the contrast of 7:1 and the targets that this app promises; in both schemes."""
    show_whole(page)
    promised = {"color-contrast-enhanced": {"enabled": True}, "target-size": {"enabled": True}}
    found = objections(page, rules=promised)
    page.emulate_media(color_scheme="dark")
    found += [f"dark {one}" for one in objections(page, runOnly=["color-contrast", "color-contrast-enhanced"])]
    page.emulate_media(color_scheme="light")
    wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
    low = page.evaluate(TOO_LOW)
    page.set_viewport_size(PHONE)
    return found + [f"scrolls sideways by {wide} px"] * (wide > 0) + low


def test_a_procedure_is_run_line_by_line_without_signal_and_stops_at_its_hold_point(pocket: Pocket) -> None:
    page, world = pocket.page, pocket.world
    broken: list[str] = []
    page.on("pageerror", lambda error: broken.append(str(error)))
    pocket.stage.lines.all().delete()
    lines = one_line_of_each(pocket.stage, equip(world))
    pocket.sign_in()
    pocket.take_along()
    pocket.go_under()

    pocket.open(f"#/systems/{world.system.pk}")
    page.click("text=next open line")
    page.wait_for_selector("text=line 1 of 6")
    expect(page.locator(".work-line")).to_contain_text("LIVE work")
    page.click("input[name=measured]")
    press(page, "1 9 0 V")
    page.wait_for_selector(".verdict-bar.s-reject")
    for _ in range(5):
        page.click("[aria-label=delete]")
    press(page, "2 3 1")
    page.wait_for_selector(".verdict-bar.s-accept")
    expect(page.locator(".working")).to_contain_text("231")  # the working stands beside it
    press(page, "V done")
    page.select_option("select[name^=instrument]", index=1)
    page.wait_for_selector(".verdict-bar >> text=probability of conformity 100.0 %")
    page.click("text=keep the reading")
    page.wait_for_selector("text=line 2 of 6")  # the next open line by itself
    page.wait_for_selector(".undo-bar >> text=Kept: accept.")
    page.click(".undo-bar >> text=undo")
    page.wait_for_selector("text=line 1 of 6")
    page.wait_for_selector("text=Taken back. Nothing of it was sent.")
    assert pocket.outbox() == []
    page.fill("input[name=measured]", "231 V")
    press(page, "done")
    page.click("text=keep the reading")

    page.wait_for_selector("text=line 2 of 6")
    page.click("text=failed")
    page.wait_for_selector("text=Say what was wrong")
    page.fill("textarea[name=remark]", "Row 2 is loose")
    page.click("text=failed")
    page.wait_for_selector(".answered >> text=failed")  # it stays there: the snag is logged from here
    page.click("text=answer again")
    page.click(".thumb-bar >> text=passed")

    page.wait_for_selector("text=First prove dead at the point of work")
    page.fill("input[name=point_of_work]", "Terminals of Q1")
    page.fill("input[name=detector]", "VD-7 0093")
    page.click("text=record the proof of dead")
    page.wait_for_selector("text=Prove the detector on a known source before the test.")
    for box in page.locator("input[type=checkbox]").all():
        box.check()
    page.click("text=record the proof of dead")
    page.wait_for_selector("text=Dead is what it was proved to be there and then")
    page.click(".thumb-bar >> text=passed")
    page.wait_for_selector("text=line 4 of 6")
    page.click(".timer >> text=start 1 s")
    page.wait_for_selector("text=Done: it may be let go.")
    page.click(".thumb-bar >> text=passed")

    page.wait_for_selector("text=Hold point for the client")
    page.click(".thumb-bar >> text=passed")
    page.wait_for_selector("text=Work stops here until the client has witnessed it")
    page.click("nav[aria-label=lines] >> text=next")
    page.wait_for_selector("text=This stands in the way")
    assert page.locator(".thumb-bar >> text=passed").count() == 0
    assert Reading.objects.count() == CheckResult.objects.count() == 0

    pocket.come_up()
    arrived(pocket)
    assert Reading.objects.get().verdict == "accept"
    standing = CheckResult.objects.filter(superseded_at=None).order_by("line__order")
    assert [(row.line, row.outcome) for row in standing] == [
        (lines[name], "passed") for name in ("looked", "injects", "relay", "hold")
    ]
    assert ProofOfDead.objects.get().detector == "VD-7 0093"
    assert broken == []


def test_a_snag_with_its_photos_is_logged_without_signal(pocket: Pocket) -> None:
    page, world = pocket.page, pocket.world
    cabinet = equip(world)
    pocket.sign_in()
    page.goto(f"/p/{pocket.code}/tags/{cabinet.pk}/")  # where the label leads; nothing is taken along yet
    page.click("text=log a snag")
    expect(page.locator("input[name=tag]")).to_have_value(cabinet.tag)
    expect(page.locator(".chosen-place")).to_contain_text("rectifier cabinet")
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    wait_in(page, "navigator.serviceWorker.controller !== null")
    pocket.go_under()
    pocket.open("#/snag")
    page.fill("input[name=tag]", "t1")
    page.click(f".tags-found >> text={cabinet.tag}")
    pictures = [
        {
            "name": f"{place}.jpg",
            "mimeType": "image/jpeg",
            "buffer": photo(size=(2400, 1800), colour=f"#0000{place:02x}"),
        }
        for place in range(11)
    ]
    page.set_input_files("input[type=file]", pictures[:1])
    page.wait_for_selector("text=another photo (1 of 10)")
    page.set_input_files(
        "input[type=file]", [*pictures[1:], {"name": "notes.txt", "mimeType": "image/jpeg", "buffer": b"no"}]
    )
    page.wait_for_selector("text=An item takes 10 photos; the rest were not kept.")
    for _ in range(8):
        page.click(".photo-strip li:last-child >> text=leave out")
    page.click(".photo-strip li:first-child >> text=mark")
    box = page.locator(".marking canvas").bounding_box()
    page.mouse.move(box["x"] + 40, box["y"] + 40)
    page.mouse.down()
    page.mouse.move(box["x"] + 140, box["y"] + 140, steps=4)
    page.mouse.up()
    page.fill(".marking input", "the gland at the left")
    page.click("text=keep the marks")
    page.click("text=keep the snag")
    page.wait_for_selector("text=Say how bad it is")
    page.click(".how-bad >> text=before this stage's gate")
    page.click("text=keep the snag")
    page.wait_for_selector("text=Say what is wrong")
    page.fill("textarea[name=text]", "Gland missing at the bottom entry")
    page.click("text=keep the snag")
    page.wait_for_selector("text=Snag kept on this phone, category A.")
    expect(page.locator(".items")).to_contain_text("Gland missing at the bottom entry, 2 photos, logged on this phone")

    item, marked, plain = pocket.outbox()
    assert (marked["body"]["caption"], marked["body"]["item"]) == ("the gland at the left", item["id"])
    assert datetime.fromisoformat(plain["body"]["taken_at"]) == TAKEN_AT
    sent = [pocket.picture(one) for one in (marked, plain)]
    for picture in sent:
        assert picture.size == (1200, 1600)  # upright, and smaller
        assert not picture.getexif()
        red, green, blue = picture.getpixel((600, 300))
        assert (red > 230, green < 30, blue < 30) == (True, True, True)
    assert all(one.getpixel((600, 300))[1] < 60 for one in sent)  # the finger's marks go beside it
    (mark,) = marked["body"]["marks"]
    assert (mark["tool"], len(mark["path"])) == ("circle", 2)
    assert "marks" not in plain["body"]
    pocket.come_up()
    arrived(pocket)
    kept = PunchItem.objects.get()
    assert (kept.equipment, kept.category) == (cabinet, "A")
    first, second = (Image.open(one.file) for one in kept.photos.order_by("recorded_at"))
    (left, _), (right, bottom) = mark["path"]
    middle, low = round((left + right) / 2 * 1200), round(bottom * 1600)
    greenest = [max(one.getpixel((middle, y))[1] for y in range(low - 20, low + 20)) for one in (first, second)]
    assert (greenest[0] > 200, greenest[1] < 60) == (True, True)  # the white edge of the circle stands on red ground
    assert {photo.taken_at for photo in kept.photos.all()} == {TAKEN_AT}


def test_a_label_is_read_in_the_app_where_the_browser_reads_codes(pocket: Pocket) -> None:
    page, world = pocket.page, pocket.world
    cabinet = equip(world)
    page.add_init_script(READER)
    pocket.sign_in()
    pocket.take_along()
    pocket.go_under()
    pocket.open("#/snag")
    page.click("text=scan a label")
    page.wait_for_selector("text=This label is not on this phone: a parcel")
    page.evaluate("label => { window.code = label; }", f"{pocket.link.address}/t/{code_of(cabinet.pk)}/")
    expect(page.locator("input[name=tag]")).to_have_value(cabinet.tag)
    expect(page.locator(".scan-view")).to_be_hidden()
    assert page.evaluate("window.stopped") == 1  # the camera is off again


def test_an_alarm_and_an_isolation_are_recorded_without_signal_and_a_release_is_not(pocket: Pocket) -> None:
    page, world = pocket.page, pocket.world
    supply = SupplyPoint.objects.create(system=world.system, tag="Q2", kind="temporary", description="from the yard")
    pocket.sign_in()
    pocket.take_along()
    pocket.go_under()
    pocket.open(f"#/systems/{world.system.pk}/alarms")
    page.click("text=write it down")
    page.wait_for_selector("text=Write the alarm down as the display words it.")
    page.fill("input[name=text]", "EARTH FAULT")
    page.click("text=write it down")
    page.wait_for_selector(".items >> text=EARTH FAULT")
    pocket.open(f"#/systems/{world.system.pk}/supplies")
    page.wait_for_selector(".energy >> text=not recorded - treat as LIVE")
    page.wait_for_selector("text=A release never waits to be sent.")
    page.wait_for_selector("text=A permission to energise is signed with signal only")
    page.click("text=record it isolated")
    page.fill("input[name=lock_number]", "L-311")
    page.click(".thumb-bar >> text=record it isolated")
    page.wait_for_selector("text=Prove dead at the point of work.")
    page.wait_for_selector(
        ".energy >> text=recorded isolated - prove dead at the point of work (recorded on this phone)"
    )
    pocket.open(f"#/systems/{world.system.pk}")
    page.wait_for_selector("text=A gate is accepted with signal only")
    pocket.come_up()
    arrived(pocket)
    supply.refresh_from_db()
    assert (supply.state, supply.lock_number) == ("isolated", "L-311")
    assert AlarmSighting.objects.get().text == "EARTH FAULT"


def test_a_forced_signal_is_confirmed_by_a_second_person_on_their_own_phone(pocket: Pocket) -> None:
    page, world = pocket.page, pocket.world
    equip(world)
    pocket.sign_in()
    pocket.take_along()
    pocket.open(f"#/systems/{world.system.pk}/signals")
    page.click("text=force it now")
    page.wait_for_selector("text=Waiting for the far end")
    assert page.locator("text=I see it").count() == 0  # nobody confirms their own
    other = page.context.browser.new_context(base_url=pocket.link.address, viewport=PHONE)
    far = other.new_page()
    sign_in(far, world.second_engineer)
    far.goto(f"/p/{pocket.code}/phone/#/?take={world.system.pk}")
    far.wait_for_selector("text=1 system taken along.")
    far.goto(f"/p/{pocket.code}/phone/#/systems/{world.system.pk}/signals")
    far.click("text=I see it")
    page.wait_for_selector("text=Seen at the far end by Wren Halloway. Restore it.")
    page.click("text=it is restored")
    page.wait_for_selector("text=is restored.")
    arrived(pocket)
    proof = SignalProof.objects.get()
    assert (proof.forced_by, proof.seen_by, proof.restored_by) == (
        world.engineer,
        world.second_engineer,
        world.engineer,
    )
    other.close()


def test_axe_objects_to_nothing_on_any_screen_in_light_and_in_the_dark(pocket: Pocket) -> None:
    page, world, stage = pocket.page, pocket.world, pocket.stage
    stage.lines.all().delete()
    lines = one_line_of_each(stage, equip(world))
    pocket.sign_in()
    pocket.take_along()
    system, run = f"#/systems/{world.system.pk}", f"#/systems/{world.system.pk}/run/{stage.pk}"
    supply = world.system.supplies.first()
    told = {
        name: f"{run}/{line.pk}" for name, line in lines.items()
    } | {name: f"{system}/{name}" for name in ("signals", "alarms", "supplies")}  # fmt: skip
    told |= {"along": "#/", "outbox": "#/outbox", "snag": f"#/snag?system={world.system.pk}", "system": system}
    told |= {"stage": run, "isolate": f"{system}/supplies?supply={supply.pk}", "nowhere": "#/nowhere/at/all"}
    page.goto(f"/p/{pocket.code}/phone/{told['measured']}")
    page.fill("input[name=measured]", "231 V")
    page.wait_for_selector(".verdict-bar.s-accept")
    found = {"verdict": sharp_objections(page)}
    for name, address in told.items():
        page.evaluate(f"async (hash) => {APP}.go(hash)", address)
        found[name] = sharp_objections(page)
    assert {name: said for name, said in found.items() if said} == {}
