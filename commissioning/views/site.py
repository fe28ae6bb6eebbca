"""How does this site stand?"""

from __future__ import annotations

from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404

from commissioning.models import Site
from commissioning.selectors.access import sites_for
from commissioning.selectors.portfolio import Wanted, portfolio
from commissioning.selectors.portfolio_sites import with_sums
from commissioning.views.base import ProjectRequest, project_view, use_site_zone
from commissioning.views.portfolio import systems_page, table_context


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The site's systems, and what a visitor must know of it."""
    site = get_object_or_404(sites_for(request.access).select_related("project"), pk=id)
    use_site_zone(site)
    wanted = Wanted(site=site.pk, sort="tag", after=request.GET.get("after", ""))
    found = portfolio(access=request.access, wanted=wanted)
    sums = with_sums(Site.objects.filter(pk=site.pk)).get()
    context = {"site": site, "sums": sums, **table_context(request.access, found, wanted)}
    return systems_page(request, "commissioning/site/show.html", context)
