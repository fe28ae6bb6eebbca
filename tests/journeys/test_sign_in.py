"""Signing in and out in a real browser, on the running product."""

from __future__ import annotations

import pytest

from tests.support.browser import sign_in
from tests.support.world import make_project

pytestmark = pytest.mark.browser


def test_a_member_signs_in_and_finds_the_project(browser_page):
    world = make_project()
    refused: list[str] = []
    browser_page.on("console", lambda message: refused.append(message.text) if message.type == "error" else None)
    sign_in(browser_page, world.engineer)
    assert world.project.name in browser_page.content()
    assert refused == []


def test_a_stranger_signs_in_and_sees_nothing_of_it(browser_page):
    world = make_project()
    sign_in(browser_page, world.stranger)
    assert world.project.name not in browser_page.content()


def test_a_wrong_password_is_told_beside_the_field_and_the_name_stays(browser_page):
    world = make_project()
    browser_page.goto("/sign-in/")
    browser_page.fill("input[name=username]", world.engineer.username)
    browser_page.fill("input[name=password]", "not it")
    browser_page.press("input[name=password]", "Enter")
    browser_page.wait_for_selector("[role=alert], .errors, .error")
    assert browser_page.input_value("input[name=username]") == world.engineer.username
    assert "/sign-in" in browser_page.url
