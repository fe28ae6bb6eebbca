"""Is the work going as planned? Gates planned, passed and forecast; punch items week by week and by age."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse

from commissioning.drawings import progress as curves
from commissioning.drawings import to_svg
from commissioning.drawings.ageing import Ages, ageing
from commissioning.drawings.weekly import Week, weekly
from commissioning.forms.holding import SiteChoice
from commissioning.selectors.progress import Progress, progress
from commissioning.views.base import ProjectRequest, page, project_view


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """Three drawings, each with the counts that it is drawn from."""
    form = SiteChoice(request.GET, access=request.access)
    site = form.cleaned_data["site"] if form.is_valid() else None
    found = progress(access=request.access, site=site.pk if site else None)
    context = {"form": form, "site": site, "found": found, "items": _items(found), **_drawn(found)}
    return page(request, "commissioning/curves/show.html", context, section="portfolio")


def _items(found: Progress) -> dict[str, Any]:
    """Whether the punch list has anything to tell, and the ages with a total for each."""
    ages = [(words, counts, sum(counts.values())) for words, counts in found.ages]
    return {
        "any": any(one.raised or one.closed or one.open_after for one in found.weeks),
        "open": sum(total for _, _, total in ages),
        "ages": [(words, [counts.get(one, 0) for one in "ABC"], total) for words, counts, total in ages],
    }


def _drawn(found: Progress) -> dict[str, str]:
    drawn: dict[str, str] = {}
    if found.done or found.planned:
        drawn["gates"] = to_svg(
            curves.progress(
                curves.Progress(
                    planned=[(one.day, one.planned) for one in found.points if one.planned is not None],
                    done=[(one.day, one.done) for one in found.points if one.done is not None],
                    forecast=[(one.day, *one.forecast) for one in found.points if one.forecast],
                    total=found.gates,
                    today=found.today,
                )
            ),
            identity="curve-gates",
        )
    weeks = [Week(one.monday, one.raised, one.closed, one.open_after) for one in found.weeks]
    drawn["weeks"] = to_svg(weekly(weeks), identity="curve-weeks")
    drawn["ages"] = to_svg(ageing([Ages(words, counts) for words, counts in found.ages]), identity="curve-ages")
    return drawn
