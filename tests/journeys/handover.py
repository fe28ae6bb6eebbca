"""The battery connected, the last gate, and the dossier that is read back from its PDF."""

from __future__ import annotations

from datetime import timedelta
from hashlib import sha256
from io import BytesIO

from django.utils import timezone
from pypdf import PdfReader

from commissioning.models import AlarmSighting, Stage, SupplyPoint
from commissioning.services import supplies
from punchlist.models import PunchItem
from tests.journeys.station import BATTERY, SYSTEM
from tests.journeys.story import (
    CONNECTED,
    Story,
    in_hours,
    the_client_accepts,
)
from tests.support.logs import discharge_test
from tests.support.world import PASSWORD


def the_battery_is_connected(story: Story) -> None:
    """The supply and the battery released under a new permission; the expected alarm is seen to clear."""
    engineer, stage = story.engineer, story.stage(CONNECTED)
    engineer.open("system", story.system.pk).press("start battery-connected").sees("is started")
    named = [story.supply("Q1"), story.supply("Q2")]
    permit_and_release(story, stage, named)
    assert "battery: links or fuses recorded closed; LIVE" in engineer.open("system", story.system.pk).energy()
    story.on_line("bc-120").within("summary").filter(has_text="give notice to the client").click()
    engineer.type(planned_for=in_hours(2)).press("give the notice").sees("Notice is given for")
    story.others_up_to(CONNECTED, "bc-240")
    the_discharge_test_is_read(story)
    story.others_up_to(CONNECTED, "bc-270")
    expected = AlarmSighting.objects.get(text="BATTERY DISCONNECTED")
    story.client.open("stage", stage.pk).sees("BATTERY DISCONNECTED")
    engineer.open("alarms").follow("BATTERY DISCONNECTED").sees("Next: see it clear.")
    engineer.type(remark="Cleared when the isolator was closed.").press("it has cleared").sees("Seen to clear.")
    expected.refresh_from_db()
    assert expected.cleared_by == engineer.user
    story.others_up_to(CONNECTED)


def the_discharge_test_is_read(story: Story) -> None:
    """The logger's file, its columns confirmed, read, and on its line as a reading; the client was there."""
    engineer = story.engineer
    story.on_line("bc-240").follow("bring in the recording")
    log = discharge_test(cells=54, hours=10.2, interval=60, amperes=20).frame().write_csv().encode()
    engineer.page.set_input_files("[name=file]", {"name": "synthetic.csv", "mimeType": "text/csv", "buffer": log})
    engineer.press("upload the log").sees("Which column is what?")
    engineer.type(temperature="20").press("confirm the columns and read the log")
    engineer.sees("to the check line")
    # independent: the log is made so that its cells reach 1.80 V after 10.2 h at 20 A, 612 min and 204 Ah
    said = engineer.within(".verdict-bar.s-accept").inner_text()
    assert "612" in said
    assert "204" in said
    engineer.follow("to the check line").sees("witness point for the client")
    story.on_line("bc-240", who=story.client).press("I was there and have seen it").sees("witnessed by")


def permit_and_release(story: Story, stage: Stage, named: list[SupplyPoint]) -> None:
    permission = supplies.sign_permission(
        signed_by=story.manager.user,
        stage=stage,
        supplies=named,
        valid_until=timezone.now() + timedelta(hours=10),
        password=PASSWORD,
        precautions="Barriers up, eye wash and insulated tools at hand.",
    )
    for supply in named:
        supplies.release_supply(actor=story.engineer.user, supply=supply, permission=permission)


def everything_is_accepted(story: Story) -> None:
    client = story.client
    the_client_accepts(story, CONNECTED)
    client.open("system", story.system.pk).sees("Every stage is accepted.")
    client.open("tag", story.system.equipment.get(tag=BATTERY).pk).sees("battery, 54 cells VRLA")


def the_dossier_is_handed_over(story: Story) -> None:
    """Asked for by the client, seen to be built, downloaded, signed for, found unchanged, and read."""
    client = story.client
    client.open("system", story.system.pk).follow("ask for a dossier")
    client.press("see what is missing").sees("nothing is missing")
    client.press("ask for the dossier").sees("You can leave this page; the work goes on.")
    client.sees("read the essentials here", patience=120)
    with client.page.expect_download() as begun:
        client.page.get_by_role("link", name="download the PDF").click()
    data = begun.value.path().read_bytes()
    digest = sha256(data).hexdigest()
    client.sees("complete", digest)
    client.type(password=PASSWORD).press("sign the receipt").sees("Your receipt is signed.", "Received by")
    client.page.goto("/check/")
    client.page.set_input_files("[name=file]", {"name": "d.pdf", "mimeType": "application/pdf", "buffer": data})
    client.press("check this file").sees("unchanged")
    what_the_dossier_says(story, data)


def what_the_dossier_says(story: Story, data: bytes) -> None:
    """Read back with a PDF reader that is not the product's: everything that happened stands in it."""
    reader = PdfReader(BytesIO(data))
    fields = reader.get_fields() or {}
    assert [one.get("/FT") for one in fields.values()].count("/Sig") == 1
    pages = [page.extract_text() for page in reader.pages]
    # Lines wrap where the page ends: what is looked for is looked for without its spaces.
    said = "".join("".join(pages).split())
    missing = [one for one in expected_words(story) if "".join(one.split()) not in said]
    assert missing == [], f"{len(pages)} pages; not found: {missing}"
    assert "interim" not in pages[0].lower()
    assert "complete" in pages[0].lower()


def expected_words(story: Story) -> list[str]:
    """Names, hashes of signatures, locks, readings with their working, alarms, the punch item, the signal matrix."""
    people = (story.manager, story.engineer, story.second, story.client)
    signed = [stage.acceptances.get(withdrawn_at__isnull=True) for stage in story.system.stages.all()]
    item = PunchItem.objects.get(alarm__text="BATTERY FUSE FAILURE")
    assert len(signed) == 4
    return [
        *(person.user.name for person in people),
        *(acceptance.signed_hash for acceptance in signed),
        *(f"L-30{number}" for number in (1, 2, 3, 4)),
        *("122.7", "122.58", "0.045", "612"),
        "Fed by the generator under a single-phase load; measured again on the mains.",
        "two-pole voltage detector VD-07",
        "The eye wash of the room beside serves this one.",
        *("EARTH FAULT", "BATTERY DISCONNECTED", "BATTERY FUSE FAILURE"),
        "Cleared when the isolator was closed.",
        *(item.label, item.text, "Terminal tightened to its torque.", "Seen in place."),
        *(f"{SYSTEM}-K1", f"{SYSTEM}-K2", "station controller DI 3/1"),
        *("MM-2207", "C-MM-2207", "Touch-up paint on the door", BATTERY, "SN-G1"),
    ]
