"""Concessions: agreed acceptance, signed by a manager, of what does not meet its limit (ISO 9000)."""

from __future__ import annotations

from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import CheckLine, Concession, LineState, StageState, User
from commissioning.rules.gate_parts import LINES
from commissioning.services.audit import record
from commissioning.services.lines import fresh_line
from commissioning.services.locks import lock_system
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.repeats import already_made
from commissioning.services.signing import check_password, signature_fields
from commissioning.services.state_change import state_change


@state_change()
def sign_concession(
    *, signed_by: User, line: CheckLine, reason: str, password: str, id: UUID | None = None
) -> Concession:
    """A manager accepts a failed line or a rejected reading as it is, with a reason that the dossier prints.

    It speaks of the reading that stands now; a new reading needs a new decision. Whoever took the reading cannot sign.
    """
    if found := already_made(Concession, id, line_id=line.pk, signed_by_id=signed_by.pk, reason=reason):
        return found
    system = lock_system(line.stage.system_id)
    access = require(
        actor=signed_by, project=system.project, roles=MANAGERS, site=system.site_id, to="sign a concession"
    )
    check_password(signer=signed_by, password=password)
    if not reason.strip():
        raise InvalidInput({"reason": "Say why it is acceptable as it is; the dossier prints the reason."})
    line = fresh_line(line)
    if line.stage.state == StageState.ACCEPTED:
        raise Conflict(f"{line.stage} is accepted already.")
    if line.state != LineState.FAILED:
        raise InvalidInput({"reason": "Only a failed line or a reading that is not accepted takes a concession."})
    reading = line.readings.filter(superseded_at__isnull=True).first()
    if signed_by.pk in {line.done_by_id, reading.by_id if reading else None}:
        raise NotAllowed("You recorded this yourself. Another manager signs the concession.")
    content = {
        "line": str(line.pk),
        "title": line.title,
        "system": system.tag,
        "stage": line.stage.kind,
        "reason": reason,
        "reading": {"id": str(reading.pk), "result": reading.result} if reading else None,
    }
    concession = Concession(
        line=line,
        reading=reading,
        reason=reason,
        **signature_fields(signer=signed_by, access=access, content=content),
    )
    if id is not None:
        concession.pk = id
    concession.save(force_insert=True)
    record(
        project=system.project,
        actor=signed_by,
        action="concession_signed",
        touches={LINES},
        stages=[line.stage_id],
        on=line,
        system=system.pk,
        words=f"{system.tag}: concession on {line.title}: {reason}",
        data={"concession": concession.pk, "signed_hash": concession.signed_hash},
    )
    return concession


@state_change()
def withdraw_concession(*, actor: User, concession: Concession, reason: str) -> Concession:
    """Take a concession back before its stage is accepted; it stays on record with the reason."""
    system = lock_system(concession.line.stage.system_id)
    require(actor=actor, project=system.project, roles=MANAGERS, site=system.site_id, to="withdraw a concession")
    line = fresh_line(concession.line)
    if line.stage.state == StageState.ACCEPTED:
        raise Conflict(f"{line.stage} is accepted; withdraw its acceptance first.")
    if not reason.strip():
        raise InvalidInput({"reason": "Say why the concession is withdrawn."})
    concession = Concession.objects.get(pk=concession.pk)
    if concession.withdrawn_at:
        raise Conflict("This concession was withdrawn already.")
    concession.withdrawn_at, concession.withdrawn_reason = timezone.now(), reason
    concession.save(update_fields=["withdrawn_at", "withdrawn_reason"])
    record(
        project=system.project,
        actor=actor,
        action="concession_withdrawn",
        touches={LINES},
        stages=[line.stage_id],
        on=line,
        system=system.pk,
        words=f"{system.tag}: concession withdrawn on {line.title}: {reason}",
        data={"concession": concession.pk},
    )
    return concession
