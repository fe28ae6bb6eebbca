"""What measures here, how well, and until when may it be used?"""

from __future__ import annotations

import re
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_POST, require_safe

from calcs.figures import plain
from commissioning.forms.instrument import CalibrationForm, InstrumentForm, RangeForm
from commissioning.forms.stage import WithdrawForm
from commissioning.models import Instrument, InstrumentRange, Reading
from commissioning.selectors.instruments import (
    calibration_or_404,
    due_words,
    instrument_or_404,
    instruments_for,
    readings_with,
    today_of,
)
from commissioning.services.instruments import LARGEST_CERTIFICATE, add_calibration, withdraw_calibration
from commissioning.services.register_points import add_range, create_instrument
from commissioning.views.base import ProjectRequest, page, project_view, submit
from commissioning.views.links import record_url
from commissioning.views.standing import may_work

PAGE_SIZE = 50
READINGS_SHOWN = 25
DUE_CHOICES = (("", "every instrument"), ("out", "out of calibration"), ("soon", "due within 30 days"))


@project_view
def index(request: ProjectRequest) -> HttpResponse:
    """The project's instruments, the most urgent first."""
    access = request.access
    text, due = request.GET.get("q", "").strip(), request.GET.get("due", "")
    found = Paginator(instruments_for(access, text=text, due=due), PAGE_SIZE).get_page(request.GET.get("page", 1))
    today = today_of(access.project)
    context = {
        "page_obj": found,
        "rows": [{"instrument": row, "words": due_words(row.due_on, today)} for row in found],  # type: ignore[attr-defined]
        "q": text,
        "due": due,
        "due_choices": DUE_CHOICES,
        "may_add": may_work(access),
    }
    return page(request, "commissioning/instruments/index.html", context, section="instruments")


@project_view
def new(request: ProjectRequest) -> HttpResponse:
    """Put an instrument on record."""
    access = request.access
    form = InstrumentForm(request.POST or None)
    if form.is_valid():
        given = {name: value for name, value in form.cleaned_data.items() if name != "client_uuid"}
        made = submit(
            form, lambda: create_instrument(actor=access.user, project=access.project, id=form.record_id, **given)
        )
        if made:
            messages.success(
                request, f"{made} is on record. Add its ranges and its calibration, so that it can be used."
            )
            return redirect("instrument", code=access.project.code, id=made.pk)
    context = {"form": form, "may_add": may_work(access), "back": reverse("instruments", args=[access.project.code])}
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/instruments/new.html", context, section="instruments", status=status)


def _page(
    request: ProjectRequest,
    instrument: Instrument,
    *,
    range_form: Any = None,
    calibration_form: Any = None,
    status: int = 200,
) -> HttpResponse:
    access, code = request.access, request.access.project.code
    taken = Paginator(readings_with(instrument, access), READINGS_SHOWN).get_page(request.GET.get("page", 1))
    calibrations = list(instrument.calibrations.order_by("-due_on"))
    due_on = next((row.due_on for row in calibrations if row.withdrawn_at is None), None)
    context = {
        "instrument": instrument,
        "due_on": due_on,
        "due": due_words(due_on, today_of(access.project)),
        "ranges": [{"range": row, "accuracy": accuracy_words(row)} for row in instrument.ranges.all()],
        "calibrations": calibrations,
        "page_obj": taken,
        "readings": [{"reading": row, **_where(row, code)} for row in taken],
        "range_form": range_form or RangeForm(auto_id="range_%s"),
        "calibration_form": calibration_form or CalibrationForm(auto_id="calibration_%s"),
        "certificate_lost": bool(calibration_form and calibration_form.errors and request.FILES),
        "may_work": may_work(access),
    }
    return page(request, "commissioning/instruments/show.html", context, section="instruments", status=status)


def _where(reading: Reading, code: str) -> dict[str, str]:
    if reading.line_id:
        return {"words": str(reading.line), "url": reverse("line-record", args=[code, reading.line_id])}
    url = record_url(code=code, kind="equipment", id=str(reading.equipment_id)) if reading.equipment_id else ""
    return {"words": reading.calculation.replace("_", " "), "url": url}


