"""What the server refuses of a phone's items: kept with its reason, mended or dropped, and nobody else's trouble."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db import OperationalError
from django.utils import timezone
from PIL import Image

from commissioning.models import AuditEntry, CheckResult, OutboxFile, OutboxItem, Reading
from commissioning.services import outbox_deeds
from commissioning.services.outbox_files import sweep_files
from commissioning.tasks import sweep_files as sweep_files_task
from deploy.celery import app
from punchlist.models import Photo, PunchItem
from tests.commissioning.outbox.sending import Item, Phone
from tests.commissioning.views.run_plant import line_on, started, supply_line
from tests.punchlist.making import picture
from tests.support.world import World

pytestmark = pytest.mark.django_db


@pytest.fixture
def phone(small_world: World) -> Phone:
    started(small_world)
    return Phone(small_world, small_world.engineer)


def state_of(item: Item) -> str:
    return OutboxItem.objects.get(pk=item["id"]).state


def broken(monkeypatch: pytest.MonkeyPatch, kind: str, fault: Callable[[Item], Exception | None]) -> None:
    """The service of a kind meets a fault with some of its items."""
    whole = dict(outbox_deeds.kinds())

    def apply(access: Any, deed: Any, given: Any) -> Any:
        if error := fault(deed.body):
            CheckResult.objects.filter(line=given["line"]).delete()  # half a deed, which must not stay
            raise error
        return whole[kind].apply(access, deed, given)

    monkeypatch.setattr(
        "commissioning.services.outbox.kinds", lambda: {**whole, kind: replace(whole[kind], apply=apply)}
    )


def test_a_fault_of_the_server_with_one_item_needs_its_person_and_the_others_go_on(
    phone: Phone, small_world: World, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    lines = [line_on(small_world.stages[0]) for _ in range(3)]
    broken(monkeypatch, "check_result", lambda body: KeyError("x") if body["remark"] == "strange" else None)
    items = [phone.result(lines[0]), phone.result(lines[1], remark="strange"), phone.result(lines[2])]
    results = phone.results(*items)
    assert [one["state"] for one in results] == ["arrived", "needs you", "arrived"]
    assert results[1]["sentences"][0].startswith("The server met a fault of its own")
    assert results[1]["refusal"]["type"] == "/problems/fault"
    assert [one["known"] for one in phone.results(*items)] == [True] * 3
    assert "KeyError" in caplog.text
    assert items[1]["id"] in caplog.text
    monkeypatch.undo()
    again = phone.result(lines[1], remark="strange", mends=items[1]["id"])
    assert phone.states(again) == ["arrived"]
    assert state_of(items[1]) == "mended"


def test_behind_a_passing_trouble_the_items_of_that_system_wait_and_nothing_of_them_is_kept(
    phone: Phone, small_world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    lines = [line_on(small_world.stages[0]) for _ in range(3)]
    broken(monkeypatch, "check_result", lambda body: OperationalError("locked") if body["remark"] == "busy" else None)
    items = [phone.result(lines[0]), phone.result(lines[1], remark="busy"), phone.result(lines[2])]
    elsewhere = phone.snag(system=None)
    assert phone.states(*items, elsewhere) == ["arrived", "again", "again", "arrived"]
    assert OutboxItem.objects.count() == 2
    monkeypatch.undo()
    assert phone.states(*items) == ["arrived"] * 3
    assert list(CheckResult.objects.order_by("recorded_at").values_list("line__order", flat=True)) == [1, 2, 3]


def test_what_is_mended_ends_the_refused_item_and_is_not_done_twice(phone: Phone, small_world: World) -> None:
    line = line_on(small_world.stages[0])
    refused = phone.result(line, outcome="failed")  # without words what was wrong
    assert phone.states(refused) == ["needs you"]
    mending = phone.result(line, outcome="failed", remark="Gland loose", mends=refused["id"])
    assert phone.states(mending, mending) == ["arrived", "arrived"]
    assert state_of(refused) == "mended"
    twice = phone.result(line, outcome="failed", remark="Gland loose", mends=refused["id"])
    after_all = phone.result(line, outcome="passed", mends=mending["id"])
    results = phone.results(twice, after_all)
    assert "mended already" in results[0]["sentences"][0]
    assert "arrived after all" in results[1]["sentences"][0]
    others = Phone(small_world, small_world.second_engineer)
    assert "not an item of yours" in others.results(others.result(line, mends=twice["id"]))[0]["sentences"][0]
    assert CheckResult.objects.count() == 1


def test_what_leans_on_a_refused_item_waits_for_it_and_is_dropped_with_it(phone: Phone, small_world: World) -> None:
    snag = phone.snag(text="")
    photo = phone.item("photo", {"item": snag["id"], "sha256": phone.upload(picture().read())})
    alone = phone.result(line_on(small_world.stages[0]), outcome="failed")
    results = phone.results(snag, photo, alone)
    assert [one["state"] for one in results] == ["needs you"] * 3
    assert list(results[1]["sentences"]) == [
        "It belongs to the punch item that was refused. Mend that one, and this goes with it."
    ]
    listed = {row["id"]: row for row in phone.client.get(phone.base).data["results"]}
    assert str(listed[photo["id"]]["waits_for"]) == snag["id"]
    dropped = phone.client.post(f"{phone.base}{snag['id']}/drop/", {"reason": "Seen by somebody else"})
    assert dropped.status_code == 200
    assert [state_of(one) for one in (snag, photo, alone)] == ["dropped", "dropped", "needs_you"]
    assert AuditEntry.objects.filter(action="phone_item_dropped").count() == 2
    late = phone.item("photo", {"item": snag["id"], "sha256": phone.upload(picture().read())})
    assert "was dropped: Seen by somebody else" in phone.results(late)[0]["sentences"][0]
    assert not PunchItem.objects.exists()


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        ({"verdict": "accept", "value": 100 * (231 - 230) / 230, "edition": "1"}, ""),
        ({"verdict": "accept"}, ""),
        ({"verdict": "reject", "value": 9, "edition": "0"}, "verdict is 'accept'; the phone had shown 'reject'."),
        ({"verdict": "accept", "value": 9.0}, "computed 0.434783 where the phone had 9; the verdict is the same"),
    ],
)  # fmt: skip
def test_the_servers_verdict_counts_and_a_difference_is_said_and_kept(
    phone: Phone, small_world: World, said: dict[str, Any], sentence: str
) -> None:
    item = phone.reading(supply_line(small_world.stages[0]))
    item["body"]["phone_verdict"] = said
    first, again = phone.results(item)[0], phone.results(item)[0]
    assert first["state"] == "arrived"
    assert Reading.objects.get().verdict == "accept" == first["reading"]["verdict"]
    assert first["reading"]["differs"] is bool(sentence)
    assert first["reading"]["phone_verdict"] == said
    assert sentence in " ".join(first["sentences"])
    assert ("edition 0" in str(first["sentences"])) is (said.get("edition") == "0")
    assert again["reading"] == first["reading"]
    assert again["sentences"] == first["sentences"]


def test_marks_of_a_finger_are_drawn_into_the_photo_that_is_kept(phone: Phone) -> None:
    snag, sha = phone.snag(), phone.upload(picture(size=(400, 300)).read())
    marks = [
        {"tool": "circle", "path": [[0.6, 0.6], [0.8, 0.9]]},
        {"tool": "arrow", "path": [[0.6, 0], [0.8, 0.5]]},
        {"tool": "line", "path": [[0.9, 0.1], [0.9, 0.5], [0.9, 0.9]]},
    ]
    photo = phone.item("photo", {"item": snag["id"], "sha256": sha, "marks": marks})
    outside = phone.item(
        "photo", {"item": snag["id"], "sha256": sha, "marks": [{"tool": "line", "path": [[0, 0], [0, 2]]}]}
    )
    assert phone.states(snag, photo, outside) == ["arrived", "arrived", "needs you"]
    with Image.open(Photo.objects.get().file) as kept:
        for x, y in ((0.6, 0.75), (0.7, 0.6), (0.7, 0.25), (0.9, 0.5)):
            spot = [kept.getpixel((round(x * 400) + dx, round(y * 300) + dy)) for dx in (-1, 0, 1) for dy in (-1, 0, 1)]
            assert any(red > 150 and blue < 90 for red, _, blue in spot), (x, y, spot)


def test_half_sent_files_are_swept_by_the_clock_except_those_that_a_refused_item_names(phone: Phone) -> None:
    wanted, left = phone.upload(picture().read()), phone.upload(picture(colour="navy").read())
    phone.results(phone.item("photo", {"item": str(uuid4()), "sha256": wanted}))
    sweep_files()
    assert OutboxFile.objects.count() == 2
    OutboxFile.objects.update(touched_at=timezone.now() - timedelta(days=8))
    sweep_files_task()
    assert list(OutboxFile.objects.values_list("sha256", flat=True)) == [wanted] != [left]
    app.loader.import_default_modules()  # as a worker does when it starts
    scheduled = {entry["task"] for entry in app.conf.beat_schedule.values()}
    assert scheduled <= set(app.tasks)
    assert sweep_files_task.name in scheduled
