"""Dossiers: can I trust one and take it, and what would the next one be missing?"""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe
from django_htmx.http import HttpResponseClientRefresh

from commissioning.dossier.content_missing import missing_now
from commissioning.dossier.content_words import upto
from commissioning.forms.dossier import AskDossierForm, ReceiveForm
from commissioning.models import Dossier, JobState
from commissioning.selectors.access import Access
from commissioning.selectors.dossiers import (
    built_or_404,
    dossier_or_404,
    dossiers_for,
    receipts_of,
    revisions_of,
    scope_words,
    systems_of,
)
from commissioning.services.dossier_build import number_of, zone_of_scope
from commissioning.services.dossier_files import beside, read_json
from commissioning.services.dossier_signing import OWN_MADE, signing_words
from commissioning.services.dossiers import ask_dossier, receive_dossier
from commissioning.services.jobs import ask_again
from commissioning.services.jobs import cancel as cancel_job
from commissioning.services.visits import look_at_dossiers
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.jobs import GOING_ON, progress_of
from commissioning.views.links import page_url
from commissioning.views.ranged import stored_content, stored_pdf

SECTION = "dossiers"
PAGE_SIZE = 50
#: Rows of what is missing that the asking page shows.
MISSING_SHOWN = 40


@project_view
def show(request: ProjectRequest) -> HttpResponseBase:
    """Dossiers of the project: the newest revision of each first."""
    access = request.access
    found = Paginator(dossiers_for(access), PAGE_SIZE).get_page(request.GET.get("page", 1))
    since = look_at_dossiers(membership=access.membership, at=timezone.now()) if access.is_client else None
    context = {
        "page_obj": found,
        "rows": [_row(one, access, since) for one in found],
        "may_ask": not access.is_engineer,
    }
    return page(request, "commissioning/dossiers/list.html", context, section=SECTION)


def _row(dossier: Dossier, access: Access, since: Any = None) -> dict[str, Any]:
    code = access.project.code
    return {
        "dossier": dossier,
        "scope": scope_words(dossier),
        "state": state_of(dossier),
        "url": reverse("dossier", args=[code, dossier.pk]),
        "comments_url": page_url("dossier-comments", code, dossier.pk),
        "download_url": reverse("dossier-download", args=[code, dossier.pk]) if dossier.built_at else "",
        "new": bool(since and dossier.built_at and dossier.built_at > since),
        "own_made": dossier.job.result.get("own_made_certificate", False),
    }


def state_of(dossier: Dossier) -> str:
    """One word for where it stands."""
    if not dossier.built_at:
        return str(dossier.job.state)
    return "interim" if dossier.interim else "complete"


@project_view
def new(request: ProjectRequest) -> HttpResponseBase:
    """Choose what it covers; see what it would be missing; ask for it."""
    access = request.access
    asked = request.method == "POST"
    data = request.POST if asked else request.GET if "covers" in request.GET else None
    form = AskDossierForm(data, access=access, initial=_initial(request))
    if asked and form.is_valid():
        made = submit(form, lambda: _ask(access, form))
        if made:
            return redirect("dossier", code=access.project.code, id=made.pk)
    valid = form.is_bound and form.is_valid()
    context = {
        "form": form,
        "may_ask": not access.is_engineer,
        "looked": valid,
        **(_missing(access, form) if valid else {}),
        "signing_words": signing_words(),
    }
    return page(request, "commissioning/dossiers/new.html", context, section=SECTION, status=422 if asked else 200)


def _initial(request: ProjectRequest) -> dict[str, str]:
    kinds = (("system", "system:"), ("site", "site:"))
    return next(({"covers": f"{mark}{request.GET[kind]}"} for kind, mark in kinds if kind in request.GET), {})


def _ask(access: Access, form: AskDossierForm) -> Dossier:
    given = form.cleaned_data
    return ask_dossier(
        actor=access.user,
        project=access.project,
        **form.target(),
        up_to=given["up_to"],
        paper=given["paper"],
        reason=given["reason"],
        id=form.record_id,
    )


def _missing(access: Access, form: AskDossierForm) -> dict[str, Any]:
    target = form.target()
    systems = systems_of(project=access.project, site=target.get("site"), system=target.get("system"))
    ids = list(systems.values_list("pk", flat=True))
    kinds, zone = upto(form.cleaned_data["up_to"]), zone_of_scope(access.project, **target)
    rows = list(missing_now(ids, kinds, timezone.now(), zone))
    for row in rows:
        row["url"] = page_url("system", access.project.code, row["system"])
    return {"missing": rows[:MISSING_SHOWN], "missing_count": len(rows), "systems_count": len(ids)}


