"""What came out otherwise when readings were verified again, and what is to be done about it?"""

from __future__ import annotations

from math import isclose
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from calcs.figures import plain
from commissioning.forms.verification import AskForm, DecideForm, DecideManyForm
from commissioning.models import Instrument, VerificationChange, VerificationRun
from commissioning.selectors.access import systems_for
from commissioning.selectors.asking import definition_or_none
from commissioning.selectors.verification import (
    KINDS,
    change_counts,
    change_or_404,
    changes_of_run,
    run_or_404,
    runs_of,
    scope_words,
)
from commissioning.services.verification import ask_verification, decide_change
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.standing import may_work
from commissioning.views.workings import bounds_words, limit_row, output_row

PAGE_SIZE = 25
ENDED = ("done", "failed", "cancelled")
KIND_WORDS = (("", "all"), ("verdict", "verdict changed"), ("numbers", "only numbers changed"))


@project_view
def index(request: ProjectRequest) -> HttpResponse:
    """Runs with what waits for a decision; ask for another."""
    access = request.access
    initial = {
        name: request.GET[name] for name in ("instrument", "system", "calculation", "reason") if name in request.GET
    }
    form = AskForm(
        request.POST or None,
        systems=systems_for(access).order_by("tag"),
        instruments=Instrument.objects.filter(project=access.project).order_by("description", "serial_number"),
        initial=initial,
    )
    if form.is_valid():
        run = submit(
            form,
            lambda: ask_verification(
                actor=access.user, project=access.project, reason=form.cleaned_data["reason"], scope=form.scope()
            ),
        )
        if run:
            messages.success(request, "The readings are being verified again. You can leave this page.")
            return redirect("verification-run", code=access.project.code, id=run.pk)
    found = Paginator(runs_of(access), PAGE_SIZE).get_page(request.GET.get("page", 1))
    context = {
        "page_obj": found,
        "form": form,
        "asking": form.is_bound or bool(initial),
        "may_ask": may_work(access),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/verification/index.html", context, section="instruments", status=status)


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """A run: each reading that came out otherwise, old and new."""
    return run_page(request, run_or_404(access=request.access, id=id))


def run_page(
    request: ProjectRequest,
    run: VerificationRun,
    *,
    refused: UUID | None = None,
    remark: str = "",
    error: str = "",
    many: DecideManyForm | None = None,
    status: int = 200,
) -> HttpResponse:
    """A run; `many` and `refused` bring back what was decided and could not be, with what was typed."""
    access = request.access
    asked = request.POST.get("kind", request.GET.get("kind", ""))
    kind = asked if asked in KINDS else ""
    counts, ticked = change_counts(run, access), request.POST.getlist("change")
    changes = Paginator(changes_of_run(run, access, kind=kind), PAGE_SIZE).get_page(request.GET.get("page", 1))
    context = {
        "run": run,
        "scope": scope_words(access.project, run.scope),
        "page_obj": changes,
        "changes": [
            change_row(change, access.project.code)
            | ({"remark": remark, "error": error} if change.pk == refused else {"remark": "", "error": ""})
            | {"ticked": str(change.pk) in ticked}
            for change in changes
        ],
        "may_decide": access.is_manager,
        "kind": kind,
        "kinds": [(name, words, counts.total[name]) for name, words in KIND_WORDS if counts.total[name] or not name],
        "waiting": counts.waiting[kind],
        "many": many or DecideManyForm(),
        **progress_context(run, access.project.code),
    }
    return page(request, "commissioning/verification/show.html", context, section="instruments", status=status)


def progress_context(run: VerificationRun, code: str) -> dict[str, Any]:
    """The run's job for components/progress.html."""
    job = run.job
    going = job is not None and job.state not in ENDED
    return {
        "job": {
            "state": job.state,
            "label": job.words or "verifying readings again",
            "done": job.done,
            "total": job.total,
            "error": job.error,
        }
        if job
        else None,
        "poll_url": reverse("verification-progress", args=[code, run.pk]) if going else "",
        "ended": not going,
    }


@project_view
def progress(request: ProjectRequest, id: UUID) -> HttpResponse:
    """How far it is; when it has ended the page comes anew with its result."""
    run = run_or_404(access=request.access, id=id)
    context = progress_context(run, request.access.project.code)
    answer = render(request, "components/progress.html", context)
    if context["ended"]:
        answer["HX-Refresh"] = "true"
    return answer


def change_row(change: VerificationChange, code: str) -> dict[str, Any]:
    """A changed reading: old and new verdict, and the numbers and limits that differ."""
    reading = change.reading
    where = reading.line.title if reading.line else reading.calculation.replace("_", " ")
    url = reverse("line-record", args=[code, reading.line_id]) + f"#reading-{reading.pk}" if reading.line_id else ""
    return {
        "change": change,
        "reading": reading,
        "where": where,
        "url": url or (reverse("tag", args=[code, reading.equipment_id]) if reading.equipment_id else ""),
        "accepted_stage": bool(reading.line and reading.line.stage.state == "accepted"),
        "superseded": reading.superseded_at is not None,
        "differences": differences(reading.result, change.result),
        "why": [text for text in change.result.get("cautions", ()) if text not in reading.result.get("cautions", ())],
    }


def differences(old: dict[str, Any], new: dict[str, Any]) -> list[dict[str, str]]:
    """Outputs and limits that are not what they were, in words."""
    definition = definition_or_none(new.get("calculation", "") or old.get("calculation", ""))
    rows = []
    before, after = old.get("outputs", {}), new.get("outputs", {})
    for name in after:
        texts = [
            _text(output_row(name, outputs[name], definition)) if name in outputs else "" for outputs in (before, after)
        ]
        if texts[0] == texts[1] and name in before:
            texts = _finer(before[name], after[name], texts)
        if texts[0] != texts[1]:
            rows.append({"name": output_row(name, after[name], definition)["help"], "old": texts[0], "new": texts[1]})
    limits = [[_limit_text(limit_row(limit, definition)) for limit in one.get("limits", ())] for one in (old, new)]
    if limits[0] != limits[1]:
        rows.append({"name": "limits", "old": "; ".join(limits[0]), "new": "; ".join(limits[1])})
    chances = [one.get("conformity_probability") for one in (old, new)]
    if chances[0] != chances[1]:
        told = ["" if chance is None else f"{chance * 100:.1f} %" for chance in chances]
        rows.append({"name": "probability of conformity", "old": told[0], "new": told[1]})
    return [row for row in rows if row["old"] != row["new"]]


def _finer(old: dict[str, Any], new: dict[str, Any], texts: list[str]) -> list[str]:
    """A change that the usual digits hide, in all its digits."""
    before, after = old.get("value"), new.get("value")
    if not isinstance(before, float) or not isinstance(after, float):
        return texts
    if isclose(before, after, rel_tol=1e-9, abs_tol=1e-12):
        return texts
    return [f"{plain(value, 12)} {new.get('unit') or ''}".strip() for value in (before, after)]


def _text(row: dict[str, str]) -> str:
    return f"{row['text']} {row['unit']}".strip()


def _limit_text(row: dict[str, Any]) -> str:
    return f"{row['output']} {bounds_words(row['lower'], row['upper'], row['unit'])}"


@project_view
@require_POST
def decide(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Take a new result over, or keep the old one with a reason."""
    access = request.access
    change = change_or_404(access=access, id=id)
    form = DecideForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        confirm = given["decision"] == "confirm"
        done = submit(
            form,
            lambda: decide_change(actor=access.user, change=change, confirm=confirm, remark=given["remark"]),
        )
        if done:
            messages.success(request, "The new result stands now." if confirm else "The old result is kept.")
            return redirect("verification-run", code=access.project.code, id=change.run_id)
    error = next((str(message) for errors in form.errors.values() for message in errors), "")
    run = run_or_404(access=access, id=change.run_id)
    remark = request.POST.get("remark", "")
    return run_page(request, run, refused=change.pk, remark=remark, error=error, status=422)
