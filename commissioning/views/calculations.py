"""The catalogue of calculations: what each takes and gives, on whose authority, and its result as it is typed."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

import calcs
from calcs import reference
from calcs.definition import Definition
from commissioning.drawings.measured import measured_where
from commissioning.errors import InvalidInput
from commissioning.forms.calculation import CalculationForm
from commissioning.models import System
from commissioning.selectors.asking import wanted_by_calculation
from commissioning.selectors.system import equipment_by_tag
from commissioning.services.reading_inputs import gather_inputs
from commissioning.services.readings import attach_reading, calculate
from commissioning.views.asking import ambient_asked, meters_for, meters_of, remember, remembered
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.readings import sorted_out
from commissioning.views.standing import may_work
from commissioning.views.workings import bounds_words, drawn, formula, result_shown, words_of

#: Subjects in the order of a commissioning, each with the modules that belong to it.
SUBJECTS = (
    ("Supply", ("supply",)),
    ("Insulation, earthing and continuity", ("insulation", "pole_insulation", "earthing")),
    ("Cables", ("cables",)),
    ("Rectifiers and charging", ("rectifiers", "float_charge", "charging", "ripple")),
    ("Battery", ("battery_checks", "midpoint", "capacity", "recordings", "sizing")),
    ("Ventilation and fault energy", ("ventilation", "fault_energy")),
    ("Measurement and decision", ("decision", "instruments")),
)
OTHERS = "Others"
KIND_WORDS = {
    "published": "published",
    "memory": "memory: typical value, verify",
    "practice": "common practice, no source",
}


def definition_or_404(name: str) -> Definition:
    try:
        return calcs.get(name)
    except calcs.UnknownCalculation:
        raise Http404("There is no calculation of this name.") from None


def by_subject() -> list[tuple[str, list[Definition]]]:
    """Every calculation of the catalogue under its subject."""
    subject_of = {module: subject for subject, modules in SUBJECTS for module in modules}
    found: dict[str, list[Definition]] = {subject: [] for subject, _ in SUBJECTS}
    for name in calcs.names():
        definition = calcs.get(name)
        found.setdefault(subject_of.get(definition.module.rpartition(".")[2], OTHERS), []).append(definition)
    return [(subject, rows) for subject, rows in found.items() if rows]


@project_view
def index(request: ProjectRequest) -> HttpResponse:
    """The calculations by subject."""
    wanted = request.GET.get("q", "").strip()
    words = wanted.lower().split()
    subjects = [(subject, [row for row in rows if _fits(row, words)]) for subject, rows in by_subject()]
    context = {"subjects": [(subject, rows) for subject, rows in subjects if rows], "q": wanted}
    return page(request, "commissioning/calculations/index.html", context, section="calculations")


def _fits(definition: Definition, words: list[str]) -> bool:
    told = f"{definition.title} {definition.name.replace('_', ' ')} {definition.name}".lower()
    return all(word in told for word in words)


@project_view
def table(request: ProjectRequest) -> HttpResponse:
    """Where each calculation comes from: sources, limits and tables with their kind, and the tests that hold it."""
    context = {"subjects": [(subject, [authority(row) for row in rows]) for subject, rows in by_subject()]}
    return page(request, "commissioning/calculations/table.html", context, section="calculations")


def authority(definition: Definition) -> dict[str, Any]:
    """Sources of a calculation with the kind of each, read from its data file."""
    module = definition.module.rpartition(".")[2]
    data = reference.load(module)
    own = data.get(f"{definition.name}@{definition.edition}", data.get(definition.name, {}))
    used = {step.table for step in definition.steps if hasattr(step, "table")}
    return {
        "definition": definition,
        "sources": [_sourced(entry) for entry in own.get("sources", ())],
        "limits": [_sourced(entry) | {"of": _limited(definition, entry)} for entry in own.get("limits", ())],
        "defaults": [
            _sourced(entry) | {"of": words_of(name, definition)[1], "value": entry["value"]}
            for name, entry in own.get("defaults", {}).items()
        ],
        "tables": [
            _sourced(entry) | {"of": entry["title"]} for name, entry in data.get("tables", {}).items() if name in used
        ],
        "tests": f"tests/calcs/test_{module}.py",
    }


def _sourced(entry: Any) -> dict[str, str]:
    kind = entry.get("kind", "published")
    title = ", ".join(str(entry[key]) for key in ("source", "edition", "clause") if entry.get(key))
    return {"source": title, "kind": KIND_WORDS.get(kind, kind)}


def bound_symbol(definition: Definition, bound: Any) -> Any:
    """A bound that names another value, by its symbol: `−tolerance` as −p."""
    if not isinstance(bound, str):
        return bound
    sign = "−" if bound.startswith("-") else ""
    return f"{sign}{definition.symbol(bound.lstrip('-'))}"


def _limited(definition: Definition, entry: Any) -> str:
    """What is limited and how, as the data file has it."""
    bounds = bounds_words(*(bound_symbol(definition, entry.get(side)) for side in ("lower", "upper")))
    role = ", advice" if entry.get("role") == "advice" else ""
    return f"{words_of(entry['output'], definition)[1]}: {bounds}{role}"


@project_view
def show(request: ProjectRequest, name: str) -> HttpResponse:
    """A calculation: what is measured where, its cautions, its form, its result; kept against a tag if wanted."""
    access = request.access
    definition = definition_or_404(name)
    form = calculation_form(request, definition, request.POST or None)
    shown = None
    if form.is_valid():
        remember(request, form.chosen())
        if "attach" in request.POST:
            reading = _attach(request, form, definition)
            if reading:
                tag = reading.equipment.tag
                messages.success(request, f"The result is kept as a reading on {tag}: {reading.get_verdict_display()}.")
                return redirect("tag", code=access.project.code, id=reading.equipment_id)
        shown = submit(form, lambda: tried(request, definition, form)) if not form.errors else shown
    drawing = measured_where(definition.name)
    context = {
        "definition": definition,
        "drawing": drawn(drawing) if drawing else "",
        "form": form,
        "shown": shown,
        "formulas": [formula(text) for text in definition.formulas()],
        "symbols": symbols(definition),
        "authority": authority(definition),
        "cautions": [one.text for one in definition.cautions if one.when is None],
        "may_attach": may_work(access),
        "try_url": reverse("calculation-try", args=[access.project.code, name]),
    }
    status = 422 if form.is_bound and form.errors else 200
    return page(request, "commissioning/calculations/show.html", context, section="calculations", status=status)


def symbols(definition: Definition) -> list[dict[str, Any]]:
    """What the letters in the formulas stand for."""
    described: tuple[Any, ...] = (*definition.inputs, *definition.outputs)
    return [{"symbol": formula(one.symbol), "one": one} for one in described]


def calculation_form(request: ProjectRequest, definition: Definition, data: Any) -> CalculationForm:
    """Fields for every input, and the instruments that can show their units."""
    wanted = wanted_by_calculation(definition)
    in_use = meters_of(request.access.project) if wanted.units else []
    meters = {unit: meters_for(in_use, unit) for unit in wanted.units}
    return CalculationForm(
        data,
        asked=wanted.asked,
        meters=meters,
        remembered=remembered(request),
        ambient=ambient_asked(meters),
        initial={"tag": request.GET.get("tag", "")},
    )


def tried(request: ProjectRequest, definition: Definition, form: CalculationForm) -> dict[str, Any]:
    """The result of what was typed; nothing is kept."""
    project = request.access.project
    nowhere = System(project=project)  # no nameplate is asked: every value is typed
    gathered = gather_inputs(
        system=nowhere,
        line=None,
        calculation=definition.name,
        typed=form.typed(),
        instruments=form.measured_with(),
        taken_at=timezone.now(),
    )
    result = calculate(system=nowhere, line=None, calculation=definition.name, gathered=gathered)
    return result_shown(result.as_json(), project=project)


def _attach(request: ProjectRequest, form: CalculationForm, definition: Definition) -> Any:
    """Keep the result against a tag; what is wrong stands beside its field."""
    access = request.access
    equipment = equipment_by_tag(access=access, tag=form.cleaned_data["tag"]) if form.cleaned_data["tag"] else None
    if equipment is None:
        form.add_error("tag", "Type the tag of a piece of equipment of this project.")
        return None
    return submit(
        form,
        lambda: attach_reading(
            actor=access.user,
            equipment=equipment,
            calculation=definition.name,
            typed=form.typed(),
            instruments=form.measured_with(),
            remark=form.cleaned_data["remark"],
            id=form.record_id,
        ),
    )


@project_view
@require_POST
def attempt(request: ProjectRequest, name: str) -> HttpResponse:
    """The result while it is typed."""
    definition = definition_or_404(name)
    form = calculation_form(request, definition, request.POST)
    context: dict[str, Any] = {"missing": [], "wrong": [], "shown": None}
    if not form.is_valid():
        context["wrong"] = [message for found in form.errors.values() for message in found]
    elif any(form.typed().values()):
        try:
            context["shown"] = tried(request, definition, form)
        except InvalidInput as error:
            context |= sorted_out(error, form)
    return render(request, "commissioning/run/live.html", context)
