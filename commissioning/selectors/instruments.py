"""Instruments by when their calibration is due, and what one of them measured."""

from __future__ import annotations

from datetime import date, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Count, F, Max, OuterRef, Q, QuerySet, Subquery
from django.http import Http404
from django.utils import timezone

from commissioning.models import Calibration, Instrument, InstrumentRange, Project, Reading
from commissioning.selectors.access import Access

#: A calibration that ends within this time is worth a word before it does.
SOON = timedelta(days=30)


def today_of(project: Project) -> date:
    """The day that it is in the project's zone."""
    return timezone.now().astimezone(ZoneInfo(project.time_zone)).date()


def instruments_for(access: Access, *, text: str = "", due: str = "") -> QuerySet[Instrument]:
    """The project's instruments with the day their last standing calibration ends, the most urgent first."""
    standing = Calibration.objects.filter(instrument=OuterRef("pk"), withdrawn_at__isnull=True).order_by()
    latest = standing.values("instrument").annotate(last=Max("due_on")).values("last")
    taken = Instrument.objects.filter(pk=OuterRef("pk")).order_by().annotate(number=Count("readings"))
    rows = Instrument.objects.filter(project=access.project).annotate(
        due_on=Subquery(latest), taken=Subquery(taken.values("number"))
    )
    for word in text.split():
        rows = rows.filter(
            Q(serial_number__icontains=word)
            | Q(description__icontains=word)
            | Q(maker__icontains=word)
            | Q(model__icontains=word)
        )
    today = today_of(access.project)
    if due == "out":
        rows = rows.filter(Q(due_on__lt=today) | Q(due_on__isnull=True))
    elif due == "soon":
        rows = rows.filter(due_on__gte=today, due_on__lte=today + SOON)
    return rows.order_by(F("due_on").asc(nulls_first=True), "description", "serial_number")


def due_words(due_on: date | None, today: date) -> str:
    """How the calibration stands, in words."""
    if due_on is None:
        return "no calibration on record"
    if due_on < today:
        return "out of calibration"
    return "due soon" if due_on <= today + SOON else "in calibration"


def instrument_or_404(*, access: Access, id: UUID) -> Instrument:
    found = Instrument.objects.filter(project=access.project, pk=id).select_related("project").first()
    if found is None:
        raise Http404("There is no such instrument in this project.")
    return found


def calibration_or_404(*, access: Access, id: UUID) -> Calibration:
    rows = Calibration.objects.filter(instrument__project=access.project).select_related("instrument__project")
    found = rows.filter(pk=id).first()
    if found is None:
        raise Http404("There is no such calibration in this project.")
    return found


def range_or_404(*, access: Access, id: UUID) -> InstrumentRange:
    rows = InstrumentRange.objects.filter(instrument__project=access.project).select_related("instrument__project")
    found = rows.filter(pk=id).first()
    if found is None:
        raise Http404("There is no such range in this project.")
    return found


def readings_with(instrument: Instrument, access: Access) -> QuerySet[Reading]:
    """Readings that it took, at the sites that the person sees, newest first."""
    rows = Reading.objects.filter(access.limit("system__site"), instruments=instrument)
    rows = rows.select_related("system", "line", "equipment", "by").defer("inputs", "result")
    return rows.order_by("-taken_at", "-id")
