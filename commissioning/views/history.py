"""What happened on this system?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import HttpResponse

from commissioning.models import AuditEntry
from commissioning.selectors.system import history_of, system_or_404
from commissioning.views.base import ProjectRequest, page, project_view, use_site_zone
from commissioning.views.links import page_url, record_url

PAGE_SIZE = 50
#: Kind of record, as links know it, by the model that an audit entry names.
OBJECT_KINDS = {
    "commissioning.system": "system",
    "commissioning.stage": "stage",
    "commissioning.checkline": "line",
    "commissioning.supplypoint": "supply",
    "commissioning.alarmsighting": "alarm",
    "commissioning.signalpoint": "signal",
    "commissioning.equipment": "equipment",
}


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The audit entries of the system, newest first."""
    system = system_or_404(access=request.access, id=id)
    use_site_zone(system.site)
    entries = Paginator(history_of(system), PAGE_SIZE).get_page(request.GET.get("page", 1))
    code = request.access.project.code
    context = {"page_obj": entries, "entries": entry_rows(entries, code)}
    return page(request, "commissioning/history/show.html", context, section="portfolio", system=system)


def entry_rows(entries: Iterable[AuditEntry], code: str) -> list[dict[str, Any]]:
    """Entries for templates/commissioning/history/entries.html."""
    return [{"entry": entry, "url": entry_url(entry, code)} for entry in entries]


def entry_url(entry: AuditEntry, code: str) -> str:
    """The page of what an entry speaks of, where it has one."""
    if entry.object_type == "commissioning.permissiontoenergise":
        return page_url("permission", code, entry.object_id)
    # Rooms above this one name the pages of their models in RECORD_URLS.
    return record_url(code=code, kind=OBJECT_KINDS.get(entry.object_type, entry.object_type), id=entry.object_id)
