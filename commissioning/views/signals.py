"""Signal points: the matrix, and one point forced, seen at the far end by a second person, restored."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from commissioning.forms.base import RepeatSafeForm
from commissioning.forms.signal import FailForm, SeenForm, SignalFilter
from commissioning.models import SignalPoint, SignalProof, StageState
from commissioning.selectors.access import Access, sites_for
from commissioning.selectors.alarms import entries_about
from commissioning.selectors.signals import (
    FORCED,
    NOT_FORCED,
    PROVED,
    asked_of,
    point_or_404,
    points_wanted,
    proof_or_404,
    proof_state,
    proofs_of,
    signal_counts,
    stage_of,
    standing_proof,
)
from commissioning.services.signals import fail_signal, force_signal, restore_signal, see_signal
from commissioning.views.base import ProjectRequest, page, project_view, submit, use_site_zone
from commissioning.views.finding import system_named, tags_offered
from commissioning.views.history import entry_rows
from commissioning.views.links import page_url
from commissioning.views.standing import may_work, rows

PAGE_SIZE = 100
#: A printed matrix holds them all, up to what a browser prints without choking.
PRINTED = 5000
#: Seconds that a point is held forced, so that scan times and alarm delays of the far end have passed
#: (common practice, no source); the maker's and the control system's own delays go first.
HOLD_SECONDS = 15


@project_view
def show(request: ProjectRequest) -> HttpResponse:
    """The matrix of signal points; `?print=1` puts every row that fits on one sheet for paper."""
    access = request.access
    system = system_named(access, request.GET.get("system", ""))
    form = SignalFilter(request.GET, sites=sites_for(access), system=system)
    wanted = form.wanted()
    on_paper = request.GET.get("print") == "1"
    found = points_wanted(access=access, wanted=wanted)
    shown = Paginator(found, PRINTED if on_paper else PAGE_SIZE).get_page(request.GET.get("page", 1))
    context = {
        "form": form,
        "wanted": wanted,
        "page_obj": shown,
        "rows": [matrix_row(point) for point in shown],
        "counts": signal_counts(access),
        "asked": [] if on_paper else asked_of(access),
        "tags": tags_offered(access),
        "on_paper": on_paper,
        "new_url": _new_url(request, system) if may_work(access) else "",
    }
    template = "commissioning/signals/matrix.html" if on_paper else "commissioning/signals/list.html"
    return page(request, template, context, section="signals")


def _new_url(request: ProjectRequest, system: Any) -> str:
    return page_url("signal-new", request.access.project.code, **({"system": system.pk} if system else {}))


def matrix_row(point: SignalPoint) -> dict[str, Any]:
    """A point with its standing proof, for the matrix."""
    proof = standing_proof(point)
    return {"point": point, "proof": proof, "state": proof_state(proof), "left": bool(proof and not proof.restored_at)}


def _point(request: ProjectRequest, id: UUID) -> SignalPoint:
    found = point_or_404(access=request.access, id=id)
    use_site_zone(found.system.site)
    return found


@project_view
def signal(request: ProjectRequest, id: UUID) -> HttpResponse:
    """One point; `?part=proof` answers with the proof alone, and with nothing while it stands as it stood."""
    point = _point(request, id)
    if request.GET.get("part") != "proof":
        return _signal_page(request, point)
    context = proof_context(request.access, point)
    if request.GET.get("known") == context["known"]:
        return HttpResponse(status=204)
    context["proofs"] = proof_rows(point)
    return render(
        request, "commissioning/signals/proof.html", {**context, "code": request.access.project.code, "point": point}
    )


def proof_context(access: Access, point: SignalPoint) -> dict[str, Any]:
    """Where the proof stands, whose turn it is, and how soon to look again."""
    proof = standing_proof(point)
    state = proof_state(proof)
    own = proof is not None and proof.forced_by_id == access.user.pk
    alone = access.project.far_end_by_second_person
    left = proof is not None and proof.restored_at is None
    in_hand = getattr(point, "stage_state", "") == StageState.STARTED
    known = f"{proof.pk if proof else 'none'}-{state.replace(' ', '_')}-{'left' if left else 'restored'}-{int(in_hand)}"
    address = reverse("signal", args=[access.project.code, point.pk])
    return {
        "proof": proof,
        "state": state,
        "own": own,
        "known": known,
        "in_hand": in_hand,
        "left": left,
        "may_work": may_work(access),
        "may_see": state == FORCED and in_hand and not (own and alone),
        "held_seconds": max(int((timezone.now() - proof.forced_at).total_seconds()), 0) if proof else 0,
        "hold_seconds": HOLD_SECONDS,
        # An open proof is looked at every two seconds; a point that may be forced any moment, every five.
        "every": "2s" if left else "5s" if in_hand and state in (NOT_FORCED, FORCED) else "",
        "poll_url": f"{address}?part=proof&known={known}",
        "seen_form": SeenForm(),
        "fail_form": FailForm(),
        "force_form": RepeatSafeForm(),
    }


def proof_rows(point: SignalPoint) -> list[dict[str, Any]]:
    """Every attempt at the point, newest first, each with where it stands."""
    return [{"proof": proof, "state": proof_state(proof)} for proof in proofs_of(point)]


def _signal_page(request: ProjectRequest, point: SignalPoint, *, status: int = 200, **more: Any) -> HttpResponse:
    access, code = request.access, request.access.project.code
    forms = [form for form in more.values() if hasattr(form, "non_field_errors")]
    blockers = next((form.blockers for form in forms if getattr(form, "blockers", ())), ())
    context = {
        "point": point,
        "stage": stage_of(point),
        "entries": entry_rows(entries_about(point.pk, access=access)[:20], code),
        "blockers": rows(blockers, access),
        "refused": [] if blockers else [words for form in forms for words in form.non_field_errors()],
        "others_url": page_url("signals", code, system=point.system_id),
        "proofs": proof_rows(point),
        **proof_context(access, point),
        **more,
    }
    template = "commissioning/signals/show.html"
    return page(request, template, context, section="signals", system=point.system, status=status)


@require_POST
@project_view
def force(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The point is forced now: a new proof begins."""
    point = _point(request, id)
    form = RepeatSafeForm(request.POST)
    if form.is_valid() and submit(
        form, lambda: force_signal(actor=request.access.user, point=point, id=form.record_id)
    ):
        return redirect("signal", code=request.access.project.code, id=point.pk)
    return _signal_page(request, _point(request, id), force_form=form, status=422)