@project_view
def dossier(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """One dossier: its progress, or what is known about it; `?part=progress` answers with the progress alone."""
    found = dossier_or_404(access=request.access, id=id)
    if request.GET.get("part") == "progress":
        if found.job.state not in GOING_ON:
            return HttpResponseClientRefresh()
        return render(request, "commissioning/jobs/progress.html", {"progress": _progress(found)})
    return _dossier_page(request, found, ReceiveForm())


def _progress(found: Dossier) -> dict[str, Any]:
    address = reverse("dossier", args=[found.project.code, found.pk])
    return progress_of(found.job, poll_url=f"{address}?part=progress")


def _dossier_page(request: ProjectRequest, found: Dossier, form: ReceiveForm, status: int = 200) -> HttpResponse:
    access = request.access
    own = found.job.asked_by_id == access.user.pk or access.is_manager
    receipts = list(receipts_of(found))
    revisions = list(revisions_of(found))
    context = {
        **_row(found, access),
        "number": number_of(found),
        "progress": _progress(found) if not found.built_at else None,
        "may_cancel": own and not found.built_at and found.job.state in GOING_ON,
        "may_ask_again": own and found.job.state in (JobState.FAILED, JobState.CANCELLED),
        "reason": found.job.arguments.get("reason", ""),
        "revisions": revisions,
        "latest": revisions[-1] if revisions else None,
        "changes": _changes(found),
        "own_made_words": OWN_MADE,
        "receipts": receipts,
        "receive_form": form if access.is_client and not any(r.actor_id == access.user.pk for r in receipts) else None,
        "again_url": _again_url(found) if not access.is_engineer else "",
    }
    return page(request, "commissioning/dossiers/show.html", context, section=SECTION, status=status)


def _again_url(found: Dossier) -> str:
    covers = f"{found.scope}:{found.system_id or found.site_id}" if found.scope != "project" else "project"
    same = {name: found.job.arguments.get(name, "") for name in ("up_to", "paper")}
    return page_url("dossier-new", found.project.code, covers=covers, **same)


def _changes(found: Dossier) -> dict[str, Any] | None:
    """What the dossier prints about the revision before it; read from what was frozen, never worked out anew."""
    if not found.built_at or not found.supersedes:
        return None
    kept = essentials_of(found)
    return {"rows": kept.get("changes", []), "count": kept.get("change_count", 0), "since": found.supersedes.revision}


def essentials_of(found: Dossier) -> dict[str, Any]:
    """The few facts that were frozen for reading on a phone."""
    try:
        kept: dict[str, Any] = read_json(beside(found, "essentials.json"))
    except FileNotFoundError as error:
        raise Http404("The dossier's content is not in the storage any more.") from error
    return kept


@project_view
def read(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """The essentials of a dossier for a phone, from what was frozen."""
    found = built_or_404(access=request.access, id=id)
    kept = essentials_of(found)
    systems = Paginator(kept["systems"], PAGE_SIZE).get_page(request.GET.get("page", 1))
    context = {
        **_row(found, request.access),
        "scope": kept["scope"],
        "missing": kept["missing"],
        "page_obj": systems,
        "systems": systems,
    }
    return page(request, "commissioning/dossiers/read.html", context, section=SECTION)


@require_safe
@project_view
def download(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """The signed PDF; a download that broke off can be resumed."""
    return stored_pdf(request, built_or_404(access=request.access, id=id))


@require_safe
@project_view
def content(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """The frozen content as data."""
    return stored_content(request, built_or_404(access=request.access, id=id))


@require_POST
@project_view
def cancel(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """Stop building; finished sections stay for the next time."""
    found = dossier_or_404(access=request.access, id=id)
    cancel_job(job=found.job, actor=request.access.user)
    messages.success(request, "Cancelled. Asked for again, it goes on from the sections that are finished.")
    return redirect("dossier", code=request.access.project.code, id=found.pk)


@require_POST
@project_view
def again(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """Build the same revision after a failure or a cancellation."""
    found = dossier_or_404(access=request.access, id=id)
    ask_again(job=found.job, actor=request.access.user)
    return redirect("dossier", code=request.access.project.code, id=found.pk)


@require_POST
@project_view
def receive(request: ProjectRequest, id: UUID) -> HttpResponseBase:
    """The client signs for it."""
    found = built_or_404(access=request.access, id=id)
    form = ReceiveForm(request.POST)
    if form.is_valid():
        given = form.cleaned_data
        signed = submit(form, lambda: receive_dossier(actor=request.access.user, dossier=found, **given))
        if signed:
            messages.success(request, "Your receipt is signed.")
            return redirect("dossier", code=request.access.project.code, id=found.pk)
    return _dossier_page(request, found, form, status=422)
