"""A phone on a link that can be cut, with a small project to work on."""

from __future__ import annotations

import base64
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser, BrowserContext, Page

from commissioning.models import CheckLine, Stage, User
from tests.commissioning.views.run_plant import line_on, meter, started, supply_line
from tests.support.browser import PHONE, sign_in, wait_in
from tests.support.link import Link, link_to
from tests.support.product import Product
from tests.support.world import World, make_project

#: The app of the page, as its own modules have it.
APP = "(await import(document.querySelector('script[src*=shell]').src)).app"


#: The octets of a photo that waits in the outbox.
OCTETS = f"""async (sum) => new Promise(async (done) => {{
  const reader = new FileReader();
  reader.onload = () => done(reader.result.split(",")[1]);
  reader.readAsDataURL(await {APP}.store.file(sum));
}})"""


@dataclass
class Pocket:
    """A phone in somebody's pocket: its browser, the link, and the system that it takes along."""

    world: World
    stage: Stage
    lines: list[CheckLine]
    link: Link
    context: BrowserContext
    page: Page

    @property
    def code(self) -> str:
        return self.world.project.code

    def open(self, hash: str = "#/", page: Page | None = None) -> None:
        (page or self.page).goto(f"/p/{self.code}/phone/{hash}")

    def sign_in(self, user: User | None = None) -> None:
        sign_in(self.page, user or self.world.engineer)

    def take_along(self) -> None:
        """From the system's page, by its link; then the worker has to be ready to do without signal."""
        self.page.goto(f"/p/{self.code}/systems/{self.world.system.pk}/")
        self.page.click("text=take along")
        self.page.wait_for_selector("text=1 system taken along.")
        self.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        wait_in(self.page, "navigator.serviceWorker.controller !== null")

    def go_under(self) -> None:
        """No signal from now on, as the browser has it and as the link has it."""
        self.link.signal = False
        self.context.set_offline(True)

    def come_up(self) -> None:
        """The signal is back."""
        self.link.signal = True
        self.context.set_offline(False)

    def keep(self, kind: str, body: dict[str, Any], page: Page | None = None, hold: int = 0) -> str:
        """What a screen does with an entry: into the outbox; answers its id."""
        entry = {"project": self.code, "system": str(self.world.system.pk), "kind": kind, "body": body, "hold": hold}
        return str((page or self.page).evaluate(f"async (entry) => (await {APP}.outbox.add(entry)).id", entry))

    def outbox(self, page: Page | None = None) -> list[dict[str, Any]]:
        return list((page or self.page).evaluate(f"async () => {APP}.outbox.list()"))

    def picture(self, entry: dict[str, Any]) -> Image.Image:
        """The photo of an entry, as it waits on the phone."""
        return Image.open(io.BytesIO(base64.b64decode(self.page.evaluate(OCTETS, entry["files"][0]))))

    def result(self, line: CheckLine, remark: str = "") -> dict[str, Any]:
        return {"line": str(line.pk), "outcome": "passed", "remark": remark}


@pytest.fixture
def pocket(live_product: Product, _chromium: Browser) -> Iterator[Pocket]:
    """A phone with a system of four lines in hand, signed in nowhere yet."""
    world = make_project()
    stage = started(world)
    meter(world)
    lines = [supply_line(stage), *(line_on(stage) for _ in range(3))]
    with link_to(live_product.address) as link:
        context = _chromium.new_context(base_url=link.address, viewport=PHONE, has_touch=True)
        page = context.new_page()
        yield Pocket(world, stage, lines, link, context, page)
        context.close()
