"""What is called this, or says this?"""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.urls import reverse

from commissioning.finding.source import Hit, sources
from commissioning.selectors.access import Access
from commissioning.selectors.find import Found, find
from commissioning.views.base import ProjectRequest, page, project_view
from commissioning.views.links import page_url, record_url


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """The page of what was found; asked by the search box while somebody types, the list alone."""
    access = request.access
    kind = request.GET.get("kind", "")
    kind = kind if kind in {source.kind for source in sources()} else ""
    context = _context(access, find(access, request.GET.get("q", ""), kind=kind), kind)
    if getattr(request, "htmx", False):
        return render(request, "commissioning/find/groups.html", context)
    return page(request, "commissioning/find/show.html", context)


def _context(access: Access, found: Found, kind: str) -> dict[str, Any]:
    code = access.project.code
    groups = [
        {
            "heading": group.source.heading,
            "hits": [{"hit": hit, "url": _url(hit, code)} for hit in group.hits],
            "all_url": page_url("find", code, q=found.typed, kind=group.source.kind) if group.more and not kind else "",
            "cut": group.more and kind,
        }
        for group in found.groups
    ]
    kinds = ", ".join(source.heading.lower() for source in sources())
    everything = reverse("find", args=[code])
    return {"found": found, "groups": groups, "kind": kind, "kinds": kinds, "find_url": everything, "code": code}


def _url(hit: Hit, code: str) -> str:
    return record_url(code=code, kind=hit.link_kind, id=str(hit.link_id))
