"""`python -m tests.support.pictures`: the README's pictures, taken from the demo as it runs.

The demo starts in a data folder of its own, on a free port, and is stopped afterwards. Each picture is kept small
enough for a page that is read over a telephone.
"""

from __future__ import annotations

import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from io import BytesIO
from pathlib import Path

import django
from PIL import Image
from playwright.sync_api import Page

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "tests.support.settings")
django.setup()

from deploy.demo.people import LOGINS, PROJECT_CODE  # noqa: E402 - people are models, and models want settings first
from tests.support.browser import LAPTOP, PHONE, chromium, sign_in  # noqa: E402
from tests.support.product import ROOT  # noqa: E402
from tests.support.programs import free_port, running, wait_until  # noqa: E402

FOLDER = ROOT / ".pictures"
MANAGER, ENGINEER, _ = LOGINS
#: The system that is recorded LIVE in the demo, in the middle of its first energisation.
LIVE_SYSTEM = "TTW-GUB10"
FLOAT_LINE = "Measure the bus float voltage with no battery connected"
#: Enough for flat colours and the edges of letters.
COLOURS = 192
LARGEST = 200_000


@contextmanager
def demo(folder: Path) -> Iterator[str]:
    """The address of the demo, running on data of its own."""
    port, said = free_port(), folder / "said"
    strange = ("DATABASE_URL", "REDIS_URL", "TRACKER_")
    plain = {name: value for name, value in os.environ.items() if not name.startswith(strange)}
    env = {**plain, "TRACKER_DATA_DIR": str(folder / "data"), "DJANGO_SETTINGS_MODULE": "deploy.settings"}
    command = [sys.executable, "manage.py", "demo", "--port", str(port)]
    with running(command, said, env=env, cwd=ROOT) as process:
        wait_until(lambda: "ready" in said.read_text() or process.poll() is not None, what="the demo", seconds=300)
        if process.poll() is not None:
            raise SystemExit(said.read_text())
        yield f"http://127.0.0.1:{port}"


def keep(page: Page, name: str) -> None:
    """The page as it stands in its window, with few colours."""
    page.wait_for_load_state("networkidle")
    shot = Image.open(BytesIO(page.screenshot())).convert("RGB")
    path = FOLDER / name
    shot.quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)
    size = path.stat().st_size
    if size >= LARGEST:
        raise SystemExit(f"{name} has {size} bytes, which is too large for a page that shows it.")
    print(f"{path.relative_to(ROOT)}: {shot.width} × {shot.height}, {size} bytes")


def portfolio_and_system(page: Page) -> None:
    """What the manager sees first, and one system."""
    sign_in(page, MANAGER.username, MANAGER.password)
    page.goto(f"/p/{PROJECT_CODE}/")
    keep(page, "portfolio.png")
    page.locator("table.portfolio a", has_text=LIVE_SYSTEM).first.click()
    page.wait_for_selector(".energy")
    keep(page, "system.png")


def run(page: Page) -> None:
    """A check line on the phone, with its reading and the verdict."""
    sign_in(page, ENGINEER.username, ENGINEER.password)
    page.goto(f"/p/{PROJECT_CODE}/?q={LIVE_SYSTEM}")
    page.locator("table.portfolio a", has_text=LIVE_SYSTEM).first.click()
    page.get_by_role("link", name="continue the procedure").click()
    page.get_by_role("link", name=FLOAT_LINE).first.click()
    page.wait_for_selector(".verdict-bar")
    keep(page, "run.png")


def main() -> None:
    FOLDER.mkdir(exist_ok=True)
    with (
        tempfile.TemporaryDirectory(prefix="tracker-pictures-") as name,
        demo(Path(name)) as address,
        chromium() as browser,
    ):
        for take, size in ((portfolio_and_system, LAPTOP), (run, PHONE)):
            context = browser.new_context(base_url=address, viewport=size, has_touch=size is PHONE)
            take(context.new_page())
            context.close()


if __name__ == "__main__":
    main()
