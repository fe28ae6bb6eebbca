"""One decision on many readings that came out otherwise."""

from __future__ import annotations

from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from commissioning.forms.verification import DecideManyForm
from commissioning.selectors.verification import run_or_404
from commissioning.services.verification import decide_changes
from commissioning.views.base import ProjectRequest, project_view, submit
from commissioning.views.verification import run_page


@project_view
@require_POST
def decide(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Take the new results over, or keep the old ones, for those ticked or for all that wait."""
    access = request.access
    run = run_or_404(access=access, id=id)
    form = DecideManyForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        confirm, everything = given["decision"] == "confirm", given["everything"]
        done = submit(
            form,
            lambda: decide_changes(
                actor=access.user,
                run=run,
                changes=None if everything else given["change"],
                confirm=confirm,
                remark=given["remark"],
                kind=given["kind"] if everything else "",
                expected=given["expected"] if everything else None,
            ),
        )
        if done:
            stands = "the new result stands now" if confirm else "the old result is kept"
            messages.success(request, f"Decided on {done} reading{'s' if done > 1 else ''}: {stands}.")
            address = reverse("verification-run", args=[access.project.code, run.pk])
            return redirect(f"{address}?kind={given['kind']}" if given["kind"] else address)
    return run_page(request, run_or_404(access=access, id=id), many=form, status=422)
