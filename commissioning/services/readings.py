"""Readings: typed, verified at once, kept for good. A new reading supersedes, nothing is edited."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.utils import timezone

import calcs
from commissioning.errors import Conflict, InvalidInput
from commissioning.models import CheckLine, Equipment, Instrument, LineState, Reading, System, User, Verdict
from commissioning.rules.gate import ACCEPTING
from commissioning.rules.gate_parts import LINES, NOTHING
from commissioning.services.audit import record
from commissioning.services.line_work import CAME_LATE, Standing, made_after
from commissioning.services.lines import fresh_line, move_line, refuse_unless_workable
from commissioning.services.locks import lock_system
from commissioning.services.permissions import WORKERS, require
from commissioning.services.reading_inputs import AMBIENT, Gathered, gather_inputs
from commissioning.services.repeats import already_made, refuse_other_content, said
from commissioning.services.state_change import state_change

#: A phone's clock may run ahead by this much before its times are refused.
CLOCK_TOLERANCE = timedelta(minutes=10)


@state_change()
def record_reading(
    *,
    actor: User,
    line: CheckLine,
    typed: Mapping[str, str],
    instruments: Mapping[str, Instrument] | None = None,
    taken_at: datetime | None = None,
    remark: str = "",
    id: UUID | None = None,
    by_time: bool = False,
) -> Reading:
    """Verify what was measured on a line and keep it with its working; the line passes or fails by the verdict.

    `by_time`: what was made last stands, also when this one arrives last.
    `typed` is the text of each input as typed; `instruments` maps an input (or ``""``, all) to what measured it.
    Raises InvalidInput naming every field that cannot be right, Refused when the work cannot be recorded now.
    """
    if found := already_made(Reading, id, line_id=line.pk, by_id=actor.pk, remark=remark, **said(taken_at=taken_at)):
        return _as_sent(found, typed, instruments or {})
    system = lock_system(line.stage.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="record a reading")
    line = fresh_line(line)
    if not line.calculation:
        raise InvalidInput({"calculation": "This line takes no reading; answer passed, failed or not applicable."})
    if line.retired_at:
        raise Conflict("This line was dropped from the procedure. What was recorded on it is kept.")
    refuse_unless_workable(line=line)
    behind = made_after(line, taken_at, actor) if by_time else None
    reading = _verified(
        actor=actor,
        system=system,
        line=line,
        equipment=line.equipment,
        calculation=line.calculation,
        typed=typed,
        instruments=instruments or {},
        taken_at=_taken_at(taken_at),
        remark=remark,
        id=id,
        behind=behind,
    )
    if behind is None:
        _stand_on_line(reading=reading, line=line, actor=actor)
    return reading


@state_change()
def attach_reading(
    *,
    actor: User,
    equipment: Equipment,
    calculation: str,
    typed: Mapping[str, str],
    instruments: Mapping[str, Instrument] | None = None,
    taken_at: datetime | None = None,
    remark: str = "",
    id: UUID | None = None,
) -> Reading:
    """Keep the result of a calculation against a tag, outside any procedure line."""
    same = {"equipment_id": equipment.pk, "by_id": actor.pk, "calculation": calculation, "remark": remark}
    if found := already_made(Reading, id, **same, **said(taken_at=taken_at)):
        return _as_sent(found, typed, instruments or {})
    system = lock_system(equipment.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="attach a reading")
    return _verified(
        actor=actor,
        system=system,
        line=None,
        equipment=equipment,
        calculation=calculation,
        typed=typed,
        instruments=instruments or {},
        taken_at=_taken_at(taken_at),
        remark=remark,
        id=id,
    )


def _as_sent(found: Reading, typed: Mapping[str, str], instruments: Mapping[str, Instrument]) -> Reading:
    """The reading that was made of this UUID, if the same was typed and measured with the same; else a Conflict."""
    kept = {entry["name"]: entry for entry in found.inputs}
    said_now = {name: str(text).strip() for name, text in typed.items() if str(text).strip()}
    if said_now.keys() - kept.keys():
        refuse_other_content()
    for name, entry in kept.items():
        meter = instruments.get(name) or instruments.get("")
        if entry["source"] in ("measured", "typed", "recording", AMBIENT):
            other = said_now.get(name) != (entry.get("recording") or entry["typed"])
        else:
            other = False  # from the nameplate or fixed by the line, whatever was typed
        if other or ("instrument" in entry and entry["instrument"] != (str(meter.pk) if meter else None)):
            refuse_other_content()
    return found


def try_reading(
    *, system: System, line: CheckLine, typed: Mapping[str, str], instruments: Mapping[str, Instrument] | None = None
) -> dict[str, Any]:
    """The verdict and working that a reading would have, without keeping anything."""
    gathered = gather_inputs(
        system=system,
        line=line,
        calculation=line.calculation,
        typed=typed,
        instruments=instruments or {},
        taken_at=timezone.now(),
    )
    return calculate(system=system, line=line, calculation=line.calculation, gathered=gathered).as_json()


def _taken_at(given: datetime | None) -> datetime:
    now = timezone.now()
    if given is None:
        return now
    if given > now + CLOCK_TOLERANCE:
        raise InvalidInput({"taken_at": "This time lies in the future. Check the clock of the phone."})
    return given


def calculate(*, system: System, line: CheckLine | None, calculation: str, gathered: Gathered) -> Any:
    """The calculation's `Result`, with the line's own limits in place of the bundled ones and the project's guard."""
    own = {limit["output"]: {**limit, "source": limit.get("source", "")} for limit in (line.limits if line else [])}
    try:
        return calcs.run(calculation, gathered.numbers, limits=own or None, guard_factor=system.project.guard_factor)
    except calcs.InputError as error:
        words = str(error)
        raise InvalidInput({getattr(error, "input", None) or "inputs": words[:1].upper() + words[1:]}) from error