def _proof(request: ProjectRequest, id: UUID) -> SignalProof:
    found = proof_or_404(access=request.access, id=id)
    use_site_zone(found.point.system.site)
    return found


@require_POST
@project_view
def seen(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The far end saw it."""
    proof = _proof(request, id)
    form = SeenForm(request.POST)
    if form.is_valid():
        seconds = form.cleaned_data["response_seconds"]
        if submit(form, lambda: see_signal(actor=request.access.user, proof=proof, response_seconds=seconds)):
            messages.success(request, f"{proof.point.tag} was seen at the far end. It is restored next.")
            return redirect("signal", code=request.access.project.code, id=proof.point_id)
    return _signal_page(request, _point(request, proof.point_id), seen_form=form, status=422)


@require_POST
@project_view
def failed(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The far end saw something else, or nothing."""
    proof = _proof(request, id)
    form = FailForm(request.POST)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        if submit(form, lambda: fail_signal(actor=request.access.user, proof=proof, reason=reason)):
            messages.warning(request, f"{proof.point.tag} failed. Restore it, put it right, then force it again.")
            return redirect("signal", code=request.access.project.code, id=proof.point_id)
    return _signal_page(request, _point(request, proof.point_id), fail_form=form, status=422)


@require_POST
@project_view
def restored(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The point is back to normal."""
    proof = _proof(request, id)
    form = RepeatSafeForm(request.POST)
    if form.is_valid() and submit(form, lambda: restore_signal(actor=request.access.user, proof=proof)):
        fresh = _point(request, proof.point_id)
        done = proof_state(standing_proof(fresh)) == PROVED
        words = "proved end to end" if done else "restored; it is not proved yet"
        messages.success(request, f"{proof.point.tag} is {words}.")
        return redirect("signal", code=request.access.project.code, id=proof.point_id)
    return _signal_page(request, _point(request, proof.point_id), restore_form=form, status=422)
