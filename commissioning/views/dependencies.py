"""Which stage waits for which, across systems and sites?"""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse

from commissioning.drawings.waiting import SystemRow, Wait
from commissioning.drawings.waiting import waiting as picture
from commissioning.forms.holding import SiteChoice
from commissioning.models import StageState
from commissioning.rules.stages import STAGE_WORDS
from commissioning.selectors.dependencies import End, Waiting, dependencies, stages_of, waiting
from commissioning.views.base import ProjectRequest, page, project_view
from commissioning.views.links import page_url
from commissioning.views.workings import drawn

ROWS = 20
MARKS = {StageState.ACCEPTED: "accepted", StageState.STARTED: "in_hand", StageState.NOT_STARTED: "not_started"}


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """The dependencies as a drawing and as a table, those that hold something first."""
    access, code = request.access, request.access.project.code
    form = SiteChoice(request.GET, access=access)
    site = form.cleaned_data["site"] if form.is_valid() else None
    page_obj = Paginator(dependencies(access=access, site=site.pk if site else None), ROWS).get_page(
        request.GET.get("page")
    )
    found = waiting(page_obj, access=access)
    context = {
        "form": form,
        "site": site,
        "page_obj": page_obj,
        "rows": [_row(one, code) for one in found],
        "drawing": _drawing(found),
    }
    return page(request, "commissioning/dependencies/show.html", context, section="portfolio")


def _row(one: Waiting, code: str) -> dict[str, Any]:
    return {
        "stage": _end(one.stage, code),
        "needs": _end(one.needs, code) if one.needs else None,
        "state": _state(one),
        "holds": one.holds,
    }


def _state(one: Waiting) -> str:
    if one.holds:
        return "waits still"
    # A stage may stand accepted where the dependency was entered, or the other acceptance withdrawn, since then.
    return "has passed" if one.passed else "accepted, though what it needs is not"


def _end(end: End, code: str) -> dict[str, str]:
    return {
        "tag": end.tag,
        "site": end.site,
        "stage": STAGE_WORDS[end.kind],
        "url": page_url("stage", code, end.stage),
    }


def _drawing(found: list[Waiting]) -> str:
    rows = [
        SystemRow(one.tag, one.site, [(kind, MARKS[StageState(state)]) for kind, state in one.stages])
        for one in stages_of(found)
    ]
    waits = [
        Wait((one.needs.tag, one.needs.kind), (one.stage.tag, one.stage.kind), one.holds) for one in found if one.needs
    ]
    return drawn(picture(rows, waits)) if waits else ""