def _verified(
    *,
    actor: User,
    system: System,
    line: CheckLine | None,
    equipment: Equipment | None,
    calculation: str,
    typed: Mapping[str, str],
    instruments: Mapping[str, Instrument],
    taken_at: datetime,
    remark: str,
    id: UUID | None,
    behind: Standing | None = None,
) -> Reading:
    gathered = gather_inputs(
        system=system, line=line, calculation=calculation, typed=typed, instruments=instruments, taken_at=taken_at
    )
    result = calculate(system=system, line=line, calculation=calculation, gathered=gathered).as_json()
    reading = Reading(
        project=system.project,
        system=system,
        line=line,
        equipment=equipment,
        calculation=result["calculation"],
        edition=result["edition"],
        inputs=gathered.kept,
        result=result,
        verdict=stored_verdict(result["verdict"]),
        conformity_probability=result["conformity_probability"],
        by=actor,
        taken_at=taken_at,
        remark=remark,
    )
    if id is not None:
        reading.pk = id
    if behind is None:
        _supersede_standing(line=line, reading=reading)
    else:
        _keep_behind(reading, behind)
    reading.save(force_insert=True)
    reading.instruments.set(gathered.instruments.values())
    where = line.title if line else f"{equipment.tag} {calculation}" if equipment else calculation
    record(
        project=system.project,
        actor=actor,
        action="reading_recorded",
        touches={LINES} if line else NOTHING,
        stages=[line.stage_id] if line else [],
        on=reading,
        system=system.pk,
        words=f"{system.tag}: {where}: {reading.get_verdict_display()}." + (CAME_LATE if behind else ""),
        data={"line": line.pk if line else None, "inputs": gathered.kept, "verdict": reading.verdict},
    )
    return reading


def stored_verdict(verdict: str) -> str:
    """An unsuitable instrument cannot say; the words of the working keep which it was."""
    return verdict if verdict in Verdict.values else Verdict.CANNOT_SAY


def _supersede_standing(*, line: CheckLine | None, reading: Reading) -> None:
    if line is None:
        return
    standing = line.readings.filter(superseded_at__isnull=True)
    standing.update(superseded_at=timezone.now(), superseded_reason="measured again")


def _keep_behind(reading: Reading, behind: Standing) -> None:
    """On record and in the dossier, but what was made after it stands."""
    reading.superseded_at, reading.superseded_reason = timezone.now(), "arrived after what was made later"
    reading.superseded_by = behind.answer if isinstance(behind.answer, Reading) else None


def _stand_on_line(*, reading: Reading, line: CheckLine, actor: User) -> None:
    line.readings.filter(superseded_by__isnull=True, superseded_at__isnull=False).exclude(pk=reading.pk).update(
        superseded_by=reading
    )
    line.results.filter(superseded_at__isnull=True).update(superseded_at=timezone.now())
    accepted = reading.verdict in ACCEPTING[reading.project.decision_rule]
    move_line(line=line, state=LineState.PASSED if accepted else LineState.FAILED, actor=actor, at=reading.taken_at)
