"""Passkeys in a real browser, with an authenticator that Chromium plays: made, used alone, used as a second factor."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from commissioning.models import User
from tests.support.browser import PHONE, sign_in
from tests.support.product import Product
from tests.support.world import PASSWORD, World, make_project

pytestmark = pytest.mark.browser


@pytest.fixture
def phone(live_product: Product, _chromium: Browser) -> Iterator[Page]:
    """A phone with a fingerprint reader; passkeys need a name and not a number as the address."""
    address = live_product.address.replace("127.0.0.1", "localhost")
    context = _chromium.new_context(base_url=address, viewport=PHONE, has_touch=True)
    page = context.new_page()
    devtools = context.new_cdp_session(page)
    devtools.send("WebAuthn.enable")
    reader = {"protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True}
    devtools.send(
        "WebAuthn.addVirtualAuthenticator",
        {"options": {**reader, "isUserVerified": True, "automaticPresenceSimulation": True}},
    )
    yield page
    context.close()


def make_passkey(page: Page, user: User) -> None:
    sign_in(page, user)
    page.goto("/account/second-factor/passkeys/add/")
    page.fill("input[name=password]", PASSWORD)
    page.press("input[name=password]", "Enter")
    page.fill("input[name=name]", "this phone")
    page.get_by_role("button", name="make the passkey").click()
    page.wait_for_url("**/account/second-factor/recovery-codes/")
    page.goto("/account/second-factor/passkeys/")
    expect(page.get_by_text("this phone").first).to_be_visible()


def sign_out(page: Page) -> None:
    page.get_by_role("link", name="menu", exact=True).click()
    page.get_by_role("button", name="sign out", exact=True).first.click()
    page.wait_for_url("**/sign-in/")


def test_a_passkey_is_made_signs_in_alone_and_as_second_factor_and_is_removed(phone: Page) -> None:
    world: World = make_project()
    refused: list[str] = []
    phone.on("console", lambda message: refused.append(message.text) if message.type == "error" else None)
    make_passkey(phone, world.engineer)
    sign_out(phone)

    phone.get_by_role("button", name="sign in with a passkey").click()
    phone.wait_for_url(f"**/p/{world.project.code}/")
    assert world.project.name in phone.content()
    sign_out(phone)

    phone.fill("input[name=username]", world.engineer.username)
    phone.fill("input[name=password]", PASSWORD)
    phone.press("input[name=password]", "Enter")
    phone.wait_for_url("**/sign-in/second-factor/")
    phone.get_by_role("button", name="use a passkey instead").click()
    phone.wait_for_url(f"**/p/{world.project.code}/")

    phone.goto("/account/second-factor/passkeys/")
    phone.get_by_role("link", name="remove this phone").click()
    phone.wait_for_load_state()
    if phone.locator("input[name=password]").count():
        phone.fill("input[name=password]", PASSWORD)
        phone.press("input[name=password]", "Enter")
    phone.get_by_role("button", name="remove it").click()
    phone.wait_for_url("**/account/second-factor/passkeys/")
    expect(phone.get_by_text("You have no passkey")).to_be_visible()
    assert refused == []
