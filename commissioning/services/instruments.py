"""Instruments: calibrations added or withdrawn, instruments retired, and what that does to the readings they took."""

from __future__ import annotations

import hashlib
from datetime import date
from uuid import UUID

from django.core.files.base import ContentFile
from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput
from commissioning.models import Calibration, Instrument, Reading, User
from commissioning.rules.gate_parts import LINES
from commissioning.services.audit import record
from commissioning.services.locks import lock_project
from commissioning.services.permissions import WORKERS, require
from commissioning.services.reading_inputs import in_calibration
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change, touch

LARGEST_CERTIFICATE = 20 * 1024 * 1024


@state_change()
def add_calibration(
    *,
    actor: User,
    instrument: Instrument,
    calibrated_on: date,
    due_on: date,
    certificate_number: str = "",
    certificate: bytes | None = None,
    id: UUID | None = None,
) -> Calibration:
    """Put a calibration on record, with its certificate as PDF if there is one."""
    digest = hashlib.sha256(certificate).hexdigest() if certificate is not None else ""
    same = {"instrument_id": instrument.pk, "certificate_number": certificate_number, "certificate_sha256": digest}
    if found := already_made(Calibration, id, **same, calibrated_on=calibrated_on, due_on=due_on):
        return found
    require(actor=actor, project=instrument.project, roles=WORKERS, site=None, to="record a calibration")
    if due_on < calibrated_on:
        raise InvalidInput({"due_on": "A calibration is due after the day on which it was done."})
    if certificate is not None:
        _check_certificate(certificate)
    calibration = Calibration(
        instrument=instrument, calibrated_on=calibrated_on, due_on=due_on, certificate_number=certificate_number
    )
    if id is not None:
        calibration.pk = id
    if certificate is not None:
        calibration.certificate_sha256 = digest
        calibration.certificate.save("certificate.pdf", ContentFile(certificate), save=False)
    calibration.save(force_insert=True)
    record(
        project=instrument.project,
        actor=actor,
        action="calibration_added",
        on=instrument,
        words=f"{instrument}: calibrated {calibrated_on}, due {due_on}.",
        data={"calibration": calibration.pk, "sha256": calibration.certificate_sha256},
    )
    refresh_calibration_of_readings(instrument=instrument)
    return calibration


def _check_certificate(content: bytes) -> None:
    if len(content) > LARGEST_CERTIFICATE:
        raise InvalidInput({"certificate": "The file is larger than 20 MB. Send the certificate's pages only."})
    if not content.startswith(b"%PDF-"):
        raise InvalidInput({"certificate": "This is not a PDF. Send the certificate as PDF."})


@state_change()
def withdraw_calibration(*, actor: User, calibration: Calibration, reason: str) -> Calibration:
    """A calibration turned out not to hold: readings that leaned on it are marked, and gates show them."""
    project = calibration.instrument.project
    require(actor=actor, project=project, roles=WORKERS, site=None, to="withdraw a calibration")
    if not reason.strip():
        raise InvalidInput({"reason": "Say why the calibration does not hold."})
    calibration = Calibration.objects.select_related("instrument__project").get(pk=calibration.pk)
    if calibration.withdrawn_at:
        raise Conflict("This calibration was withdrawn already.")
    calibration.withdrawn_at, calibration.withdrawn_reason = timezone.now(), reason
    calibration.save(update_fields=["withdrawn_at", "withdrawn_reason"])
    record(
        project=project,
        actor=actor,
        action="calibration_withdrawn",
        on=calibration.instrument,
        words=f"{calibration.instrument}: calibration of {calibration.calibrated_on} withdrawn: {reason}",
        data={"calibration": calibration.pk},
    )
    refresh_calibration_of_readings(instrument=calibration.instrument)
    return calibration


def refresh_calibration_of_readings(*, instrument: Instrument) -> int:
    """Decide again, for each reading that the instrument took, whether all its instruments were in calibration."""
    changed: list[Reading] = []
    rows = (
        Reading.objects.filter(instruments=instrument)
        .select_related("line")
        .prefetch_related("instruments__calibrations", "instruments__project")
    )
    for reading in rows:
        holds = all(in_calibration(instrument=one, at=reading.taken_at) for one in reading.instruments.all())
        if holds != reading.in_calibration:
            reading.in_calibration = holds
            changed.append(reading)
    Reading.objects.bulk_update(changed, ["in_calibration"])
    lines = [reading.line for reading in changed if reading.line]
    touch(
        *{reading.system_id for reading in changed if reading.line},
        parts={LINES},
        stages={line.stage_id for line in lines},
    )
    return len(changed)


@state_change()
def retire_instrument(*, actor: User, instrument: Instrument, reason: str) -> Instrument:
    """Take an instrument out of use: it is not chosen for a new reading any more, and keeps its record."""
    _may_decide(actor, instrument, reason, to="retire an instrument", missing="Say why it is no longer in use.")
    instrument = Instrument.objects.select_related("project").get(pk=instrument.pk)
    if instrument.retired_at:
        raise Conflict(f"{instrument} was retired already.")
    instrument.retired_at, instrument.retired_reason = timezone.now(), reason.strip()
    return _kept(instrument, actor, action="instrument_retired", words=f"{instrument} is no longer in use: {reason}")


@state_change()
def bring_back_instrument(*, actor: User, instrument: Instrument, reason: str) -> Instrument:
    """Put a retired instrument into use again; that it was away stays in the audit log."""
    _may_decide(actor, instrument, reason, to="bring an instrument back", missing="Say why it may be used again.")
    instrument = Instrument.objects.select_related("project").get(pk=instrument.pk)
    if instrument.retired_at is None:
        raise Conflict(f"{instrument} is in use.")
    instrument.retired_at, instrument.retired_reason = None, ""
    return _kept(instrument, actor, action="instrument_brought_back", words=f"{instrument} is in use again: {reason}")


def _may_decide(actor: User, instrument: Instrument, reason: str, *, to: str, missing: str) -> None:
    project = lock_project(instrument.project_id)
    require(actor=actor, project=project, roles=WORKERS, site=None, to=to)
    if not reason.strip():
        raise InvalidInput({"reason": missing})


def _kept(instrument: Instrument, actor: User, *, action: str, words: str) -> Instrument:
    instrument.save(update_fields=["retired_at", "retired_reason"])
    record(project=instrument.project, actor=actor, action=action, on=instrument, words=words)
    return instrument
