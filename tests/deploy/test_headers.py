"""Every answer carries the safe headers: names and values as the OWASP Secure Headers Project lists them, and the
policies as the W3C's Content Security Policy Level 3 words them."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse
from playwright.sync_api import Page
from rest_framework.test import APIClient

from tests.commissioning.api.asking import filled
from tests.commissioning.api.matrix import ROWS
from tests.commissioning.api.plant import build
from tests.support.browser import sign_in, wait_in
from tests.support.looks import refused_by_policy, watch_policy
from tests.support.outside_pages import OUTSIDE, OUTSIDE_ARGS
from tests.support.records import one_of_each
from tests.support.world import World, make_project
from tests.test_access import PAGES, PROBES, address, answer, signed_in

UPLOADS = ("punch-photo", "punch-photo-small", "certificate", "recording-raw")


def directives(policy: str) -> dict[str, list[str]]:
    words = (one.split() for one in policy.split(";"))
    return {name: values for name, *values in words}


def wrong(response: HttpResponse) -> list[str]:
    """What is unsafe about the headers of an answer."""
    said = {name: response.get(name, "") for name in (*SAME, "Content-Security-Policy", "Permissions-Policy")}
    found = [f"{name}: {said[name]!r}" for name, value in SAME.items() if said[name] not in value]
    policy = directives(said["Content-Security-Policy"] or "none")
    if policy.get("default-src") != ["'none'"] or policy.get("frame-ancestors") != ["'none'"]:
        found.append(f"policy is open: {policy}")
    loose = {"'unsafe-inline'", "'unsafe-eval'", "'unsafe-hashes'", "*", "data:", "https:", "http:"}
    found += [f"{name} lets {value} through" for name, values in policy.items() for value in values if value in loose]
    if "camera=(self)" not in said["Permissions-Policy"] or "microphone=()" not in said["Permissions-Policy"]:
        found.append("permissions")
    return found


SAME = {
    "X-Content-Type-Options": ("nosniff",),
    "X-Frame-Options": ("DENY",),
    "Referrer-Policy": ("same-origin", "no-referrer"),
    "Cross-Origin-Opener-Policy": ("same-origin",),
    "Cross-Origin-Resource-Policy": ("same-origin",),
}


def test_a_loose_header_would_be_found() -> None:
    tight = signed_out("/health/live")
    assert wrong(tight) == []
    for name in SAME:
        loose = signed_out("/health/live")
        loose[name] = "anything"
        assert len(wrong(loose)) == 1, name
    for policy in ("", "default-src 'none'", "default-src 'none'; frame-ancestors 'none'; style-src 'unsafe-inline'"):
        tight["Content-Security-Policy"] = policy
        assert len(wrong(tight)) == 1, policy


def signed_out(url: str) -> HttpResponse:
    return Client().get(url)


@pytest.mark.django_db
def test_every_page_of_the_access_matrix_is_safe(small_world: World) -> None:
    records = one_of_each(small_world)
    manager, nobody = signed_in(small_world.manager), Client()
    asked: dict[str, HttpResponse] = {}
    urls = {name: address(records, name) for name in PAGES}
    urls |= {name: reverse(name, args=OUTSIDE_ARGS.get(name)) for name in (*OUTSIDE, *PROBES)}
    for name, url in urls.items():
        for method in ("get", "post"):
            asked |= {
                f"{name} {method}": answer(manager, method, url),
                f"{name} {method} 0": answer(nobody, method, url),
            }
    assert len(asked) == 4 * (len(PAGES) + len(OUTSIDE) + len(PROBES))
    assert {name: wrong(found) for name, found in asked.items() if wrong(found)} == {}
    for name in UPLOADS:
        found = asked[f"{name} get"]
        assert found.status_code == 200, name
        assert found["Content-Security-Policy"] == settings.POLICY_OF_UPLOADS, name
    assert {name for name, url in urls.items() if "/uploads/" in url} == set(UPLOADS)
    assert asked["portfolio get"]["Content-Security-Policy"] == settings.POLICY_OF_PAGES
    assert asked["phone-worker get"]["Content-Security-Policy"] == settings.POLICY_OF_PAGES
    for name in ("certificate", "recording-raw"):
        assert asked[f"{name} get"]["Content-Disposition"].startswith("attachment;")


@pytest.mark.django_db
def test_every_answer_of_the_api_is_safe(small_world: World) -> None:
    plant = build(small_world)
    client = APIClient()
    client.force_login(small_world.manager)
    found = {}
    for row in ROWS:
        if row.method == "get":
            url = reverse(row.name, kwargs={word: filled(value, plant) for word, value in row.words.items()})
            found[row.name] = wrong(client.get(url))
    assert len(found) > 30
    assert {name: said for name, said in found.items() if said} == {}


@pytest.mark.django_db
def test_files_of_the_pages_and_refusals_are_safe() -> None:
    for url in static_addresses():
        found = signed_out(url)
        assert found.status_code == 200, url
        assert wrong(found) == [], url
    for url in ("/no/such/page/", "/api/v1/no/such/", "/static/no-such.css"):
        assert signed_out(url).status_code == 404
        assert wrong(signed_out(url)) == [], url


def static_addresses() -> Iterator[str]:
    for name in ("commissioning/css/base.css", "commissioning/mark.svg", "commissioning/js/keys.js"):
        assert finders.find(name)
        yield f"/static/{name}"


@pytest.mark.browser
def test_chromium_refuses_what_is_inline_or_from_elsewhere(laptop_page: Page) -> None:
    """The watch that the pages are looked at with sees a refusal, and what is refused does not run."""
    world = make_project()
    page = laptop_page
    watch_policy(page.context)
    sign_in(page, world.manager)
    page.goto(reverse("portfolio", args=[world.project.code]))
    assert refused_by_policy(page) == []
    page.evaluate(
        """() => {
          const script = document.createElement("script");
          script.textContent = "window.ran = true";
          document.body.append(script);
          const style = document.createElement("style");
          style.textContent = "body { display: none }";
          document.head.append(style);
          const image = document.createElement("img");
          image.src = "http://elsewhere.invalid/x.png";
          document.body.append(image);
        }"""
    )
    wait_in(page, "window.refusedByPolicy.length >= 3")
    assert page.evaluate("window.ran") is None
    said = " ".join(refused_by_policy(page))
    assert all(directive in said for directive in ("script-src", "style-src", "img-src")), said
