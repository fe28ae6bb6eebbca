"""Labels for tags: choose them, choose the label stock, take the sheet; and what a label opens."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib.auth.decorators import login_required
from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_safe

from commissioning.forms.labels import LABELS_LIMIT, LabelFilter, SheetForm
from commissioning.labels.codes import code_of, key_of
from commissioning.labels.sheet import Label, write_sheet
from commissioning.labels.stock import STOCKS
from commissioning.selectors.access import sites_for
from commissioning.selectors.labels import Tagged, labelled, tagged, tagged_by_key
from commissioning.views.base import ProjectRequest, page, project_view
from commissioning.views.finding import system_named, tags_offered
from commissioning.views.jobs import tabs

PAGE_SIZE = 100


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """Which tags get a label, on which stock? Sent, it answers with the sheet, or says what is missing."""
    access = request.access
    asked = request.POST if request.method == "POST" else request.GET
    system = system_named(access, asked.get("system", ""))
    narrowing = LabelFilter(asked, sites=sites_for(access), system=system)
    found = tagged(access=access, wanted=narrowing.wanted())
    form = SheetForm(request.POST) if request.method == "POST" else SheetForm(initial=_initial(request))
    if form.is_bound and form.is_valid():
        keys = [key for _, key in found] if form.cleaned_data["which"] == "found" else form.ticked()
        rows = tagged_by_key(access=access, keys=keys[: LABELS_LIMIT + 1])
        if problem := _problem(rows):
            form.add_error(None, problem)
        else:
            request.session["label_stock"] = form.cleaned_data["stock"]
            return _sheet(access.project.code, rows, form.cleaned_data)
    shown = Paginator(found, PAGE_SIZE).get_page(asked.get("page", 1))
    ticked = {str(key) for key in form.ticked()} if form.is_bound else {request.GET.get("tick", "")}
    context = {
        "narrowing": narrowing,
        "form": form,
        "page_obj": shown,
        "rows": [
            {"row": row, "ticked": str(row.id) in ticked}
            for row in tagged_by_key(access=access, keys=[key for _, key in shown])
        ],
        "which": form["which"].value() or "ticked",
        "tags": tags_offered(access),
        "limit": LABELS_LIMIT,
        "stocks": STOCKS.values(),
        "tabs": tabs(access, "labels"),
        "public_url": settings.PUBLIC_URL,
    }
    return page(
        request,
        "commissioning/labels/show.html",
        context,
        section="project-settings",
        status=422 if form.is_bound else 200,
    )


def _initial(request: ProjectRequest) -> dict[str, Any]:
    """The stock that this person took last."""
    return {"stock": request.session.get("label_stock", "")} if request.session.get("label_stock") in STOCKS else {}


def _problem(rows: list[Tagged]) -> str:
    if not rows:
        return "Tick at least one tag, or take all that were found."
    if len(rows) > LABELS_LIMIT:
        return f"One file holds {LABELS_LIMIT} labels. Narrow the list, and make the rest in another."
    return ""


def label_address(key: UUID) -> str:
    """What the QR code of a label says: any phone's camera opens it."""
    return f"{settings.PUBLIC_URL}{reverse('label', args=[code_of(key)])}"


def _sheet(code: str, rows: list[Tagged], given: dict[str, Any]) -> HttpResponse:
    labels = [
        Label(
            url=label_address(row.id),
            tag=row.tag,
            words=row.words,
            place=row.site if row.system == row.tag else f"{row.system}, {row.site}",
        )
        for row in rows
    ]
    shift = (given["right"] or 0.0, given["down"] or 0.0)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "labels.pdf"
        write_sheet(path, labels, STOCKS[given["stock"]], start=given["start"], shift=shift)
        response = HttpResponse(path.read_bytes(), content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{code}-labels.pdf"'
    response["Cache-Control"] = "private, no-store"
    return response


@require_safe
@login_required
def opened(request: HttpRequest, short: str) -> HttpResponse:
    """What a label opens: the page of its tag, for those who may see it; to everybody else it leads nowhere."""
    key = key_of(short)
    found = labelled(user=request.user, key=key) if key else None  # type: ignore[arg-type]
    if found is None:
        raise Http404("This label leads to nothing that is yours to see.")
    code, name, record = found
    return redirect(name, code=code, id=record)
