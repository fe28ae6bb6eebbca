"""What is on record of an instrument is put right; it goes out of use, and comes back."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse

from commissioning.forms.instrument import ChangeRangeForm, InstrumentForm, ReasonForm
from commissioning.models import Instrument
from commissioning.selectors.instruments import instrument_or_404, range_or_404
from commissioning.services.instruments import bring_back_instrument, retire_instrument
from commissioning.services.register_points import change_instrument, change_range
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.standing import may_work

TEMPLATE = "commissioning/instruments/upkeep.html"


@project_view
def change(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Serial number, what it is, maker and model, put right."""
    access = request.access
    instrument = instrument_or_404(access=access, id=id)
    names = ("serial_number", "description", "maker", "model")
    form = InstrumentForm(request.POST or None, initial={name: getattr(instrument, name) for name in names})
    if form.is_valid():
        given = {name: form.cleaned_data[name] for name in names}
        if submit(form, lambda: change_instrument(actor=access.user, instrument=instrument, **given)):
            messages.success(request, "The instrument is changed. Readings say what measured them as it was said then.")
            return _to(request, instrument)
    return _form_page(request, instrument, form, heading="Change the instrument", verb="keep the change")


@project_view
def range_change(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The accuracy of a range, put right; readings that rest on it are verified again."""
    access = request.access
    row = range_or_404(access=access, id=id)
    form = ChangeRangeForm(request.POST if request.method == "POST" else None, range=row)
    if form.is_valid():
        if not form.has_changed():
            messages.info(request, "Nothing was changed.")
            return _to(request, row.instrument)
        if submit(form, lambda: change_range(actor=access.user, range=row, **form.accuracy())):
            messages.success(
                request, "The range is changed. Readings taken with the instrument are being verified again."
            )
            return _to(request, row.instrument)
    follows = (
        "Readings that were taken with this instrument are verified again. "
        "Those that come out otherwise keep what they say until a manager decides."
    )
    heading = f"Accuracy of the range up to {row.upper:g} {row.unit}"
    return _form_page(request, row.instrument, form, heading=heading, verb="keep the accuracy", follows=follows)


def _form_page(
    request: ProjectRequest, instrument: Instrument, form: Any, *, heading: str, verb: str, follows: str = ""
) -> HttpResponse:
    context = {**_frame(request, instrument, heading), "form": form, "verb": verb, "follows": follows}
    return page(request, TEMPLATE, context, section="instruments", status=422 if form.is_bound else 200)


@project_view
def retire(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Take an instrument out of use, with the reason."""
    instrument = instrument_or_404(access=request.access, id=id)
    words = {
        "heading": "Retire an instrument",
        "verb": "retire it",
        "what": f"You take {instrument} out of use.",
        "hint": "Lost, broken, sold, replaced by another. It is kept with your name.",
        "consequences": [
            "It cannot be chosen for a new reading.",
            "Its ranges, calibrations and the readings that it took stay on record.",
        ],
    }
    return _with_reason(request, instrument, retire_instrument, words, said="The instrument is no longer in use.")


@project_view
def bring_back(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Put a retired instrument into use again, with the reason."""
    instrument = instrument_or_404(access=request.access, id=id)
    words = {
        "heading": "Bring an instrument back",
        "verb": "bring it back",
        "what": f"You put {instrument} into use again.",
        "hint": "Found, repaired, back from its owner. It is kept with your name.",
        "consequences": [
            "It can be chosen for a reading where its calibration holds. After a repair, calibrate first."
        ],
    }
    return _with_reason(request, instrument, bring_back_instrument, words, said="The instrument is in use again.")


def _with_reason(
    request: ProjectRequest, instrument: Instrument, act: Callable[..., Any], words: dict[str, Any], *, said: str
) -> HttpResponse:
    form = ReasonForm(request.POST if request.method == "POST" else None)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        if submit(form, lambda: act(actor=request.access.user, instrument=instrument, reason=reason)):
            messages.success(request, said)
            return _to(request, instrument)
    context = {
        **_frame(request, instrument, words["heading"]),
        **words,
        "reason": request.POST.get("reason", ""),
        "error": next((message for errors in form.errors.values() for message in errors), ""),
    }
    return page(request, TEMPLATE, context, section="instruments", status=422 if form.is_bound else 200)


def _frame(request: ProjectRequest, instrument: Instrument, heading: str) -> dict[str, Any]:
    return {
        "instrument": instrument,
        "heading": heading,
        "back": reverse("instrument", args=[request.access.project.code, instrument.pk]),
        "may_work": may_work(request.access),
    }


def _to(request: ProjectRequest, instrument: Instrument) -> HttpResponse:
    return redirect("instrument", code=request.access.project.code, id=instrument.pk)
