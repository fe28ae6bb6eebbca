"""What is mine, what is urgent? The list, its export, and the filters that people keep."""

from __future__ import annotations

import tempfile
from typing import Any
from uuid import UUID

from django.core.paginator import Paginator
from django.http import FileResponse, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.text import slugify
from django.views.decorators.http import require_GET, require_POST

from commissioning.errors import InvalidInput
from commissioning.models import Role
from commissioning.selectors.access import sites_for
from commissioning.views.base import ProjectRequest, page, project_view, zone_named
from punchlist.export import write_workbook
from punchlist.forms.many import FilterBar, ViewForm
from punchlist.selectors.filters import SORTS, ItemFilter
from punchlist.selectors.items import counts_for, members_for, rows_for, views_for
from punchlist.services.views import drop_view, save_view

PAGE_SIZE = 100
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
#: What of an address belongs to the filter; the rest (page, a finished deed) does not travel with it.
FILTER_WORDS = ("q", "mine", "category", "state", "site", "system", "stage", "tag", "owes", "overdue", "sort")


def filter_query(given: QueryDict) -> str:
    """The filter of an address as an address: known words only, empty ones left out."""
    kept = QueryDict(mutable=True)
    for word in FILTER_WORDS:
        kept.setlist(word, [value for value in given.getlist(word) if value])
    return kept.urlencode()


def filtered(request: ProjectRequest) -> ItemFilter:
    """The items asked for; what makes no sense in the address is left out rather than refused."""
    given = QueryDict(filter_query(request.GET), mutable=True)
    asked = ItemFilter(given, rows_for(request.access), access=request.access)
    for word in list(asked.errors):
        given.pop(word, None)
    return ItemFilter(given, rows_for(request.access), access=request.access)


@require_GET
@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """The list: mine, category A, oldest first, unless another order is asked for."""
    access, asked = request.access, filtered(request)
    members, sites = list(members_for(access)), list(sites_for(access))
    page_obj = Paginator(asked.qs, PAGE_SIZE).get_page(request.GET.get("page"))
    query = filter_query(request.GET)
    context = {
        "bar": FilterBar(request.GET, sites=sites, members=members),
        "page_obj": page_obj,
        "counts": counts_for(access),
        "views": [_view_row(view, request, query) for view in views_for(access)],
        "query": query,
        "narrowed": any(word in QueryDict(query) for word in FILTER_WORDS if word != "sort"),
        "today": timezone.localdate(),
        "may_assign": access.role != Role.CLIENT,
        "assigned": _uuid(request.GET.get("assigned")),
        **_sorting(asked.data.get("sort") or ""),
    }
    return page(request, "punchlist/list.html", context, section="punch-list")


def _sorting(sort: str) -> dict[str, Any]:
    """For each column the sort that pressing its head asks for, and how it is sorted now."""
    name = sort.removeprefix("-")
    return {
        "sort": sort,
        "sorted_by": name,
        "direction": "descending" if sort.startswith("-") else "ascending",
        "sort_links": {key: f"-{key}" if key == sort else key for key in SORTS},
    }


def _view_row(view: Any, request: ProjectRequest, query: str) -> dict[str, Any]:
    address = f"{reverse('punch-list', args=[request.access.project.code])}?{view.query}"
    return {"view": view, "url": address, "current": bool(query) and view.query == query}


def _uuid(text: str | None) -> UUID | None:
    try:
        return UUID(text or "")
    except ValueError:
        return None


@require_GET
@project_view  # type: ignore[arg-type]  # a file is streamed
def export(request: ProjectRequest) -> FileResponse:
    """The items of the filter in hand as a workbook, built on disk and sent from there."""
    project = request.access.project
    out = tempfile.TemporaryFile()  # noqa: SIM115  the response closes it when it was sent
    write_workbook(items=filtered(request).qs, zone=zone_named(project.time_zone), out=out)
    out.seek(0)
    name = f"{slugify(project.code)}-punch-list-{timezone.localdate():%Y-%m-%d}.xlsx"
    response = FileResponse(out, as_attachment=True, filename=name, content_type=XLSX)
    response["Cache-Control"] = "private, no-store"
    return response


@project_view
def views(request: ProjectRequest) -> HttpResponse:
    """Keep the filter in hand under a name, see those that are kept, drop one."""
    access, code = request.access, request.access.project.code
    form = ViewForm(request.POST or None, initial={"query": filter_query(request.GET)})
    if request.method == "POST" and form.is_valid():
        given = form.cleaned_data
        try:
            view = save_view(
                actor=access.user,
                project=access.project,
                name=given["name"],
                query=filter_query(QueryDict(given["query"])),
                shared=given["shared"],
                id=form.record_id,
            )
            return redirect(f"{reverse('punch-list', args=[code])}?{view.query}")
        except InvalidInput as error:
            for field, words in error.fields.items():
                form.add_error(field if field in form.fields else None, words)
    rows = [_view_row(view, request, "") for view in views_for(access)]
    context = {"form": form, "views": rows, "query": form["query"].value(), "may_share": access.is_manager}
    status = 400 if form.errors else 200
    return page(request, "punchlist/views.html", context, section="punch-list", status=status)


@require_POST
@project_view
def view_drop(request: ProjectRequest, id: UUID) -> HttpResponse:
    view = get_object_or_404(views_for(request.access), pk=id)
    drop_view(actor=request.access.user, view=view)
    return redirect("punch-views", code=request.access.project.code)
