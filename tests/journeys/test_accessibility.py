"""Every main page in Chromium: nothing that axe objects to, no scrolling sideways, and all of it without JavaScript."""

from __future__ import annotations

from collections.abc import Iterator
from uuid import UUID

import pytest
from django.urls import reverse
from playwright.sync_api import Browser, Page

from commissioning.models import Job, JobState
from tests.support.browser import LAPTOP, PHONE, sign_in
from tests.support.looks import flaws, refused_by_policy, watch_policy
from tests.support.product import Product
from tests.support.programs import wait_until
from tests.support.records import Records, one_of_each
from tests.support.world import make_project

pytestmark = pytest.mark.browser

#: The pages, the record that each one's address names, and words that its reader comes for.
PAGES = {
    "portfolio": ("", "Energisation"),
    "find": ("", "What is called this"),
    "system-copy": ("system", "show what it would be called"),
    "site-copy": ("site", "show what it would be called"),
    "notices": ("", "mechanical completion was accepted"),
    "notices-choice": ("", "Gates accepted and withdrawn"),
    "holding": ("", "Stages worth finishing"),
    "when": ("", "There is no forecast yet"),
    "curves": ("", "How long open items have stood"),
    "dependencies": ("", "1 dependency"),
    "comparison": ("", "What takes longest"),
    "site": ("site", "Quillmarsh Pumping Station"),
    "system": ("system", "Stage in hand"),
    "system-history": ("system", "Isolde Marrack"),
    "stage": ("stage", "What holds it"),
    "stage-accept": ("stage", "It cannot be accepted yet"),
    "supplies": ("system", "prove dead at the point of work"),
    "supply": ("supply", "record it isolated"),
    "permission-new": ("stage", "sign the permission"),
    "permission": ("permission", "It stands"),
    "run": ("system", "Supply at the incomer"),
    "run-line": ("line", "keep the reading"),
    "line-record": ("failed_line", "206.9"),
    "witness-notice": ("witness_notice", "Nobody has answered yet"),
    "tag": ("equipment", "rectifier cabinet"),
    "labels": ("", "make the sheet"),
    "alarms": ("", "EARTH FAULT"),
    "alarm": ("alarm", "Say what it is"),
    "alarm-new": ("", "write it down"),
    "signals": ("", "common alarm"),
    "signal": ("signal", "forced"),
    "punch-list": ("", "Label missing on way 7"),
    "punch-item": ("number", "Label missing on way 7"),
    "punch-if-closed": ("number", "Gates that it holds"),
    "punch-new": ("", "raise it"),
    "instruments": ("", "MM-4411"),
    "instrument": ("instrument", "C-25-0417"),
    "procedures": ("", "copy into the project"),
    "procedure": ("procedure", "Energisation"),
    "calculations": ("", "AC supply voltage within tolerance"),
    "calculation": ("calculation", "How it is worked out"),
    "verification-run": ("run", "Tolerance is 5 %"),
    "recordings": ("", "synthetic.csv"),
    "recording": ("recording", "Cells that stand out"),
    "recording-new": ("", "upload the log"),
    "dossiers": ("", "OMB"),
    "dossier": ("dossier", "SHA-256 of the PDF"),
    "dossier-comments": ("dossier", "put it on the list as"),
    "dossier-read": ("dossier", "The signed PDF is what counts"),
    "dossier-new": ("", "ask for the dossier"),
    "register": ("", "Workbook"),
    "register-plan": ("plan", "Nothing is wrong with it"),
    "project-settings": ("", "Guard factor"),
    "members": ("", "Tobin Ashgrove"),
    "jobs": ("", "readings verified again"),
    "from-phones": ("", "What is recorded on a phone"),
    "project-export": ("", "Take the project away"),
    "audit": ("", "Isolde Marrack"),
}
SIZES = {"phone": PHONE, "laptop": LAPTOP}


@pytest.fixture
def records(live_product: Product) -> Records:
    """The running product's own worker builds the dossier."""
    return one_of_each(make_project(), finish=seen_done)


def seen_done(job: UUID) -> None:
    wait_until(
        lambda: Job.objects.get(pk=job).state in (JobState.DONE, JobState.FAILED), what="the dossier", seconds=120
    )


def addresses(records: Records) -> dict[str, str]:
    """The address of each page of the small world."""
    keys = {**records.keys, "calculation": "float_voltage"}
    code = records.world.project.code
    return {name: reverse(name, args=[code, *([keys[key]] if key else [])]) for name, (key, _) in PAGES.items()}


@pytest.fixture(params=SIZES)
def sized_page(request: pytest.FixtureRequest, live_product: Product, _chromium: Browser) -> Iterator[Page]:
    """A page of the size of a phone, and one of the size of a laptop."""
    context = _chromium.new_context(base_url=live_product.address, viewport=SIZES[request.param])
    watch_policy(context)
    yield context.new_page()
    context.close()


@pytest.fixture
def plain_page(live_product: Product, _chromium: Browser) -> Iterator[Page]:
    """A phone on which JavaScript is off."""
    context = _chromium.new_context(base_url=live_product.address, viewport=PHONE, java_script_enabled=False)
    yield context.new_page()
    context.close()


def test_axe_objects_to_nothing_and_nothing_scrolls_sideways(sized_page: Page, records: Records) -> None:
    page = sized_page
    page.goto("/sign-in/")
    found = {"sign-in": flaws(page)}
    sign_in(page, records.world.manager)
    for name, url in addresses(records).items():
        page.goto(url)
        refused = refused_by_policy(page)  # before axe, which brings styles of its own
        found[name] = refused + flaws(page)
    assert "\n".join(f"{name}: {said}" for name, said in found.items() if said) == ""


def test_every_main_page_reads_without_javascript(plain_page: Page, records: Records) -> None:
    sign_in(plain_page, records.world.manager)
    missing = {}
    for name, url in addresses(records).items():
        plain_page.goto(url)
        words = PAGES[name][1]
        said = plain_page.locator("body").inner_text()
        if words.casefold() not in said.casefold():
            missing[name] = f"{words!r} is not in: {said[:600]}"
    assert missing == {}, "\n\n".join(f"{k}: {v}" for k, v in missing.items())
