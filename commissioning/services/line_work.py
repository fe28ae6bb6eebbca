"""What every act on a check line shares: whether it may be worked on now, and how a result moves it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.utils import timezone

from commissioning.errors import Refused
from commissioning.models import (
    CheckLine,
    CheckResult,
    LineState,
    Outcome,
    Reading,
    SupplyChange,
    System,
    User,
)
from commissioning.rules.gate import StageFacts
from commissioning.rules.gate_parts import LINES
from commissioning.rules.safety import CLOCK_DOUBT, SupplyChanged, WorkFact, energy_state, proof_stands, work_blockers
from commissioning.selectors.facts import stage_facts
from commissioning.services.audit import record

OUTCOME_STATES = {
    Outcome.PASSED: LineState.PASSED,
    Outcome.FAILED: LineState.FAILED,
    Outcome.NOT_APPLICABLE: LineState.NOT_APPLICABLE,
    Outcome.REOPENED: LineState.OPEN,
}


#: Said of what was made before the answer that holds, and arrived after it.
CAME_LATE = " It arrived late: what was made after it stands."


def fresh_line(line: CheckLine) -> CheckLine:
    """The line as it stands now, inside the lock."""
    return CheckLine.objects.select_related("stage__system__project", "stage__system__site", "equipment").get(
        pk=line.pk
    )


def refuse_unless_workable(
    *, line: CheckLine, facts: StageFacts | None = None, dead_matters: bool = True
) -> StageFacts:
    """Raise Refused when the line cannot be recorded now; answer the facts it was decided on."""
    facts = facts or stage_facts(stage=line.stage)
    position = next((place for place, fact in enumerate(facts.lines) if fact.id == str(line.pk)), 0)
    work = WorkFact(
        line_id=str(line.pk),
        title=line.title,
        where=line.equipment.tag if line.equipment else line.stage.system.tag,
        work=line.work if dead_matters else "either",
        injects_voltage=line.injects_voltage and dead_matters,
        proved_dead=proved_dead(line),
    )
    energy = energy_state(supply.state for supply in facts.supplies)
    if blockers := work_blockers(work=work, stage=facts, energy=energy, before=facts.lines[:position]):
        raise Refused(blockers)
    return facts


def proved_dead(line: CheckLine) -> bool:
    """Whether a proof of dead on this line still counts; `proof_stands` says when."""
    proofs = list(line.proofs_of_dead.values_list("at", "recorded_at"))
    if not proofs:
        return False
    rows = SupplyChange.objects.filter(supply__system=line.stage.system_id)
    changes = [SupplyChanged(str(one.supply_id), one.state, one.at, one.recorded_at) for one in rows]
    return any(proof_stands(made_at=at, recorded_at=recorded, changes=changes) for at, recorded in proofs)


@dataclass(frozen=True, slots=True)
class Standing:
    """What was answered last on a line and holds."""

    answer: CheckResult | Reading
    at: datetime

    @property
    def by(self) -> User:
        return self.answer.by


def standing_on(line: CheckLine) -> Standing | None:
    """The answer that holds, with when it was made; a clock that runs ahead is not believed past the server's."""
    results = line.results.filter(superseded_at__isnull=True).select_related("by")
    readings = line.readings.filter(superseded_at__isnull=True).select_related("by").defer("result", "inputs")
    found = [Standing(one, min(one.at, one.recorded_at)) for one in results]
    found += [Standing(one, min(one.taken_at, one.recorded_at)) for one in readings]
    return max(found, key=lambda one: one.at, default=None)


def made_after(line: CheckLine, at: datetime | None, actor: User) -> Standing | None:
    """The answer that holds, if it was made after this moment.

    Answers of one person come in their order, and between two sendings their clock's correction may change: only what
    lies clearly apart is held against them.
    """
    standing = standing_on(line)
    if standing is None or at is None:
        return None
    doubt = 2 * CLOCK_DOUBT if standing.by.pk == actor.pk else timedelta()
    return standing if standing.at - doubt > at else None


def save_result(
    *,
    actor: User,
    system: System,
    line: CheckLine,
    outcome: str,
    remark: str = "",
    values: Sequence[Mapping[str, Any]] = (),
    at: datetime | None = None,
    id: UUID | None = None,
    behind: Standing | None = None,
) -> CheckResult:
    """Append the result, supersede the one before, move the line, and say so in the audit. Inside the caller's lock.

    `behind` an answer that was made after it, it is kept on record and moves nothing.
    """
    now = timezone.now()
    result = CheckResult(line=line, outcome=outcome, remark=remark, values=list(values), by=actor, at=at or now)
    if id is not None:
        result.pk = id
    if behind is None:
        line.results.filter(superseded_at__isnull=True).update(superseded_at=now)
    else:
        result.superseded_at = now
    result.save(force_insert=True)
    if behind is None:
        move_line(line=line, state=OUTCOME_STATES[Outcome(outcome)], actor=actor, at=result.at)
    record(
        project=system.project,
        actor=actor,
        action="line_result",
        touches={LINES},
        stages=[line.stage_id],
        on=line,
        system=system.pk,
        words=f"{system.tag}: {line.title}: {Outcome(outcome).label}."
        + (f" {remark}" if remark else "")
        + (CAME_LATE if behind else ""),
        data={"result": result.pk, "outcome": outcome, "remark": remark, "values": list(values)},
    )
    return result


def move_line(*, line: CheckLine, state: str, actor: User, at: datetime) -> None:
    """Where a line stands, kept on its row so that lists need not look at its results."""
    line.state = state
    line.done_at, line.done_by = (None, None) if state == LineState.OPEN else (at, actor)
    line.save(update_fields=["state", "done_at", "done_by"])
