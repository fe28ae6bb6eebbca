"""One line of a project's procedure: edit it, add one, leave one out."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

import calcs
from commissioning.forms.procedure import AddLineForm, EditLineForm, RemoveForm
from commissioning.forms.procedure_calculation import LineCalculationForm
from commissioning.models import ProcedureLine
from commissioning.procedures.loader import load
from commissioning.selectors.asking import definition_or_none
from commissioning.selectors.procedures import procedure_line_or_404, procedure_or_404, stage_lines
from commissioning.services.procedures import add_line, edit_line, place_line, remove_line
from commissioning.views.base import ProjectRequest, page, project_view, submit


@project_view
def edit(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Change what a line says, and the limits that the project holds it to."""
    access = request.access
    line = procedure_line_or_404(access=access, id=id)
    form = EditLineForm(request.POST or None, line=line)
    if form.is_valid():
        changes = form.changes()
        if not changes:
            messages.info(request, "Nothing was changed.")
            return redirect("procedure", code=access.project.code, id=line.procedure_id)
        if submit(form, lambda: edit_line(actor=access.user, line=line, changes=changes)):
            messages.success(
                request, f"Line {line.key} is changed. Systems change when the procedure is laid out again."
            )
            return redirect("procedure", code=access.project.code, id=line.procedure_id)
    context = {
        **_frame(request, line),
        **_place(line),
        "form": form,
        "definition": definition_or_none(line.calculation),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/procedures/line.html", context, section="procedures", status=status)


def _frame(request: ProjectRequest, line: ProcedureLine) -> dict[str, Any]:
    code = request.access.project.code
    return {
        "line": line,
        "procedure": line.procedure,
        "may_edit": request.access.is_manager,
        "back": reverse("procedure", args=[code, line.procedure_id]) + f"#{line.key}",
    }


def _place(line: ProcedureLine) -> dict[str, Any]:
    """Where the line stands in its stage, and where it could."""
    rows = stage_lines(line)
    at = next(place for place, row in enumerate(rows) if row.pk == line.pk)
    return {
        "place": at + 1,
        "places": len(rows),
        "before": rows[at - 1].key if at else "",
        "others": [row for row in rows if row.pk != line.pk],
    }


@project_view
@require_POST
def place(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Move a line up, down, or behind another line of its stage."""
    access = request.access
    line = procedure_line_or_404(access=access, id=id)
    keys = [row.key for row in stage_lines(line)]
    at, step = keys.index(line.key), request.POST.get("step", "")
    steps = {"up": [*keys[: max(at - 1, 0)]][-1:], "down": keys[at + 1 : at + 2] or keys[at - 1 : at]}
    after = next(iter(steps[step]), "") if step in steps else request.POST.get("after", "")
    place_line(actor=access.user, line=line, after=after)
    messages.success(request, f"Line {line.key} stands {f'behind {after}' if after else 'first in its stage'}.")
    return redirect("procedure-line-edit", code=access.project.code, id=line.pk)


@project_view
def calculation(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Choose what a line calculates, and where each of its inputs comes from."""
    access = request.access
    line = procedure_line_or_404(access=access, id=id)
    wanted = request.POST.get("calculation", request.GET.get("calculation", line.calculation))
    form = LineCalculationForm(request.POST if request.method == "POST" else None, line=line, calculation=wanted)
    if form.is_valid():
        changes = form.changes()
        if not changes:
            messages.info(request, "Nothing was changed.")
            return redirect("procedure-line-edit", code=access.project.code, id=line.pk)
        if submit(form, lambda: edit_line(actor=access.user, line=line, changes=changes)):
            messages.success(
                request, f"Line {line.key} is changed. Systems change when the procedure is laid out again."
            )
            return redirect("procedure-line-edit", code=access.project.code, id=line.pk)
    context = {
        **_frame(request, line),
        "form": form,
        "calculations": [(name, calcs.get(name).title) for name in calcs.names()],
        "chosen": wanted,
        "lost": form.is_bound is False and wanted != line.calculation and bool(line.limits),
        "back": reverse("procedure-line-edit", args=[access.project.code, line.pk]),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/procedures/calculation.html", context, section="procedures", status=status)


@project_view
def add(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Add a line of the project's own."""
    access = request.access
    procedure = procedure_or_404(access=access, id=id)
    stages = load(procedure.key, procedure.source_version).stages
    initial = {"required": True, "work": "dead", "after": request.GET.get("after", "")}
    if stage := request.GET.get("stage"):
        initial["stage_kind"] = stage
    form = AddLineForm(request.POST or None, lines=procedure.lines.order_by("order"), stages=stages, initial=initial)
    if form.is_valid():
        given = form.cleaned_data
        line = submit(
            form,
            lambda: add_line(
                actor=access.user,
                procedure=procedure,
                stage_kind=given["stage_kind"],
                after=given["after"],
                **form.content(),
            ),
        )
        if line:
            messages.success(request, f"Line {line.key} is added. Systems get it when the procedure is laid out again.")
            return redirect(reverse("procedure", args=[access.project.code, procedure.pk]) + f"#{line.key}")
    context = {
        "procedure": procedure,
        "form": form,
        "may_edit": access.is_manager,
        "back": reverse("procedure", args=[access.project.code, procedure.pk]),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/procedures/add.html", context, section="procedures", status=status)


@project_view
def remove(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Leave a line out, with the reason."""
    access = request.access
    line = procedure_line_or_404(access=access, id=id)
    procedure = line.procedure
    back = reverse("procedure", args=[access.project.code, procedure.pk])
    form = RemoveForm(request.POST or None)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        key = line.key
        submit(form, lambda: remove_line(actor=access.user, line=line, reason=reason))
        if not form.errors:
            messages.success(request, f"Line {key} is left out of this project's procedure.")
            return redirect(back)
    context = {
        "line": line,
        "procedure": procedure,
        "what": f"You leave line {line.key} out of this project's procedure: {line.title}.",
        "consequences": [
            "It disappears from systems where nothing is recorded on it, once the procedure is laid out again.",
            "Where something is recorded, the record stays and the line is marked as dropped.",
            *(["It carries a caution. Make sure that nobody is hurt for lack of it."] if line.caution else []),
        ],
        "reason": request.POST.get("reason", ""),
        "error": next((message for errors in form.errors.values() for message in errors), ""),
        "back": back,
        "may_edit": access.is_manager,
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/procedures/remove.html", context, section="procedures", status=status)
