"""From a record to its page: blockers, audit entries and search hits all lead somewhere."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.conf import settings
from django.urls import NoReverseMatch, reverse

from commissioning.models import Role
from commissioning.rules.gate import Blocker

#: URL name by kind of record; each takes the project's code and the record's id.
RECORD_URLS = {
    "site": "site",
    "system": "system",
    "stage": "stage",
    "line": "run-line",
    "record": "line-record",
    "supply": "supply",
    "permission": "permission-new",  # the id is the stage's
    "alarm": "alarm",
    "signal": "signal",
    "instrument": "instrument",
    "equipment": "tag",
    "member": "member",
    "witness-notice": "witness-notice",
    "commissioning.testrecording": "recording",
    "commissioning.dossier": "dossier",
    **getattr(settings, "RECORD_URLS", {}),
}
TURN_WORDS = {**dict(Role.choices), "authorised_person": "authorised person"}


def page_url(name: str, *args: Any, **query: Any) -> str:
    """Address of the page of this name; empty where the product is put together without that page."""
    try:
        address = reverse(name, args=args)
    except NoReverseMatch:
        return ""
    return f"{address}?{urlencode(query)}" if query else address


def record_url(*, code: str, kind: str, id: str) -> str:
    """The page of a record; empty when its kind has none."""
    return page_url(RECORD_URLS[kind], code, id) if kind in RECORD_URLS else ""


def blocker_row(blocker: Blocker, *, code: str, role: str, authorised_person: bool = False) -> dict[str, object]:
    """A blocker as components/blockers.html wants it: what, where, whose turn, where to go, and whether it is mine."""
    turn = TURN_WORDS.get(blocker.turn, blocker.turn)
    return {
        "what": blocker.words,
        "where": blocker.where,
        "turn": f"{blocker.owner} ({turn})" if blocker.owner else turn,
        "url": record_url(code=code, kind=blocker.link_kind, id=blocker.link_id),
        "mine": blocker.turn == role or (blocker.turn == "authorised_person" and authorised_person),
        "since": blocker.since,
        "rule": int(blocker.rule),
    }
