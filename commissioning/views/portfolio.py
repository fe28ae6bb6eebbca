"""Where is each system, and what holds it?"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from commissioning.forms.portfolio import LISTED, PortfolioFilter
from commissioning.models import NO_DATE, StageKind
from commissioning.rules.safety import EnergyState
from commissioning.selectors.access import Access, sites_for
from commissioning.selectors.holds import Hold, Move
from commissioning.selectors.portfolio import PAGE_SIZE, SORTS, Portfolio, Wanted, portfolio
from commissioning.selectors.portfolio_rows import StageCell, SystemRow
from commissioning.selectors.portfolio_sites import SitesPage, sites_page
from commissioning.services.counters import refresh_due
from commissioning.views.base import ProjectRequest, page, project_view
from commissioning.views.links import TURN_WORDS, page_url, record_url

ENERGY_MARKS = {
    EnergyState.LIVE: "live",
    EnergyState.RECORDED_ISOLATED: "recorded isolated",
    EnergyState.NOT_RECORDED: "not recorded",
}
#: Words under which a system in hand is done with.
NEXT_WORDS = {
    Move.ACCEPT: "No blocker stands: sign the gate.",
    Move.START: "Its entry rules hold: start the stage.",
    Move.DONE: "Every stage is accepted.",
}
MOST_HOLDS = 3
#: With more sites than this the page lists sites first, and systems when they are asked for.
FEW_SITES = 12


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """What could move today; then the sites, or the systems where there are few sites or something was asked for.

    What is scrolled to comes by htmx: the rows that follow, and nothing around them.
    """
    access = request.access
    sites = list(sites_for(access).order_by("code")[: LISTED + 1])
    form = PortfolioFilter(request.GET, sites=sites)
    wanted = form.wanted()
    by_site = not wanted.narrowed and (wanted.list or ("sites" if len(sites) > FEW_SITES else "")) == "sites"
    if wanted.narrowed:
        refresh_due(project=access.project, most=PAGE_SIZE)
    if by_site:
        listed = {
            "sites": site_rows(sites_page(access=access, sort=wanted.sort, key=wanted.after), access.project.code)
        }
        if request.htmx and wanted.after:
            return render(request, "commissioning/portfolio/site_rows.html", listed)
    first = not (wanted.narrowed or wanted.after)
    found = portfolio(access=access, wanted=wanted, systems=not by_site, first_screen=first)
    context = {"form": form, **table_context(access, found, wanted, scrolled=bool(request.htmx))}
    if by_site:
        return page(request, "commissioning/portfolio/show.html", {**context, **listed}, section="portfolio")
    return systems_page(request, "commissioning/portfolio/show.html", context)


def systems_page(request: ProjectRequest, template: str, context: Mapping[str, Any]) -> HttpResponse:
    """The whole page, or only the rows that follow those already there."""
    if request.htmx and context["wanted"].after:
        return render(request, "commissioning/portfolio/rows.html", dict(context))
    return page(request, template, context, section="portfolio")


def table_context(access: Access, found: Portfolio, wanted: Wanted, *, scrolled: bool = False) -> dict[str, Any]:
    """What templates/commissioning/portfolio/table.html needs."""
    return {
        "wanted": wanted,
        "rows": [row_context(row, access) for row in found.rows],
        "next": found.next,
        "begun": found.begun if scrolled else "",
        "movable": [row_context(row, access) for row in found.movable],
        "total": found.total,
        "could_move": found.could_move,
        "counts": [(move.value, count) for move, count in found.counts.items() if count],
        "stage_kinds": StageKind.choices,
        "grouped": wanted.sort not in SORTS or wanted.sort == "site",
        "sort_links": {key: f"-{key}" if wanted.sort == key and not wanted.backwards else key for key in SORTS},
        "direction": "descending" if wanted.backwards else "ascending",
    }


def site_rows(found: SitesPage, code: str) -> dict[str, Any]:
    """Sites with their sums, for templates/commissioning/portfolio/site_rows.html."""
    rows = [
        {
            "site": site,
            "url": reverse("site", args=[code, site.pk]),
            "planned": None if site.next_planned == NO_DATE else site.next_planned,
            "done_percent": 100 * site.lines_done // site.lines_total if site.lines_total else None,
        }
        for site in found.rows
    ]
    return {"rows": rows, "next": found.next}


def row_context(row: SystemRow, access: Access) -> dict[str, Any]:
    """One system in words and links."""
    code = access.project.code
    cells = {cell.kind: cell for cell in row.cells}
    return {
        "system": row.system,
        "site": row.system.site,
        "site_url": reverse("site", args=[code, row.system.site_id]),
        "url": reverse("system", args=[code, row.system.pk]),
        "energy": ENERGY_MARKS[row.energy],
        "stages": [(label, _cell(cells.get(kind), row, code)) for kind, label in StageKind.choices],
        "in_hand": row.in_hand.kind if row.in_hand else "",
        "in_hand_words": StageKind(row.in_hand.kind).label if row.in_hand else "",
        "planned": row.planned,
        "move": row.move.value,
        "next": NEXT_WORDS.get(row.move, ""),
        "exceptions": [_exceptions(cell, code) for cell in row.cells if cell.exceptions],
        "holds": [_hold(hold, code) for hold in row.holds[:MOST_HOLDS]],
        "more_holds": max(len(row.holds) - MOST_HOLDS, 0),
        "turns": ", ".join(sorted(TURN_WORDS.get(turn, turn) for turn in row.turns)),
        "turn": _turn(row, access),
        "mine": row.is_for(access),
        "a": row.items["A"],
        "b": row.items["B"],
        "c": row.items["C"],
        "items_url": page_url("punch-list", code, system=row.system.pk),
    }


def _cell(cell: StageCell | None, row: SystemRow, code: str) -> dict[str, Any] | None:
    if cell is None:
        return None
    in_hand = row.in_hand is not None and row.in_hand.id == cell.id
    return {
        "state": cell.state,
        "url": reverse("stage", args=[code, cell.id]),
        "in_hand": in_hand,
        "progress": f"{row.done}/{row.total}" if in_hand and row.total and cell.state == "started" else "",
    }


def _exceptions(cell: StageCell, code: str) -> dict[str, str]:
    """An accepted stage of which something does not hold any more."""
    many = "s" if cell.exceptions > 1 else ""
    words = f"{cell.exceptions} exception{many} to {StageKind(cell.kind).label}"
    return {"words": words, "url": reverse("stage", args=[code, cell.id])}


def _turn(row: SystemRow, access: Access) -> str:
    """Whose turn, in the width of a column: the system's page names everybody."""
    if row.is_for(access):
        return "yours, others" if len(row.turns) > 1 else "yours"
    if len(row.turns) > 2:
        return f"{len(row.turns)} parties"
    return ", ".join(sorted(TURN_WORDS.get(turn, turn) for turn in row.turns))


def _hold(hold: Hold, code: str) -> dict[str, Any]:
    first = hold.first
    url = record_url(code=code, kind=first.link_kind, id=first.link_id)
    return {"words": hold.words, "url": url, "turn": TURN_WORDS.get(hold.turn, hold.turn)}
