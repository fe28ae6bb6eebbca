"""What is to be done on a kind of system, and where does this project's procedure differ from the bundled one?"""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from commissioning.errors import Conflict, InvalidInput
from commissioning.forms.procedure import ApplyForm
from commissioning.models import Procedure
from commissioning.procedures.loader import LineDifference, load
from commissioning.selectors.procedures import (
    laid_out,
    lines_by_stage,
    procedure_or_404,
    procedure_rows,
    systems_of_kind,
    versions_of,
)
from commissioning.services.procedures import (
    apply_procedure,
    as_data,
    compare_with_bundled,
    copy_procedure,
    own_edits,
    take_over_version,
)
from commissioning.views.base import ProjectRequest, page, project_view

#: Names of a line's fields as people say them; parts of inputs and limits are put together below.
FIELD_WORDS = {
    "title": "what is to be done",
    "accept": "good enough when",
    "injects_voltage": "injects a test voltage",
    "equipment": "about",
    "timer_seconds": "seconds to hold",
    "repeat": "laid out",
    "after": "follows",
}


@project_view
def index(request: ProjectRequest) -> HttpResponse:
    """Bundled procedures with the project's copies."""
    context = {"rows": procedure_rows(request.access), "may_edit": request.access.is_manager}
    return page(request, "commissioning/procedures/index.html", context, section="procedures")


@project_view
@require_POST
def copy(request: ProjectRequest) -> HttpResponse:
    """Copy a bundled procedure into the project."""
    access = request.access
    procedure = copy_procedure(actor=access.user, project=access.project, key=request.POST.get("key", ""))
    messages.success(request, f"{procedure.title} is copied. It may be edited here now, and laid out on systems.")
    return redirect("procedure", code=access.project.code, id=procedure.pk)


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """One copy: its lines by stage, and what the project changed in them."""
    procedure = procedure_or_404(access=request.access, id=id)
    edits = own_edits(procedure=procedure)
    kinds = {edit.key: edit.kind for edit in edits}
    newest = versions_of(procedure.key)[0]
    context = {
        "procedure": procedure,
        "source": load(procedure.key, procedure.source_version),
        "newest": newest if newest.version > procedure.source_version else None,
        "stages": [
            (words, [{"line": line, "changed": kinds.get(line.key, "")} for line in lines])
            for words, lines in lines_by_stage(procedure)
        ],
        "edits": difference_rows(edits, load(procedure.key, procedure.source_version), as_data(procedure)),
        "systems": systems_of_kind(request.access, procedure.system_kind).count(),
        "may_edit": request.access.is_manager,
    }
    return page(request, "commissioning/procedures/show.html", context, section="procedures")


def _version(request: ProjectRequest, procedure: Procedure) -> int:
    wanted = request.POST.get("version") or request.GET.get("version") or ""
    known = [one.version for one in versions_of(procedure.key)]
    if not wanted:
        return known[0]
    if not wanted.isdecimal() or int(wanted) not in known:
        raise Http404("This procedure has no such version.")
    return int(wanted)


@project_view
def compare(request: ProjectRequest, id: UUID) -> HttpResponse:
    """What taking over a bundled version would change, line by line; take over all of it or some lines."""
    procedure = procedure_or_404(access=request.access, id=id)
    version = _version(request, procedure)
    chosen, error = request.POST.getlist("line"), ""
    if request.method == "POST":
        everything = request.POST.get("take") == "all"
        if everything or chosen:
            take_over_version(
                actor=request.access.user, procedure=procedure, version=version, keys=None if everything else chosen
            )
            taken = "every line" if everything else f"{len(chosen)} line{'s' if len(chosen) > 1 else ''}"
            messages.success(
                request, f"Took over {taken} of version {version}. Systems change when it is laid out again."
            )
            return redirect("procedure", code=request.access.project.code, id=procedure.pk)
        error = "Choose the lines to take over, or take over all of them."
    bundled = load(procedure.key, version)
    own = as_data(procedure)
    context = {
        "procedure": procedure,
        "version": bundled,
        "versions": versions_of(procedure.key),
        "rows": difference_rows(compare_with_bundled(procedure=procedure, version=version), own, bundled),
        "chosen": chosen,
        "error": error,
        "may_edit": request.access.is_manager,
    }
    status = 422 if error else 200
    return page(request, "commissioning/procedures/compare.html", context, section="procedures", status=status)


def difference_rows(found: list[LineDifference], old: Any, new: Any) -> list[dict[str, Any]]:
    """Differences in words, those of one line together."""
    rows: dict[str, dict[str, Any]] = {}
    titles = {line.key: line.title for line in (*old.lines, *new.lines)}
    stages = {line.key: line.stage for line in (*old.lines, *new.lines)}
    for one in found:
        row = rows.setdefault(
            one.key,
            {
                "key": one.key,
                "title": titles.get(one.key, ""),
                "stage": stages.get(one.key, ""),
                "kinds": [],
                "fields": [],
            },
        )
        row["kinds"].append(one.kind)
        row["fields"] += [
            {"name": field_words(name), "old": value_words(before), "new": value_words(after)}
            for name, (before, after) in one.fields.items()
        ]
    return list(rows.values())


def field_words(name: str) -> str:
    """`inputs.measured.unit` as 'input measured: unit'."""
    parts = name.split(".")
    if len(parts) == 3:
        return f"{parts[0].removesuffix('s')} {parts[1].replace('_', ' ')}: {parts[2]}"
    return FIELD_WORDS.get(name, name.replace("_", " "))


def value_words(value: object) -> str:
    """A field's value as it is read in a comparison."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


@project_view
def apply(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Lay the procedure out on systems of its kind."""
    access = request.access
    procedure = procedure_or_404(access=access, id=id)
    systems = systems_of_kind(access, procedure.system_kind)
    form = ApplyForm(request.POST or None, systems=systems)
    if form.is_valid():
        for system in form.cleaned_data["systems"]:
            try:
                counts = apply_procedure(actor=access.user, system=system, procedure=procedure)
            except (Conflict, InvalidInput) as error:
                messages.warning(request, f"{system.tag}: {error.words}")
                continue
            words = ", ".join(f"{counts[name]} {name}" for name in ("added", "changed", "retired", "same"))
            messages.success(request, f"{system.tag}: check lines {words.replace('same', 'left as they are')}.")
        return redirect("procedure-apply", code=access.project.code, id=procedure.pk)
    versions = laid_out(systems, key=procedure.key)
    chosen = request.POST.getlist("systems") or request.GET.getlist("system")
    context = {
        "procedure": procedure,
        "version": f"{procedure.source_version}.{procedure.revision}",
        "form": form,
        "rows": [
            {"system": system, "version": versions.get(system.pk, ""), "chosen": str(system.pk) in chosen}
            for system in systems
        ],
        "may_edit": access.is_manager,
        "back": reverse("procedure", args=[access.project.code, procedure.pk]),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/procedures/apply.html", context, section="procedures", status=status)
