"""The instruments of a dossier: what each was used for, the certificates that cover its use, and those that lack."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, BinaryIO, cast
from uuid import UUID
from zoneinfo import ZoneInfo

import pikepdf
from django.core.files.storage import default_storage
from django.db.models import Q

from commissioning.models import Calibration, Instrument, InstrumentRange, Reading
from commissioning.services.reading_inputs import in_calibration


@dataclass
class Used:
    """What the systems' readings used, gathered as they go by."""

    instruments: dict[UUID, set[datetime]] = field(default_factory=dict)
    systems: dict[UUID, dict[UUID, None]] = field(default_factory=dict)  # by instrument, in the order met
    calculations: set[tuple[str, str]] = field(default_factory=set)

    def add(self, reading: Reading) -> None:
        self.calculations.add((reading.calculation, reading.edition))
        for instrument in reading.instruments.all():
            self.took(instrument.pk, reading.system_id, reading.taken_at)

    def took(self, instrument: UUID, system: UUID, at: datetime) -> None:
        self.instruments.setdefault(instrument, set()).add(at)
        self.systems.setdefault(instrument, {})[system] = None


def used_now(system_ids: Collection[UUID], kinds: Collection[str]) -> Used:
    """The same, read at once: what a dossier of these systems up to these stages would find."""
    rows = Reading.objects.filter(Q(line=None) | Q(line__stage__kind__in=kinds), system__in=system_ids)
    used = Used()
    told = rows.exclude(instruments=None).order_by("system__site__code", "system__tag", "taken_at")
    for instrument, system, at in told.values_list("instruments", "system", "taken_at"):
        used.took(instrument, system, at)
    return used


@dataclass(frozen=True)
class _Looked:
    """An instrument with its uses, and the calibrations whose time covers a use; `sound` have a file that opens."""

    instrument: Instrument
    times: list[datetime]
    days: list[date]
    standing: list[Calibration]
    covering: list[Calibration]
    sound: list[Calibration]


def _look(used: Used, zone: ZoneInfo) -> Iterator[_Looked]:
    rows = Instrument.objects.filter(pk__in=used.instruments).select_related("project")
    for one in rows.prefetch_related("ranges", "calibrations").order_by("serial_number"):
        times = sorted(used.instruments[one.pk])
        days = sorted({at.astimezone(zone).date() for at in times})
        standing = [row for row in one.calibrations.all() if row.withdrawn_at is None]
        covering = [row for row in standing if row.calibrated_on <= days[-1] and row.due_on >= days[0]]
        sound = [row for row in covering if row.certificate_sha256 and _opens(str(row.certificate.name))]
        yield _Looked(one, times, days, standing, covering, sound)


def _opens(name: str) -> bool:
    """A certificate that is no sound PDF, or is locked, is named and left out: it must not stop a dossier."""
    try:
        with default_storage.open(name) as file, pikepdf.open(cast(BinaryIO, file)) as pdf:
            return len(pdf.pages) > 0
    except (pikepdf.PdfError, OSError):
        return False


@dataclass(frozen=True)
class Instruments:
    """What the annex prints of the instruments, and what is missing of their certificates."""

    entries: list[dict[str, Any]]
    missing: list[dict[str, Any]]
    files: dict[str, str]  # storage names of the certificates by their SHA-256


def instruments_of(used: Used, zone: ZoneInfo, tags: dict[UUID, str]) -> Instruments:
    """Every instrument that was used; `tags` names the systems."""
    looked = list(_look(used, zone))
    files = {row.certificate_sha256: str(row.certificate.name) for one in looked for row in one.sound}
    gaps = (_missing(one, list(used.systems[one.instrument.pk]), tags) for one in looked)
    return Instruments([_entry(one) for one in looked], [gap for gap in gaps if gap], files)


def _missing(one: _Looked, systems: list[UUID], tags: dict[UUID, str]) -> dict[str, Any] | None:
    """A row of what is missing: days of use that no certificate on file covers."""
    bare = [day for day in one.days if not any(row.calibrated_on <= day <= row.due_on for row in one.sound)]
    if not bare:
        return None
    more = f" and {len(bare) - 1} later day{'s' if len(bare) > 2 else ''}" if len(bare) > 1 else ""
    across = f", in {len(systems)} systems" if len(systems) > 1 else ""
    return {
        "system": str(systems[0]),
        "tag": tags[systems[0]],
        "where": f"Instrument {one.instrument.serial_number}",
        "text": f"No calibration certificate that can be opened covers its use on {bare[0].isoformat()}{more}{across}.",
    }


def _entry(one: _Looked) -> dict[str, Any]:
    latest = max(one.covering or one.standing, key=lambda row: row.due_on, default=None)
    number = latest.certificate_number if latest else ""
    if len(one.sound) < sum(bool(row.certificate_sha256) for row in one.covering):
        number = f"{number or 'a file'}, which cannot be opened"
    instrument = one.instrument
    return {
        "serial": instrument.serial_number,
        "name": " ".join(filter(None, (instrument.description, instrument.maker, instrument.model))),
        "accuracy": "; ".join(_accuracy(row) for row in instrument.ranges.all()),
        "calibrated_on": latest.calibrated_on.isoformat() if latest else "",
        "calibration_due": latest.due_on.isoformat() if latest else "",
        "certificate_number": number,
        "used_from": one.days[0].isoformat(),
        "used_to": one.days[-1].isoformat(),
        "in_calibration": all(in_calibration(instrument=instrument, at=at) for at in one.times),
        "certificates": [
            {"sha256": row.certificate_sha256, "name": f"{row.certificate_number or row.calibrated_on}.pdf"}
            for row in one.sound
        ],
    }


def _accuracy(row: InstrumentRange) -> str:
    parts = [
        f"{row.percent_of_reading:g} % of reading" if row.percent_of_reading else "",
        f"{row.percent_of_range:g} % of range" if row.percent_of_range else "",
        f"{row.counts:g} × {row.resolution:g} {row.unit}" if row.counts else "",
        f"{row.calibration_uncertainty:g} {row.unit} from its calibration" if row.calibration_uncertainty else "",
    ]
    return f"{row.upper:g} {row.unit}: ±({' + '.join(filter(None, parts)) or 'not stated'})"
