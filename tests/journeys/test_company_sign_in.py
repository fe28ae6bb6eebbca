"""The company's own sign-in in Chromium: the button leads there and back under the content security policy."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from django.core import mail

from commissioning.models import User
from commissioning.services.invitations import invite
from tests.support.browser import PHONE
from tests.support.looks import refused_by_policy, watch_policy
from tests.support.oidc import provider
from tests.support.product import web_server
from tests.support.world import make_project


@pytest.mark.browser
@pytest.mark.django_db(transaction=True)
def test_the_button_leads_to_the_company_and_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> None:
    """A browser holds `form-action` against every step that a form's answer leads to, also on another host."""
    world, chromium = make_project(), request.getfixturevalue("_chromium")
    with provider(tmp_path) as company:
        for name, value in {"URL": company, "NAME": "Pellwick", "CLIENT_ID": "tracker", "SECRET": "kept"}.items():
            monkeypatch.setenv(f"TRACKER_OIDC_{name}", value)
        with web_server(tmp_path) as product:
            context = chromium.new_context(base_url=product.address, viewport=PHONE)
            watch_policy(context)
            page = context.new_page()
            invite(actor=world.manager, project=world.project, email="hollis@pellwick.example", role="client")
            page.goto(re.search(r"/invitation/\S+", mail.outbox[-1].body)[0])
            page.goto("/sign-in/")
            page.get_by_role("button", name=re.compile("Pellwick")).click()
            page.wait_for_url(f"{company}/**")
            page.fill("input[name=sub]", "h-1")
            page.locator("button[type=submit], input[type=submit]").first.click()
            page.wait_for_url(f"{product.address}/**")
            assert refused_by_policy(page) == []
            context.close()
    assert User.objects.get(email="hollis@pellwick.example").name == "Hollis Arden"
