"""What holds the gates, and which few deeds free the most of them?"""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpResponse

from commissioning.forms.holding import SiteChoice
from commissioning.rules.gate import StageFacts
from commissioning.selectors.access import Access
from commissioning.selectors.freeing import FreeingDeed, FreeingGate, Holding, holding
from commissioning.views.base import ProjectRequest, page, project_view
from commissioning.views.links import TURN_WORDS, blocker_row, page_url

#: So many freed gates are named; the count says how many there are.
NAMED = 6


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """Deeds and stages by the gates that they free, and how much is whose turn."""
    form = SiteChoice(request.GET, access=request.access)
    site = form.cleaned_data["site"] if form.is_valid() else None
    found = holding(access=request.access, site=site.pk if site else None)
    context = {"form": form, "site": site, **_context(request.access, found)}
    return page(request, "commissioning/holding/show.html", context, section="portfolio")


def _context(access: Access, found: Holding) -> dict[str, Any]:
    code = access.project.code
    return {
        "found": found,
        "ready": [_gate(one, code) for one in found.ready[: NAMED * 5]],
        "deeds": [_deed(one, access) for one in found.deeds],
        "gates": [_finish(one, code) for one in found.gates],
        "turns": [{"words": TURN_WORDS.get(one.turn, one.turn), "turn": one} for one in found.turns],
    }


def _deed(one: FreeingDeed, access: Access) -> dict[str, Any]:
    code, role = access.project.code, access.role
    row = blocker_row(one.blocker, code=code, role=role, authorised_person=access.authorised_person)
    return {**row, **_freed(one.gates, code)}


def _finish(one: FreeingGate, code: str) -> dict[str, Any]:
    return {**_gate(one.stage, code), "left": one.left, **_freed(one.gates, code)}


def _freed(gates: tuple[StageFacts, ...], code: str) -> dict[str, Any]:
    return {"count": len(gates), "gates": [_gate(one, code) for one in gates[:NAMED]], "more": len(gates[NAMED:])}


def _gate(facts: StageFacts, code: str) -> dict[str, Any]:
    return {"words": facts.words, "url": page_url("stage", code, UUID(facts.stage_id))}
