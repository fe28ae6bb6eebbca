"""What happened elsewhere while the phone had no signal: each rule of `services.outbox_conflicts`, one test a rule.

In each both records are kept, and the person is told in one sentence.
"""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from commissioning.models import CheckLine, CheckResult, OutboxItem, Reading, Stage
from commissioning.selectors.access import access_or_404
from commissioning.selectors.facts import stage_facts
from commissioning.selectors.take_along import head_of
from commissioning.services import lines, register_places
from commissioning.services.readings import record_reading
from commissioning.services.stages import accept_stage
from punchlist.models import Photo, PunchItem
from punchlist.services.items import close_item, rectify_item
from tests.commissioning.outbox.sending import Phone, words
from tests.commissioning.views.plant import add_supply, record_live
from tests.commissioning.views.run_plant import line_on, started, supply_line
from tests.punchlist.making import make_equipment, make_item, picture
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db
AGO = timedelta(minutes=1)


@pytest.fixture
def stage(small_world: World) -> Stage:
    return started(small_world)


@pytest.fixture
def phone(small_world: World) -> Phone:
    return Phone(small_world, small_world.engineer)


def head(world: World) -> int:
    return head_of(access_or_404(user=world.engineer, project=world.project))


def knew(line: CheckLine, **more: Any) -> dict[str, Any]:
    return {"line": {"state": "open", "changed": None, "procedure_version": line.procedure_version, **more}}


def test_of_two_engineers_on_a_line_what_was_made_last_stands_whichever_arrives_last(
    small_world: World, stage: Stage, phone: Phone
) -> None:
    line, other = supply_line(stage), small_world.second_engineer
    theirs = record_reading(actor=other, line=line, typed={"measured": "231"}, taken_at=timezone.now() - 30 * AGO)
    earlier = phone.reading(line, "190", ago=60 * AGO, seen=knew(line))
    (late,) = phone.results(earlier)
    assert late["state"] == "arrived"
    assert "Wren Halloway measured ('accept') this line at" in words([late])[0]
    assert "theirs stands, yours is kept on record." in words([late])[0]
    line.refresh_from_db()
    theirs.refresh_from_db()
    assert (line.state, theirs.superseded_at) == ("passed", None)
    mine = Reading.objects.get(pk=late["record"]["id"])
    assert (mine.verdict, mine.superseded_by, mine.superseded_at is None) == ("reject", theirs, False)

    later = phone.result(line, "failed", "Fuse pulled", ago=10 * AGO, seen=knew(line))
    (result,) = phone.results(later)
    assert "yours of" in words([result])[0]
    assert "was made later and stands, theirs is kept." in words([result])[0]
    line.refresh_from_db()
    assert line.state == "failed"
    again = phone.result(line, "failed", "Fuse still out", seen=knew(line))
    assert words(phone.results(again)) == [""]  # one's own answers are no news
    assert Reading.objects.count() + CheckResult.objects.count() == 4


def test_a_line_reopened_after_the_answer_was_made_stays_open(small_world: World, stage: Stage, phone: Phone) -> None:
    line = line_on(stage)
    lines.record_result(actor=small_world.second_engineer, line=line, outcome="passed")
    lines.reopen_line(actor=small_world.manager, line=line, reason="Wrong cubicle")
    (result,) = phone.results(phone.result(line, ago=30 * AGO, seen=knew(line)))
    assert "Isolde Marrack reopened this line at" in words([result])[0]
    line.refresh_from_db()
    assert line.state == "open"
    assert line.results.count() == 3


def test_a_photo_for_an_item_closed_meanwhile_is_kept_and_the_item_stays_closed(
    small_world: World, phone: Phone
) -> None:
    item = make_item(small_world)
    rectify_item(actor=small_world.engineer, item=item)
    close_item(actor=small_world.client, item=item)
    photo = phone.item("photo", {"item": str(item.pk), "sha256": phone.upload(picture().read())}, ago=60 * AGO)
    (result,) = phone.results(photo)
    assert words([result])[0].startswith(f"{item.label} was closed by Perpetua Lunn at ")
    assert (PunchItem.objects.get().state, Photo.objects.get().item) == ("closed", item)


