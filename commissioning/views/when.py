"""When will each gate pass?"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpResponse
from django.urls import reverse

from commissioning.drawings import to_svg
from commissioning.drawings.gate_dates import GateSpan, gate_dates
from commissioning.forms.when import WhenFilter
from commissioning.rules.forecast import FEWEST_BEGUN, NO_LINES, NOT_BEGUN, WAITS
from commissioning.rules.pace import FEWEST
from commissioning.selectors.forecast import GateDates, When, when
from commissioning.views.base import ProjectRequest, page, project_view

ROWS = 25
CANNOT = {
    NO_LINES: "No check lines are laid out on it.",
    NOT_BEGUN: f"Its system is not begun, and fewer than {FEWEST_BEGUN} have been begun so far.",
    WAITS: "It waits for a gate of which nothing can be said.",
}
FAR = date.max
ORDERS: dict[str, Callable[[GateDates], Any]] = {
    "date": lambda one: (one.dates or (FAR,), one.site, one.tag, one.order),
    "slip": lambda one: (one.slip is None, -(one.slip or 0), one.site, one.tag, one.order),
    "plan": lambda one: (one.planned or FAR, one.site, one.tag, one.order),
    "system": lambda one: (one.site, one.tag, one.order),
}


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """Dates of the forecast beside the planned ones, as a drawing and as a table."""
    form = WhenFilter(request.GET or None, access=request.access)
    asked = form.cleaned_data if form.is_valid() else {}
    site = asked.get("site")
    found = when(access=request.access, site=site.pk if site else None)
    gates = sorted(
        (one for one in found.gates if one.is_last or not asked.get("handover")),
        key=ORDERS[asked.get("sort") or "date"],
    )
    page_obj = Paginator(gates, ROWS).get_page(request.GET.get("page"))
    context = {
        "form": form,
        "site": site,
        "found": found,
        "page_obj": page_obj,
        "rows": [_row(one, request.access.project.code) for one in page_obj],
        "drawing": _drawing(list(page_obj), found),
        "fewest": FEWEST,
        "silent": sum(1 for one in found.gates if not one.dates),
        "late": sum(1 for one in found.gates if (one.slip or 0) > 0),
        "planned": sum(1 for one in found.gates if one.planned),
    }
    return page(request, "commissioning/when/show.html", context, section="portfolio")


def _row(one: GateDates, code: str) -> dict[str, Any]:
    return {
        "gate": one,
        "url": reverse("stage", args=[code, one.stage]),
        "plan_url": reverse("stage-plan", args=[code, one.stage]),
        "cannot": CANNOT.get(one.cannot, ""),
        "slip": slip_words(one.slip),
        "chance": "" if one.by_plan is None else chance_words(one.by_plan),
    }


def slip_words(days: int | None) -> str:
    """Days later than planned with a plus, earlier with a minus."""
    if days is None:
        return ""
    return f"{days:+d} d".replace("-", "−") if days else "0 d"


def chance_words(share: float) -> str:
    """A share in whole per cent; what no simulation shows is not called impossible, nor what all show certain."""
    if share < 0.01:
        return "< 1 %"
    return "> 99 %" if share > 0.99 else f"{100 * share:.0f} %"


def _drawing(gates: list[GateDates], found: When) -> str:
    spans = [GateSpan(one.words, one.dates, one.planned) for one in gates if one.dates]
    return to_svg(gate_dates(spans, today=found.today), identity="gate-dates") if spans else ""