def accuracy_words(row: InstrumentRange) -> str:
    """Accuracy as a data sheet writes it."""
    parts = [
        f"{plain(row.percent_of_reading)} % of reading" if row.percent_of_reading else "",
        f"{plain(row.percent_of_range)} % of range" if row.percent_of_range else "",
        f"{plain(row.counts)} counts of {plain(row.resolution)} {row.unit}" if row.counts else "",
    ]
    words = " + ".join(part for part in parts if part)
    if not words:
        return "not stated"
    warm = f", and {plain(row.temperature_coefficient)} % of reading per °C outside 18…28 °C"
    return f"±({words})" + (warm if row.temperature_coefficient else "")


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """One instrument: its ranges, calibrations, and what it measured."""
    return _page(request, instrument_or_404(access=request.access, id=id))


@project_view
@require_POST
def range_add(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Add a range with its accuracy."""
    instrument = instrument_or_404(access=request.access, id=id)
    form = RangeForm(request.POST, auto_id="range_%s")
    if form.is_valid():
        given = form.cleaned_data
        made = submit(
            form,
            lambda: add_range(
                actor=request.access.user,
                instrument=instrument,
                unit=given["unit"],
                upper=given["upper"],
                id=form.record_id,
                **form.accuracy(),
            ),
        )
        if made:
            messages.success(request, f"The range up to {made.upper:g} {made.unit} is added.")
            return redirect("instrument", code=request.access.project.code, id=instrument.pk)
    return _page(request, instrument, range_form=form, status=422)


@project_view
@require_POST
def calibration_add(request: ProjectRequest, id: UUID) -> HttpResponse:
    """Put a calibration on record, with its certificate."""
    instrument = instrument_or_404(access=request.access, id=id)
    form = CalibrationForm(request.POST, request.FILES, auto_id="calibration_%s")
    if form.is_valid():
        given, file = form.cleaned_data, form.cleaned_data["certificate"]
        made = submit(
            form,
            lambda: add_calibration(
                actor=request.access.user,
                instrument=instrument,
                calibrated_on=given["calibrated_on"],
                due_on=given["due_on"],
                certificate_number=given["certificate_number"],
                # One byte more than may be kept is enough to be refused.
                certificate=file.read(LARGEST_CERTIFICATE + 1) if file else None,
                id=form.record_id,
            ),
        )
        if made:
            messages.success(request, f"The calibration is on record, due {made.due_on}.")
            return redirect("instrument", code=request.access.project.code, id=instrument.pk)
    return _page(request, instrument, calibration_form=form, status=422)


@project_view
def calibration_withdraw(request: ProjectRequest, id: UUID) -> HttpResponse:
    """A calibration turned out not to hold; the readings that leaned on it are marked."""
    access = request.access
    calibration = calibration_or_404(access=access, id=id)
    form = WithdrawForm(request.POST or None)
    if form.is_valid():
        reason = form.cleaned_data["reason"]
        if submit(form, lambda: withdraw_calibration(actor=access.user, calibration=calibration, reason=reason)):
            messages.success(request, "The calibration is withdrawn. Readings that leaned on it are marked.")
            return redirect("instrument", code=access.project.code, id=calibration.instrument_id)
    context = {
        "instrument": calibration.instrument,
        "what": f"You withdraw the calibration of {calibration.calibrated_on} of {calibration.instrument}.",
        "consequences": [
            "Readings that it took under this calibration are marked as taken out of calibration.",
            "Gates that rest on them are held; accepted gates show an exception.",
        ],
        "reason": request.POST.get("reason", ""),
        "error": next((message for errors in form.errors.values() for message in errors), ""),
        "back": reverse("instrument", args=[access.project.code, calibration.instrument_id]),
        "may_work": may_work(access),
    }
    status = 422 if form.is_bound else 200
    return page(request, "commissioning/instruments/withdraw.html", context, section="instruments", status=status)


@require_safe
@project_view  # type: ignore[arg-type]  # a file is streamed
def certificate(request: ProjectRequest, id: UUID) -> FileResponse:
    """The certificate as it was sent: always saved, never shown inside a page of the product."""
    calibration = calibration_or_404(access=request.access, id=id)
    if not calibration.certificate:
        raise Http404("This calibration has no certificate on record.")
    try:
        file = calibration.certificate.open("rb")
    except FileNotFoundError:
        raise Http404("The file of this certificate is missing in the store.") from None
    serial = re.sub(r"[^A-Za-z0-9.-]+", "-", calibration.instrument.serial_number).strip(".-") or "instrument"
    name = f"certificate-{serial}-{calibration.calibrated_on}.pdf"
    response = FileResponse(file, as_attachment=True, filename=name, content_type="application/pdf")
    response["Cache-Control"] = "private, no-cache"
    return response
