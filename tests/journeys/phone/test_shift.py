"""A whole shift in the basement: sixty lines, twenty snags, forty photos, and a link that loses what was answered."""

from __future__ import annotations

import io
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Page

from commissioning.models import AuditEntry, CheckLine, CheckResult, OutboxItem, Reading
from commissioning.phone_files import version
from punchlist.models import Photo, PunchItem
from tests.commissioning.views.run_plant import line_on, supply_line
from tests.journeys.phone.conftest import APP, Pocket
from tests.support.browser import wait_in
from tests.support.programs import wait_until

pytestmark = pytest.mark.browser

NEXT_VERSION = "beefbeefbeefbeef"
#: What the screens do with a line and with a snag, by the app's own functions, for many at once.
BULK = f"""async ({{ project, system, lines, snags }}) => {{
  const {{ outbox }} = {APP};
  const {{ prepared }} = await import(`/phone/${{document.body.dataset.version}}/phone/photos.js`);
  const keep = (entries) => outbox.addAll(entries.map((entry) => ({{ project, system, hold: 0, ...entry }})));
  const taken = async (words) => {{
    const canvas = Object.assign(document.createElement("canvas"), {{ width: 800, height: 600 }});
    const pen = canvas.getContext("2d");
    pen.font = "40px sans-serif";
    pen.fillStyle = "grey";
    pen.fillText(words, 20, 300);
    const blob = await new Promise((done) => canvas.toBlob(done, "image/png"));
    return prepared(new File([blob], "camera.png", {{ type: "image/png" }}));
  }};
  for (const {{ id, measured }} of lines) {{
    await keep([measured ? {{ kind: "reading", body: {{ line: id, typed: {{ measured }} }} }}
      : {{ kind: "check_result", body: {{ line: id, outcome: "passed" }} }}]);
  }}
  for (const text of snags) {{
    const id = crypto.randomUUID();
    const photos = [await taken(`${{text}}, left`), await taken(`${{text}}, right`)]
      .map(({{ blob, takenAt }}) => ({{ kind: "photo", files: [blob], body: {{ item: id, taken_at: takenAt }} }}));
    await keep([{{ id, kind: "punch_item", body: {{ category: "B", text, system }} }},
      ...photos]);
  }}
}}"""


def in_bulk(pocket: Pocket, lines: list[CheckLine], snags: range) -> None:
    told: list[dict[str, Any]] = [
        {"id": str(line.pk), "measured": "231" if line.calculation else ""} for line in lines
    ]  # fmt: skip
    given = {"project": pocket.code, "system": str(pocket.world.system.pk), "lines": told}
    pocket.page.evaluate(BULK, {**given, "snags": [f"Snag number {number}" for number in snags]})


def by_hand(page: Page) -> None:
    """A reading, a passed line, a failed one and the snag that it leads to, with two photos; on the screens."""
    page.fill("input[name=measured]", "231")
    page.press("input[name=measured]", "Tab")
    page.click("text=keep the reading")
    page.click("text=line 2 of 60")
    page.click(".thumb-bar >> text=passed")
    page.click("text=line 3 of 60")
    page.fill("textarea[name=remark]", "Loose")
    page.click("text=failed")
    page.click(".thumb-bar >> text=log a snag")
    noise = Image.effect_noise((1600, 1200), 90)  # as large as a photo gets, so that it goes in several chunks
    for turned in (0, 180):
        out = io.BytesIO()
        noise.rotate(turned).save(out, "JPEG", quality=90)
        page.set_input_files("input[type=file]", {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": out.getvalue()})
    page.wait_for_selector("text=another photo (2 of 10)")
    page.fill("textarea[name=text]", "Snag number 1")
    page.click("text=keep the snag")
    page.wait_for_selector("text=Snag kept on this phone, category A.")


def opened(pocket: Pocket, hash: str = "#/") -> Page:
    """The tab is killed, wherever it was; the app is opened in another."""
    pocket.page.close()
    pocket.page = pocket.context.new_page()
    pocket.open(hash)
    pocket.page.wait_for_selector(".screen h1")
    return pocket.page


def test_every_record_of_a_shift_arrives_exactly_once_and_in_order(pocket: Pocket) -> None:
    stage, link = pocket.stage, pocket.link
    lines = [*pocket.lines, *(supply_line(stage) if place % 3 else line_on(stage) for place in range(56))]
    pocket.sign_in()
    pocket.take_along()
    pocket.go_under()
    pocket.open(f"#/systems/{pocket.world.system.pk}/run/{stage.pk}/{lines[0].pk}")
    by_hand(pocket.page)
    in_bulk(pocket, lines[3:30], range(2, 11))
    opened(pocket)  # the phone was dropped
    in_bulk(pocket, lines[30:], range(11, 21))
    made = pocket.outbox()
    assert len(made) == 60 + 20 + 40
    assert OutboxItem.objects.count() == 0

    link.lose_answers = 0.3
    pocket.come_up()
    page = opened(pocket, "#/outbox")
    wait_until(lambda: send(pocket, wait=False) >= 10, what="the first entries to arrive")
    link.release = (version(), NEXT_VERSION)  # the server is updated
    page.evaluate("navigator.serviceWorker.ready.then((found) => found.update())")
    page.click("text=take it now")
    wait_in(page, f"document.body.dataset.version === '{NEXT_VERSION}'")
    wait_until(lambda: send(pocket, wait=False) >= 70, what="more to arrive")
    opened(pocket, "#/outbox")  # killed with a request on its way
    wait_until(lambda: send(pocket) == len(made), what="all of it to arrive", seconds=120)
    pocket.page.wait_for_selector("text=Everything that was recorded on this phone has arrived.")
    assert link.lost > 20

    ids = [one["id"] for one in made]
    assert [str(key) for key in OutboxItem.objects.order_by("received_at", "place").values_list("pk", flat=True)] == ids
    assert set(OutboxItem.objects.values_list("state", flat=True)) == {"arrived"}
    answers = [*Reading.objects.values_list("line", flat=True), *CheckResult.objects.values_list("line", flat=True)]
    assert sorted(answers) == sorted(line.pk for line in lines)
    assert sorted(PunchItem.objects.values_list("text", flat=True)) == sorted(f"Snag number {n}" for n in range(1, 21))
    assert Photo.objects.count() == Photo.objects.values("sha256").distinct().count() == 40
    assert {item.photos.count() for item in PunchItem.objects.all()} == {2}
    done = AuditEntry.objects.filter(object_id__in=ids).order_by("sequence").values_list("object_id", flat=True)
    assert list(dict.fromkeys(done)) == [key for key in ids if key in set(done)]


def send(pocket: Pocket, *, wait: bool = True) -> int:
    """Let the app send, as it does when the signal is back; how many entries it knows to be on the server."""
    begun = f"const {{ outbox }} = {APP}; const sent = outbox.sendAll();"
    known = "(await outbox.counts()).arrived"
    return int(pocket.page.evaluate(f"async () => {{ {begun} {'await sent;' if wait else ''} return {known}; }}"))
