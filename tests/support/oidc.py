"""An OpenID Connect provider for tests: a process of its own, from the package oidc-provider-mock (signs RS256)."""

from __future__ import annotations

import json
import sys
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.support.programs import answers, free_port, running, wait_until

PEOPLE: list[dict[str, Any]] = [
    {"sub": "h-1", "email": "hollis@pellwick.example", "email_verified": True, "name": "Hollis Arden",
     "preferred_username": "hollis"},
    {"sub": "o-2", "email": "odo@pellwick.example", "email_verified": True, "name": "Odo Fennimore"},
]  # fmt: skip


@contextmanager
def provider(folder: Path) -> Iterator[str]:
    """Its address, for the length of the block."""
    port = free_port()
    command = [sys.executable, "-m", "oidc_provider_mock", "--port", str(port)]
    for person in PEOPLE:
        command += ["--user-claims", json.dumps(person)]
    with running(command, folder / "provider.log"):
        wait_until(lambda: answers(port), what="the OpenID Connect provider")
        yield f"http://127.0.0.1:{port}"


def settings_for(address: str, **more: Any) -> dict[str, Any]:
    """What deploy.settings makes of TRACKER_OIDC_URL and its companions."""
    app = {"provider_id": "company", "name": "Pellwick", "client_id": "tracker", "secret": "kept"}
    settings = {"server_url": address, "fetch_userinfo": True, **more}
    return {
        "OIDC_URL": address,
        "SOCIALACCOUNT_PROVIDERS": {
            "openid_connect": {"OAUTH_PKCE_ENABLED": True, "APPS": [{**app, "settings": settings}]}
        },
    }


class _Stay(urllib.request.HTTPRedirectHandler):
    def redirect_request(self, *args: Any) -> None:
        return None


def consent(address: str, sub: str) -> str:
    """The person says yes at the provider; answers with where their browser is sent back to."""
    data = urllib.parse.urlencode({"sub": sub}).encode()
    try:
        urllib.request.build_opener(_Stay).open(urllib.request.Request(address, data=data), timeout=10)
    except urllib.error.HTTPError as answer:
        if answer.code == 302:
            return str(answer.headers["Location"])
        raise AssertionError(answer.read()) from answer
    raise AssertionError("the provider sent nobody back")
