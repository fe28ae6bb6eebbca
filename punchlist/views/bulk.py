"""Saying who owes many items at once, and taking that back."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse, QueryDict
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.links import blocker_row
from punchlist.forms.many import AssignForm
from punchlist.models import PunchItem
from punchlist.selectors.items import members_for, rows_for
from punchlist.services.assignment import AT_ONCE
from punchlist.services.items import assign_items, undo_assignment
from punchlist.views.listing import filter_query


@project_view
def assign(request: ProjectRequest) -> HttpResponse:
    """The chosen items, and who is to owe them."""
    access, code = request.access, request.access.project.code
    given = request.POST if request.method == "POST" else request.GET
    items = chosen(request, given)
    back = filter_query(QueryDict(given.get("back", "")))
    if not items:
        messages.warning(request, "Tick the items first, then say who owes them.")
        return redirect(_list(code, back))
    form = AssignForm(request.POST or None, members=members_for(access))
    if request.method == "POST" and form.is_valid():
        done = submit(
            form,
            lambda: assign_items(
                actor=access.user,
                project=access.project,
                items=[item.pk for item in items],
                id=form.record_id,
                **form.wanted(),
            ),
        )
        if done:
            messages.success(request, f"{len(done.numbers)} items: {form.words}.")
            return redirect(_list(code, back, assigned=str(done.batch)))
    blockers = [blocker_row(b, code=code, role=access.role) for b in getattr(form, "blockers", ())]
    context = {"form": form, "items": items, "back": back, "back_url": _list(code, back), "blockers": blockers}
    status = 400 if form.errors else 200
    return page(request, "punchlist/bulk.html", context, section="punch-list", status=status)


def chosen(request: ProjectRequest, given: QueryDict) -> list[PunchItem]:
    """The ticked items that the person may see."""
    numbers = [int(text) for text in given.getlist("item") if text.isascii() and text.isdigit() and len(text) < 10]
    return list(rows_for(request.access).filter(number__in=numbers[: AT_ONCE + 1]).order_by("number"))


def _list(code: str, query: str, **more: str) -> str:
    address = QueryDict(query, mutable=True)
    for word, value in more.items():
        address[word] = value
    tail = address.urlencode()
    return reverse("punch-list", args=[code]) + (f"?{tail}" if tail else "")


@require_POST
@project_view
def undo(request: ProjectRequest, batch: UUID) -> HttpResponse:
    """Take an assignment back: items that were changed since keep what they have."""
    done = undo_assignment(actor=request.access.user, project=request.access.project, batch=batch)
    messages.success(request, f"{len(done.numbers)} items have again what they had before.")
    return redirect(_list(request.access.project.code, filter_query(QueryDict(request.POST.get("back", "")))))
