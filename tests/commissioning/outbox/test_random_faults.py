"""A thousand small schedules of faults: the phone's own outbox and sender against the server's own views.

Nothing is lost, nothing is there twice, within a system all is taken in order, and no rule of the gate is broken.
"""

from __future__ import annotations

import base64
import random
import uuid
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.db import transaction
from django.utils import timezone

from commissioning.models import (
    Acceptance,
    AlarmSighting,
    AuditEntry,
    CheckLine,
    CheckResult,
    OutboxFile,
    OutboxItem,
    SupplyChange,
    SupplyPoint,
)
from commissioning.services.lines import record_result
from punchlist.models import Photo, PunchItem
from tests.commissioning.views.run_plant import line_on, started
from tests.punchlist.making import picture
from tests.support.phone import KILLED, LOST, Answer, Asked, Killed, NodePhone, Refused, Server, node_phone, said
from tests.support.world import World, make_system

pytestmark = pytest.mark.django_db
#: In each run of the suite, and with the benchmarks, where there is time for all.
FEW, ALL = 150, 1000
MADE = {"check_result": CheckResult, "alarm_sighting": AlarmSighting, "punch_item": PunchItem, "photo": Photo}
PICTURE = picture().read()
#: How far the phone's clock is ahead, in milliseconds.
CLOCKS = (0, 40_000, -180_000, 7_200_000, -86_400_000)


