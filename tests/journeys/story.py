"""The people of a journey, the project that they work on, and what they do again and again."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from django.utils import timezone
from playwright.sync_api import Browser

from commissioning.models import CheckLine, Instrument, Project, Role, Stage, SupplyPoint, System
from commissioning.services import projects
from deploy.demo import walk
from tests.journeys.people import Person, browsers
from tests.journeys.station import SYSTEM
from tests.support.browser import LAPTOP, PHONE
from tests.support.product import Product
from tests.support.world import PASSWORD, make_member, make_user

MECHANICAL, PRE, ENERGISATION, CONNECTED = (
    "mechanical_completion", "pre_energisation", "energisation", "battery_connected",
)  # fmt: skip
ISOLATED = "recorded isolated - prove dead at the point of work"


@dataclass
class Story:
    """The people, each with a browser, and the project that they work on."""

    project: Project
    manager: Person
    engineer: Person
    second: Person
    client: Person

    @property
    def system(self) -> System:
        return System.objects.select_related("project").get(project=self.project, tag=SYSTEM)

    @property
    def team(self) -> walk.Team:
        people = (self.manager.user, self.engineer.user, self.second.user, self.client.user)
        meters = tuple(Instrument.objects.filter(project=self.project).prefetch_related("ranges", "calibrations"))
        return walk.Team(*people, passwords={person.pk: PASSWORD for person in people}, meters=meters)

    def stage(self, kind: str) -> Stage:
        return Stage.objects.select_related("system__project").get(system=self.system, kind=kind)

    def line(self, key: str, tag: str = "") -> CheckLine:
        rows = CheckLine.objects.filter(stage__system=self.system, key=key, retired_at__isnull=True)
        return rows.get(equipment__tag=f"{SYSTEM}-{tag}") if tag else rows.get()

    def supply(self, name: str) -> SupplyPoint:
        return self.system.supplies.get(tag=f"{SYSTEM}-{name}")

    def others_up_to(self, kind: str, key: str = "") -> None:
        """The lines in between, by the services: in order, up to the line of this key."""
        for line in walk.open_lines(self.stage(kind)):
            if line.key == key:
                return
            walk.do_line(self.team, line)

    def on_line(self, key: str, tag: str = "", *, who: Person | None = None) -> Person:
        return (who or self.engineer).open("run-line", self.line(key, tag).pk)


@contextmanager
def new_project(live_product: Product, chromium: Browser, folder: Path) -> Iterator[Story]:
    """An empty project: nothing but its people."""
    manager = make_user(username="isolde", name="Isolde Marrack")
    others = [
        make_user(username=username, name=name)
        for username, name in (("tobin", "Tobin Ashgrove"), ("wren", "Wren Halloway"), ("perpetua", "Perpetua Lunn"))
    ]
    project = projects.create_project(
        manager=manager,
        code="OMB",
        name="Ombrefell Water, station supplies",
        client_name="Ombrefell Water",
        contractor_name="Pellwick Electrical",
        time_zone="Europe/London",
    )
    make_member(project=project, user=manager, role=Role.MANAGER, authorised_person=True)
    for user, role in zip(others, (Role.FIELD_ENGINEER, Role.FIELD_ENGINEER, Role.CLIENT), strict=True):
        make_member(project=project, user=user, role=role)
    wanted = [(manager, LAPTOP), (others[0], PHONE), (others[1], PHONE), (others[2], LAPTOP)]
    with browsers(chromium, live_product.address, project.code, wanted, folder) as people:
        yield Story(project, *people)


def isolate(who: Person, supply: SupplyPoint, lock: str) -> None:
    who.open("supply", supply.pk).type(lock_number=lock).press("record it isolated").sees("is recorded isolated")


def measured_with(who: Person, serial: str, *, unit: str) -> None:
    """Choose the instrument for a unit, where the line asks for one."""
    field = who.page.get_by_label(f"Measured with, for {unit}", exact=True)
    found = field.locator("option", has_text=serial).get_attribute("value")
    field.select_option(found)


def the_client_accepts(story: Story, kind: str) -> None:
    """Only who did none of the work, and only with the password."""
    client, stage = story.client, story.stage(kind)
    story.engineer.open("stage-accept", stage.pk).sees("You cannot sign this gate")
    client.open("stage", stage.pk).follow("accept the gate").sees("Your signature covers")
    client.type(password="something else").press("sign the acceptance").sees("This is not your password.")
    assert story.stage(kind).state == "started"
    client.type(password=PASSWORD, remark="Seen and agreed.").press("sign the acceptance").sees("is accepted")
    client.sees("SHA-256 of what was signed").follow("prove this signature").sees("is the record that was signed")


def in_hours(hours: int) -> str:
    """A moment some hours on, as it is typed in the project's zone."""
    return f"{timezone.now().astimezone(ZoneInfo('Europe/London')) + timedelta(hours=hours):%Y-%m-%d %H:%M}"
