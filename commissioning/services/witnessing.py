"""Hold, witness and review points: who is invited, who was there, and which line is one."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput, NotAllowed
from commissioning.models import (
    CheckLine,
    Point,
    Role,
    User,
    Witnessing,
    WitnessNotice,
)
from commissioning.rules.gate_parts import LINES
from commissioning.services.audit import record
from commissioning.services.line_work import fresh_line
from commissioning.services.locks import lock_system
from commissioning.services.permissions import EVERYONE, MANAGERS, WORKERS, require
from commissioning.services.repeats import already_made, said
from commissioning.services.state_change import state_change
from commissioning.services.witness_mail import tell_party


@state_change()
def give_notice(
    *, actor: User, line: CheckLine, planned_for: datetime, words: str = "", id: UUID | None = None
) -> WitnessNotice:
    """Invite the party that a witness or hold point names, for a time."""
    if found := already_made(
        WitnessNotice, id, line_id=line.pk, given_by_id=actor.pk, planned_for=planned_for, words=words
    ):
        return found
    system = lock_system(line.stage.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="give notice")
    if line.point not in (Point.WITNESS, Point.HOLD):
        raise InvalidInput({"planned_for": "Only a hold point or a witness point takes a notice."})
    if planned_for < timezone.now():
        raise InvalidInput({"planned_for": "A notice is given for a time that is still to come."})
    notice = WitnessNotice(line=line, planned_for=planned_for, given_by=actor, words=words)
    if id is not None:
        notice.pk = id
    notice.save(force_insert=True)
    record(
        project=system.project,
        actor=actor,
        action="notice_given",
        touches={LINES},
        stages=[line.stage_id],
        on=line,
        system=system.pk,
        words=f"{system.tag}: notice for {planned_for:%Y-%m-%d %H:%M}: {line.title}.",
        data={"notice": notice.pk, "planned_for": planned_for},
    )
    tell_party(notice, system=system, but=actor)
    return notice


@state_change()
def witness_line(
    *, actor: User, line: CheckLine, remark: str = "", at: datetime | None = None, id: UUID | None = None
) -> Witnessing:
    """The named party says under their own sign-in that they were there or have reviewed the papers."""
    if found := already_made(Witnessing, id, line_id=line.pk, by_id=actor.pk, remark=remark, **said(at=at)):
        return found
    system = lock_system(line.stage.system_id)
    access = require(actor=actor, project=system.project, roles=EVERYONE, site=system.site_id, to="witness a line")
    line = fresh_line(line)
    if line.point == Point.NONE:
        raise InvalidInput({"remark": "This line is not a hold, witness or review point."})
    party = line.party or Role.CLIENT
    if access.role != party:
        raise NotAllowed(f"This point names the {Role(party).label}. Only they can witness it.")
    if line.results.filter(by=actor).exists() or line.readings.filter(by=actor).exists():
        raise NotAllowed("You recorded this line yourself. Somebody else of the same party witnesses it.")
    witnessing = Witnessing(line=line, by=actor, role=access.role, at=at or timezone.now(), remark=remark)
    if id is not None:
        witnessing.pk = id
    witnessing.save(force_insert=True)
    record(
        project=system.project,
        actor=actor,
        action="line_witnessed",
        touches={LINES},
        stages=[line.stage_id],
        on=line,
        system=system.pk,
        words=f"{system.tag}: witnessed as {access.role.replace('_', ' ')}: {line.title}.",
        data={"witnessing": witnessing.pk, "remark": remark},
    )
    return witnessing


@state_change()
def assign_party(*, actor: User, line: CheckLine, point: str, party: str) -> CheckLine:
    """Make a line a hold, witness or review point, or none, for a party; a manager's decision before it is done."""
    system = lock_system(line.stage.system_id)
    require(actor=actor, project=system.project, roles=MANAGERS, site=system.site_id, to="set hold points")
    line = fresh_line(line)
    if line.witnessings.exists():
        raise Conflict("This point has been witnessed already; it stays what it was.")
    if point not in Point.values or (point != Point.NONE and party not in Role.values):
        raise InvalidInput({"point": "Choose none, hold, witness or review, and the party that is named."})
    before = (line.point, line.party)
    line.point, line.party = point, party if point != Point.NONE else ""
    line.save(update_fields=["point", "party"])
    record(
        project=system.project,
        actor=actor,
        action="point_set",
        touches={LINES},
        stages=[line.stage_id],
        on=line,
        system=system.pk,
        words=f"{system.tag}: {Point(point).label} for {party or 'nobody'}: {line.title}.",
        data={"before": before, "after": [line.point, line.party]},
    )
    return line