class Schedule:
    """One phone's day: what is recorded, what goes wrong, what happens elsewhere meanwhile."""

    def __init__(self, plant: Plant, phone: NodePhone, seed: int) -> None:
        self.plant, self.phone, self.seed = plant, phone, seed
        self.chance = random.Random(seed)
        self.healed = False
        self.undone: set[str] = set()
        self.elsewhere: set[str] = set()
        self.server = Server(plant.world.engineer)
        self.faults: Counter[str] = Counter()
        phone.server, phone.link = self.server, self.link

    # the link

    def link(self, asked: Asked, server: Callable[[], Answer]) -> Answer:
        fate = 1.0 if self.healed else self.chance.random()
        if fate < 0.08:
            return self.note("request lost", LOST)
        if fate < 0.11:
            return self.note("killed before", KILLED)
        if fate < 0.14:
            return self.note("busy", said(503, {}))
        if fate < 0.16:
            return self.note("signed out", said(401, {"detail": "Sign in."}))
        if fate < 0.18:
            return self.note("another's page", said(200, "<html>", type="text/html"))
        answer = server()
        if fate < 0.33:
            return self.note("answer lost", LOST)
        if fate < 0.38:
            return self.note("killed after", KILLED)
        return answer

    def note(self, fault: str, answer: Answer) -> Answer:
        self.faults[fault] += 1
        return answer

    # the day

    def run(self) -> None:
        ahead = self.chance.choice(CLOCKS)
        self.phone.do("fresh")
        self.open(ahead)
        for _ in range(self.chance.choice((1, 1, 2, 2, 3))):
            self.tried(self.record)
            self.tried(self.chance.choice((self.send, self.send, self.undo, self.kill, self.meanwhile, self.nothing)))
        self.settle()
        self.healed = True
        for _ in range(4):
            self.send()
            if not [one for one in self.entries() if one["state"] in ("waiting", "sending")]:
                break
            self.phone.do("later", milliseconds=11_000)

    def tried(self, deed: Callable[[], None]) -> None:
        try:
            deed()
        except Killed:
            self.open(self.ahead)
        except Refused as refusal:
            self.faults[str(refusal)[:24]] += 1

    def open(self, ahead: int) -> None:
        self.ahead = ahead
        engineer = self.plant.world.engineer
        self.phone.do("open", person={"id": engineer.pk, "name": engineer.name}, ahead=ahead)

    def nothing(self) -> None:
        """Time passes."""

    def send(self) -> None:
        self.phone.do("send")

    def kill(self) -> None:
        self.phone.do("kill")
        self.open(self.ahead)

    def record(self) -> None:
        kind = self.chance.choices(("alarm", "snag", "result", "rogue", "photos"), (35, 30, 15, 10, 10))[0]
        if self.chance.random() < 0.05:
            self.phone.do("disk", full=True)
        try:
            getattr(self, f"record_{kind}")()
        finally:
            self.phone.do("disk", full=False)

    def add(self, *entries: dict[str, Any]) -> list[str]:
        hold = self.chance.choice((0, 0, 10_000))
        shared = {"project": self.plant.world.project.code, "hold": hold}
        return list(self.phone.do("add", entries=[{**shared, **entry} for entry in entries]))

    def record_alarm(self) -> None:
        system, stage = self.chance.choice(self.plant.places)
        text = self.chance.choice(("Earth fault", "Earth fault", ""))  # one without words is refused
        self.add({"system": system, "kind": "alarm_sighting", "body": {"stage": stage, "text": text}})

    def record_snag(self, photos: int = 0) -> None:
        system, _ = self.chance.choice(self.plant.places)
        key, category = str(uuid.uuid4()), self.chance.choice("BCB?")
        body = {"system": system, "category": category, "text": "Gland loose"}
        photo = {"system": system, "kind": "photo", "body": {"item": key}, "octets": base64.b64encode(PICTURE).decode()}
        self.add({"id": key, "system": system, "kind": "punch_item", "body": body}, *[photo] * photos)

    def record_photos(self) -> None:
        self.record_snag(photos=1)

    def record_result(self) -> None:
        line = self.chance.choice(self.plant.lines)
        outcome = self.chance.choice(("passed", "failed"))
        body = {"line": str(line.pk), "outcome": outcome, "remark": "Row 3"}
        self.add({"system": str(self.plant.world.system.pk), "kind": "check_result", "body": body})

    def record_rogue(self) -> None:
        """What the phone refuses to record, and what a tampered one sends all the same."""
        kind = self.chance.choice(("supply_released", "acceptance", "permission"))
        with pytest.raises(Refused, match="with signal only"):
            self.add({"system": str(self.plant.world.system.pk), "kind": kind, "body": {}})
        if self.entries():
            self.phone.do("rogue", kind=kind, id=str(uuid.uuid4()))

    def undo(self) -> None:
        if entries := self.entries():
            id = self.chance.choice(entries)["id"]
            before = {one["id"] for one in entries}
            self.phone.do("undo", id=id)
            self.undone |= before - {one["id"] for one in self.entries()}

    def settle(self) -> None:
        """What was refused is mended or dropped, some of it."""
        for one in self.entries():
            if one["state"] != "needs you" or self.chance.random() < 0.3:
                continue
            if self.chance.random() < 0.5:
                better = {
                    **one["body"],
                    "text": "Put right",
                    **({"category": "C"} if "category" in one["body"] else {}),
                }
                self.tried(lambda one=one, better=better: self.phone.do("mend", id=one["id"], body=better))
            else:
                self.tried(lambda one=one: self.phone.do("drop", id=one["id"], reason="Seen twice"))
            self.tried(self.send)

    def entries(self) -> list[dict[str, Any]]:
        return list(self.phone.do("list"))

    # elsewhere

    def meanwhile(self) -> None:
        what = self.chance.choice(("answers", "accept", "live"))
        world, now = self.plant.world, timezone.now()
        if what == "answers" and not self.elsewhere & {"accept"}:
            line = self.plant.lines[0]
            record_result(actor=world.second_engineer, line=line, outcome="passed")
        elif what == "accept":
            stage = world.stages[0]
            stage.state = "accepted"
            stage.save()
            if not stage.acceptances.exists():
                Acceptance.objects.create(
                    stage=stage, signed_by=world.manager, signed_name="Isolde Marrack", signed_role="manager",
                    signed_at=now, signed_content={}, signed_hash="0" * 64,
                )  # fmt: skip
        elif what == "live":
            supply = world.system.supplies.get()
            SupplyPoint.objects.filter(pk=supply.pk).update(state="released", changed_at=now)
            SupplyChange.objects.create(supply=supply, state="released", by=world.manager, at=now)
        self.elsewhere.add(what)

    # what must be true

    def check(self) -> None:
        entries = {one["id"]: one for one in self.entries()}
        items = {str(one.pk): one for one in OutboxItem.objects.all()}
        states = {id: one["state"] for id, one in entries.items()}
        assert set(states.values()) <= {"arrived", "needs you", "mended", "dropped"}, states
        assert not set(items) & self.undone
        assert set(items) <= set(entries)
        for id, entry in entries.items():
            if entry.get("local") or (id not in items and entry["state"] in ("dropped", "mended")):
                continue  # the server never saw it
            item = items[id]
            assert item.get_state_display() == entry["state"], (entry, item.state)
            assert item.body == entry["body"]
        self.once(entries)
        self.in_order(entries)
        self.gate()

    def once(self, entries: dict[str, Any]) -> None:
        """A record for each entry that arrived, of what it says, and none besides."""
        for kind, model in MADE.items():
            arrived = {id for id, one in entries.items() if one["kind"] == kind and one["state"] == "arrived"}
            made = model._default_manager.all()
            made = made.filter(by=self.plant.world.engineer) if model is CheckResult else made
            if model is Photo:  # the same picture twice is one photo of its item
                assert {str(pk) for pk in made.values_list("pk", flat=True)} <= arrived
                items = {entries[id]["body"]["item"] for id in arrived}
                assert items == {str(pk) for pk in made.values_list("item", flat=True)}
            else:
                assert {str(pk) for pk in made.values_list("pk", flat=True)} == arrived
        for alarm in AlarmSighting.objects.all():
            assert alarm.text == entries[str(alarm.pk)]["body"]["text"]

    def in_order(self, entries: dict[str, Any]) -> None:
        """Within a system the server took them in the order in which they were recorded."""
        taken: dict[str, list[int]] = {}
        for item in OutboxItem.objects.order_by("received_at", "place"):
            taken.setdefault(str(item.system_id), []).append(entries[str(item.pk)]["seq"])
        assert all(places == sorted(places) for places in taken.values()), taken
        if not self.elsewhere:
            for line in CheckLine.objects.filter(stage=self.plant.world.stages[0]):
                said_last = [one for one in entries.values() if one["body"].get("line") == str(line.pk)]
                said_last = [one for one in said_last if one["state"] == "arrived"]
                last = max(said_last, key=lambda one: one["seq"], default=None)
                assert line.state == (last["body"]["outcome"] if last else "open")

    def gate(self) -> None:
        """Nothing was accepted, released or permitted; nothing was recorded where it could not be."""
        actions = set(AuditEntry.objects.values_list("action", flat=True))
        assert not actions & {"supply_released", "stage_accepted", "permission_signed"}
        mine = CheckResult.objects.filter(by=self.plant.world.engineer)
        for signed in Acceptance.objects.all():
            assert not mine.filter(line__stage=signed.stage, recorded_at__gt=signed.signed_at).exists()
        for released in SupplyChange.objects.filter(state="released"):
            assert not mine.filter(line__work="dead", recorded_at__gt=released.recorded_at).exists()