def test_a_stage_accepted_before_a_reading_arrived_keeps_the_reading_with_its_verdict_for_a_manager(
    small_world: World, stage: Stage, phone: Phone
) -> None:
    line = supply_line(stage)
    record_reading(actor=small_world.second_engineer, line=line, typed={"measured": "231"})
    accept_stage(stage=stage, signed_by=small_world.manager, password=PASSWORD)
    late = phone.reading(line, "190", ago=60 * AGO, seen=knew(line))
    snag = phone.snag(category="A", body={"stage": str(stage.pk)}, ago=60 * AGO)
    refused, raised = phone.results(late, snag)
    assert refused["state"] == "needs you"
    said = words([refused])[0]
    assert "Mechanical completion was accepted by Isolde Marrack at" in said
    assert "The server's verdict of it would be 'reject'." in said
    assert refused["reading"]["verdict"] == "reject"
    assert refused["reading"]["result"]["working"]
    assert OutboxItem.objects.get(pk=late["id"]).body == late["body"]
    assert (Reading.objects.count(), stage_facts(stage=stage).state) == (1, "accepted")
    assert raised["state"] == "arrived"
    assert "it shows there as an exception and stops the next stage" in words([raised])[0]
    assert phone.results(late)[0]["reading"] == refused["reading"]


def test_what_was_recorded_stays_with_a_thing_whose_tag_was_changed(
    small_world: World, stage: Stage, phone: Phone
) -> None:
    equipment = make_equipment(small_world.system, "T1")
    line = line_on(stage, equipment=equipment)
    seen = {"head": head(small_world)}
    register_places.change_equipment(actor=small_world.manager, equipment=equipment, tag="T7")
    snag = phone.snag(body={"equipment": str(equipment.pk)}, seen=seen)
    del snag["body"]["system"]
    results = phone.results(phone.result(line, seen=seen), snag, phone.result(line, seen={}))
    sentence = "T1 was renamed T7 since this phone took it along"
    assert [sentence in said for said in words(results)] == [True, True, False]
    assert PunchItem.objects.get().equipment == equipment
    since = {"head": head(small_world)}
    assert words(phone.results(phone.result(line, seen=since))) == [""]


def test_a_line_of_an_edited_procedure_is_judged_as_it_says_now_and_one_that_was_dropped_is_refused(
    stage: Stage, phone: Phone
) -> None:
    line = supply_line(stage, procedure_version="1.2")
    line.inputs = {**line.inputs, "tolerance": {"kind": "value", "value": 2}}
    line.save()
    retired, gone = line_on(stage), line_on(stage)
    items = [
        phone.reading(line, "240", seen=knew(line, procedure_version="1.1")),
        phone.result(retired, seen=knew(retired)),
        phone.result(gone, seen=knew(gone)),
    ]
    CheckLine.objects.filter(pk=retired.pk).update(retired_at=timezone.now())
    CheckLine.objects.filter(pk=gone.pk).delete()
    judged, *dropped = phone.results(*items)
    assert (judged["state"], judged["reading"]["verdict"]) == ("arrived", "reject")
    assert "(1.1 is 1.2 now)" in words([judged])[0]
    assert [one["state"] for one in dropped] == ["needs you"] * 2
    assert "dropped from the procedure" in words(dropped)[0]
    assert "this line was dropped" in words(dropped)[1]
    assert OutboxItem.objects.filter(state="needs_you").count() == 2


def test_a_supply_changed_after_the_isolation_was_made_and_dead_work_on_what_is_live_are_refused_and_kept(
    small_world: World, phone: Phone
) -> None:
    supply = add_supply(small_world.system, isolated_by=small_world.engineer)
    line = line_on(started(small_world), work="dead", injects_voltage=True)
    proof = {
        "line": str(line.pk),
        "point_of_work": "F1",
        "detector": "VD-07",
        "proved_before": True,
        "proved_after": True,
    }
    record_live(supply, by=small_world.second_engineer)
    isolated = phone.item("supply_isolated", {"supply": str(supply.pk), "lock_number": "L-9"}, ago=600 * AGO)
    results = phone.results(
        isolated, phone.item("proof_of_dead", proof, ago=500 * AGO), phone.result(line, ago=400 * AGO)
    )
    assert [one["state"] for one in results] == ["needs you"] * 3
    assert "after this isolation. Look, and record how it stands now." in words(results)[0]
    assert "recorded LIVE" in words(results)[1]
    assert "recorded LIVE" in words(results)[2]
    assert OutboxItem.objects.filter(state="needs_you").count() == 3
    supply.refresh_from_db()
    assert supply.state == "released"
