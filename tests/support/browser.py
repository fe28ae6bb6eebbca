"""Chromium for tests, driven by Playwright, kept from talking to anything but the product."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from playwright.sync_api import Browser, Error, Page, sync_playwright

from commissioning.models import User
from tests.support.programs import chromium_path, wait_until
from tests.support.world import PASSWORD

#: A phone held upright, and a laptop.
PHONE = {"width": 390, "height": 844}
LAPTOP = {"width": 1440, "height": 900}
QUIET = [
    "--no-sandbox",
    "--disable-dev-shm-usage",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


@contextmanager
def chromium() -> Iterator[Browser]:
    """One Chromium process."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium_path(), args=QUIET)
        try:
            yield browser
        finally:
            browser.close()


def sign_in(page: Page, login: User | str, password: str = PASSWORD) -> None:
    """Through the sign-in page, as a person does; the page's context needs the product's address as its base URL."""
    page.goto("/sign-in/")
    page.fill("input[name=username]", login if isinstance(login, str) else login.username)
    page.fill("input[name=password]", password)
    page.press("input[name=password]", "Enter")
    page.wait_for_url(lambda url: "/sign-in" not in url)


def wait_in(page: Page, expression: str) -> None:
    """Wait until this holds in the page, also over a new load of it.

    Playwright's `wait_for_function` has the page work out text as a program, which its content security policy refuses.
    """

    def holds() -> bool:
        try:
            return bool(page.evaluate(expression))
        except Error:
            return False  # it is being loaded anew

    wait_until(holds, what=expression)


def show_whole(page: Page) -> None:
    """A screen as high as the page, so that the bar at the thumb lies over nothing that a person would scroll to."""
    height = page.evaluate("document.documentElement.scrollHeight")
    page.set_viewport_size({"width": page.viewport_size["width"], "height": max(height, PHONE["height"])})
