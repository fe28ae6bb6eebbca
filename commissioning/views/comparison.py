"""What differs from site to site, and whose items come back?"""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse

from calcs.figures import plain
from commissioning.drawings.pack import PackRow, packs
from commissioning.drawings.shares import shares
from commissioning.forms.comparison import KindChoice
from commissioning.models import SystemKind
from commissioning.rules.comparison import FEWEST, OUTSIDE
from commissioning.selectors.asking import definition_or_none
from commissioning.selectors.comparison import Comparison, PackOfReadings, comparison, kinds
from commissioning.views.base import ProjectRequest, page, project_view
from commissioning.views.links import page_url
from commissioning.views.workings import drawn, words_of


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """Systems of one kind side by side."""
    access, code = request.access, request.access.project.code
    seen = kinds(access)
    form = KindChoice(request.GET if "kind" in request.GET else None, kinds=seen)
    kind = form.cleaned_data["kind"] if form.is_valid() else seen[0][0] if seen else ""
    form.initial = {"kind": kind}
    found = comparison(access=access, kind=kind) if kind else None
    context: dict[str, Any] = {"form": form, "found": found, "fewest": FEWEST, "outside_from": OUTSIDE}
    if found:
        context |= {"kind_words": SystemKind(kind).label, **_context(found, code)}
    return page(request, "commissioning/comparison/show.html", context, section="portfolio")


def _context(found: Comparison, code: str) -> dict[str, Any]:
    rows = [PackRow(_words(one), *_sides(one)) for one in found.outside]
    companies = [(company, one.low, one.share, one.high) for company, one in found.companies]
    return {
        "packs_drawn": drawn(packs(rows, outside=OUTSIDE)) if rows else "",
        "readings": [row for one in found.outside for row in _readings(one, code)],
        "companies_drawn": drawn(shares(companies)) if companies else "",
        "companies": [
            {"name": name, "share": one, "percent": [f"{100 * part:.0f}" for part in (one.share, one.low, one.high)]}
            for name, one in found.companies
        ],
    }


def _words(one: PackOfReadings) -> str:
    nominal = f", {one.nominal:g} V" if one.nominal is not None else ""
    return f"{one.title}{nominal}" if len(one.title) <= 60 else f"{one.title[:59]}…{nominal}"


def _sides(one: PackOfReadings) -> tuple[list[float], list[tuple[str, float]]]:
    inside = [value.z for value in one.values if abs(value.z) <= OUTSIDE]
    return inside, [(f"{value.site} {value.tag}", value.z) for value in one.outside]


def _readings(one: PackOfReadings, code: str) -> list[dict[str, Any]]:
    definition = definition_or_none(one.calculation)
    return [
        {
            "line": one.title,
            "nominal": one.nominal,
            "what": words_of(one.output, definition)[1],
            "site": value.site,
            "tag": value.tag,
            "url": page_url("line-record", code, value.line),
            "value": f"{plain(value.value, 4)} {one.unit}".strip(),
            "middle": f"{plain(one.middle, 4)} {one.unit}".strip(),
            "z": f"{value.z:+.1f}".replace("-", "−"),
            "of": len(one.values),
        }
        for value in one.outside
    ]