class Plant:
    """Two systems in hand; every schedule finds them as they were."""

    def __init__(self, world: World) -> None:
        self.world = world
        first = started(world)
        self.lines = [line_on(first), line_on(first, work="dead"), line_on(first)]
        second = make_system(site=world.site, tag="GUB20").stages.order_by("order")[0]
        self.places = [(str(stage.system_id), str(stage.pk)) for stage in (first, second)]


@pytest.mark.parametrize("schedules", [FEW, pytest.param(ALL, marks=pytest.mark.benchmark_ratio)])
def test_random_schedules_of_faults_lose_nothing_and_do_nothing_twice(
    small_world: World, tmp_path: Path, schedules: int
) -> None:
    plant = Plant(small_world)
    faults: Counter[str] = Counter()
    states: Counter[str] = Counter()
    with node_phone(tmp_path) as phone:
        for seed in range(schedules):
            with transaction.atomic():
                schedule = Schedule(plant, phone, seed)
                try:
                    schedule.run()
                    schedule.check()
                except AssertionError as error:
                    raise AssertionError(f"schedule {seed}: {dict(schedule.faults)}") from error
                faults += schedule.faults
                states.update(one["state"] for one in schedule.entries())
                transaction.set_rollback(True)
    assert (
        min(faults[one] for one in ("request lost", "answer lost", "killed before", "killed after", "busy"))
        >= schedules // 150
    )
    assert min(states[one] for one in ("arrived", "needs you", "mended", "dropped")) >= schedules // 150, states
    assert OutboxFile.objects.count() == 0
