"""Every page of getting in and of one's own account, met in the order in which a person meets them."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.core import mail
from playwright.sync_api import Page

from commissioning.models import SecondFactorFor
from commissioning.services.invitations import invite
from tests.support.browser import LAPTOP, PHONE, sign_in
from tests.support.factors import code_at
from tests.support.looks import flaws, too_wide
from tests.support.world import PASSWORD, World, make_project

pytestmark = pytest.mark.browser
Look = Callable[[str], None]


def test_no_page_of_getting_in_is_flawed(browser_page: Page) -> None:
    world, found, page = make_project(), dict[str, list[str]](), browser_page

    def look(name: str) -> None:
        page.set_viewport_size(LAPTOP)
        found[name] = too_wide(page)
        page.set_viewport_size(PHONE)
        found[name] += flaws(page)

    before_the_door(page, world, look)
    own_account(page, world, look)
    second_factor(page, world, look)
    assert len(found) == 29
    assert {name: said for name, said in found.items() if said} == {}


def before_the_door(page: Page, world: World, look: Look) -> None:
    """What somebody sees who is not signed in."""
    for name, address in {
        "sign-in": "/sign-in/?next=/account/",
        "code asked for": "/sign-in/code/",
        "password lost": "/password/lost/",
        "link that does not hold": "/password/lost/1-nothing/",
        "mail sent": "/password/lost/sent/",
        "account closed": "/sign-in/closed/",
        "company's sign-in left": "/sign-in/with/left/",
        "no invitation": "/invitation/",
    }.items():
        page.goto(address)
        look(name)
    invite(actor=world.manager, project=world.project, email="odo@pellwick.example", role="field_engineer")
    page.goto(re.search(r"/invitation/\S+", mail.outbox[-1].body)[0])
    look("invitation")
    page.goto("/sign-in/")
    page.fill("input[name=username]", world.manager.username)
    page.fill("input[name=password]", "not it")
    page.press("input[name=password]", "Enter")
    page.wait_for_selector("[role=alert]")
    look("wrong password")


def own_account(page: Page, world: World, look: Look) -> None:
    sign_in(page, world.manager)
    members, invitation = f"/p/{world.project.code}/members/", f"/p/{world.project.code}/invitations/new/"
    for name, address in {
        "account": "/account/",
        "password": "/password/",
        "sessions": "/account/sessions/",
        "no tokens": "/account/tokens/",
        "no second factor": "/account/second-factor/",
        "no passkey": "/account/second-factor/passkeys/",
        "members": members,
        "invite": invitation,
    }.items():
        page.goto(address)
        look(name)
    page.goto("/account/tokens/new/")
    look("password again")
    page.fill("input[name=password]", PASSWORD)
    page.press("input[name=password]", "Enter")
    page.fill("input[name=name]", "nightly copy")
    look("new token")
    page.get_by_role("button", name="make the token").click()
    page.wait_for_selector(".secret")
    look("token made")
    page.goto("/account/tokens/")
    look("tokens")


def second_factor(page: Page, world: World, look: Look) -> None:
    world.project.second_factor = SecondFactorFor.EVERYONE
    world.project.save()
    page.goto(f"/p/{world.project.code}/")
    look("a second factor is needed")
    page.goto("/account/second-factor/app/")
    look("authenticator app")
    page.fill("input[name=code]", code_at(page.locator(".key").inner_text().replace(" ", "")))
    page.press("input[name=code]", "Enter")
    page.wait_for_url("**/recovery-codes/")
    look("recovery codes")
    for name, address in {
        "second factors": "",
        "new recovery codes": "recovery-codes/new/",
        "remove": "app/remove/",
    }.items():
        page.goto(f"/account/second-factor/{address}")
        look(name)
    page.context.clear_cookies()
    page.goto("/sign-in/")
    page.fill("input[name=username]", world.manager.username)
    page.fill("input[name=password]", PASSWORD)
    page.press("input[name=password]", "Enter")
    page.wait_for_url("**/sign-in/second-factor/")
    look("second factor asked for")
