"""The instruments that can measure what a line asks for, and which of them was chosen last."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.utils import timezone

from commissioning.models import Instrument, Project
from commissioning.selectors.asking import Asked
from commissioning.services.reading_inputs import AMBIENT, choose_range, in_calibration, range_fits
from commissioning.views.base import ProjectRequest

SESSION_KEY = "measured_with"


@dataclass(frozen=True, slots=True)
class MeterChoice:
    """An instrument that can show a unit, and how its calibration stands."""

    instrument: Instrument
    in_calibration: bool

    @property
    def words(self) -> str:
        due = max((c.due_on for c in self.instrument.calibrations.all() if c.withdrawn_at is None), default=None)
        one = self.instrument
        if due is None:
            return f"{one.serial_number}: NO CALIBRATION ON RECORD, {one.description}"
        stands = "due" if self.in_calibration else "OUT OF CALIBRATION, was due"
        return f"{one.serial_number}: {stands} {due}, {one.description}"


def meters_of(project: Project) -> list[Instrument]:
    """The project's instruments in use, with what a choice among them needs; three queries."""
    rows = Instrument.objects.filter(project=project, retired_at__isnull=True).select_related("project")
    return list(rows.prefetch_related("ranges", "calibrations").order_by("description", "serial_number"))


def meters_for(meters: Iterable[Instrument], unit: str, *, at: datetime | None = None) -> list[MeterChoice]:
    """Those that have a range for the unit; the ones in calibration first."""
    now = at or timezone.now()
    fitting = (one for one in meters if choose_range(one.ranges.all(), unit=unit, value=0) is not None)
    found = [MeterChoice(one, in_calibration(instrument=one, at=now)) for one in fitting]
    return sorted(found, key=lambda choice: not choice.in_calibration)


def ambient_asked(meters: Mapping[str, Iterable[MeterChoice]]) -> Asked | None:
    """The temperature at the instrument, where one that can be chosen measures worse outside its stated band."""
    matters = any(
        row.temperature_coefficient > 0 and range_fits(row, unit=unit)
        for unit, found in meters.items()
        for choice in found
        for row in choice.instrument.ranges.all()
    )
    if not matters:
        return None
    return Asked(
        name=AMBIENT,
        label="Temperature at the instrument",
        unit="°C",
        optional=True,
        measured=False,
        help="Outside 18…28 °C an instrument here measures less well. Empty: taken as inside.",
    )


def remembered(request: ProjectRequest) -> dict[str, str]:
    """The instrument chosen last in this session, by unit."""
    kept = request.session.get(SESSION_KEY, {}).get(str(request.access.project.pk), {})
    return dict(kept) if isinstance(kept, Mapping) else {}


def remember(request: ProjectRequest, chosen: Mapping[str, str]) -> None:
    """Offer these instruments again on the next line."""
    if chosen == {unit: remembered(request).get(unit) for unit in chosen}:
        return
    everything = dict(request.session.get(SESSION_KEY, {}))
    everything[str(request.access.project.pk)] = {**remembered(request), **chosen}
    request.session[SESSION_KEY] = everything
