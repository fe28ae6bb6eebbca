"""Check lines: results, proof of dead, notices and witnessing."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils import timezone

from calcs import InputError
from calcs.units import parse
from commissioning.errors import Conflict, InvalidInput
from commissioning.models import (
    CheckLine,
    CheckResult,
    LineState,
    Outcome,
    ProofOfDead,
    User,
)
from commissioning.rules.gate_parts import NOTHING
from commissioning.selectors.facts import stage_facts
from commissioning.services.audit import record
from commissioning.services.line_work import (
    fresh_line,
    made_after,
    move_line,
    proved_dead,
    refuse_unless_workable,
    save_result,
)
from commissioning.services.locks import lock_system
from commissioning.services.permissions import WORKERS, require
from commissioning.services.repeats import already_made, refuse_other_content, said
from commissioning.services.state_change import state_change
from commissioning.services.witnessing import assign_party, give_notice, witness_line

__all__ = [
    "assign_party",
    "fresh_line",
    "give_notice",
    "move_line",
    "prove_dead",
    "proved_dead",
    "record_result",
    "refuse_unless_workable",
    "reopen_line",
    "save_result",
    "witness_line",
]


@state_change()
def record_result(
    *,
    actor: User,
    line: CheckLine,
    outcome: str,
    remark: str = "",
    values: Mapping[str, str] | None = None,
    at: datetime | None = None,
    id: UUID | None = None,
    by_time: bool = False,
) -> CheckResult:
    """Say what was found on a line: passed, failed, or not applicable with a reason. An earlier result is superseded.

    `by_time`: what was made last stands, also when this one arrives last.
    `values` are what the line keeps on record, as typed, by input name. Raises Refused with the reasons when the
    work cannot be recorded now (LIVE, hold point, order, stage not in hand).
    """
    same = {"line_id": line.pk, "by_id": actor.pk, "outcome": outcome, "remark": remark}
    if found := already_made(CheckResult, id, **same, **said(at=at)):
        keeps = not line.calculation and outcome != Outcome.NOT_APPLICABLE
        if keeps and {entry["name"]: entry["typed"] for entry in found.values} != _typed(values):
            refuse_other_content()
        return found
    system = lock_system(line.stage.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="record a result")
    line = fresh_line(line)
    _check_outcome(line, outcome, remark)
    refuse_unless_workable(line=line, dead_matters=outcome in (Outcome.PASSED, Outcome.FAILED))
    kept = _values_on_record(line, values or {}) if outcome in (Outcome.PASSED, Outcome.FAILED) else []
    return save_result(
        actor=actor, system=system, line=line, outcome=outcome, remark=remark, values=kept, at=at, id=id,
        behind=made_after(line, at, actor) if by_time else None,
    )  # fmt: skip


@state_change()
def reopen_line(*, actor: User, line: CheckLine, reason: str = "", id: UUID | None = None) -> CheckResult:
    """Take a result or reading back: the line is open again; what was recorded stays on record, superseded."""
    same = {"line_id": line.pk, "by_id": actor.pk, "outcome": Outcome.REOPENED, "remark": reason}
    if found := already_made(CheckResult, id, **same):
        return found
    system = lock_system(line.stage.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="reopen a line")
    line = fresh_line(line)
    if line.state == LineState.OPEN:
        raise Conflict("This line is open already.")
    facts = stage_facts(stage=line.stage)
    if facts.state != "started":
        refuse_unless_workable(line=line, facts=facts, dead_matters=False)
    result = save_result(actor=actor, system=system, line=line, outcome=Outcome.REOPENED, remark=reason, id=id)
    line.readings.filter(superseded_at__isnull=True).update(
        superseded_at=timezone.now(), superseded_reason=reason or "line reopened"
    )
    return result


def _typed(values: Mapping[str, str] | None) -> dict[str, str]:
    """What was typed, without what was left empty."""
    return {name: str(text).strip() for name, text in (values or {}).items() if str(text).strip()}


def _check_outcome(line: CheckLine, outcome: str, remark: str) -> None:
    if outcome not in (Outcome.PASSED, Outcome.FAILED, Outcome.NOT_APPLICABLE):
        raise InvalidInput({"outcome": "Answer passed, failed or not applicable."})
    if line.retired_at:
        raise Conflict("This line was dropped from the procedure. What was recorded on it is kept.")
    if outcome == Outcome.NOT_APPLICABLE and not remark.strip():
        raise InvalidInput({"remark": "Say why the line does not apply; the dossier prints the reason."})
    if outcome == Outcome.FAILED and not remark.strip():
        raise InvalidInput({"remark": "Say what was wrong, so that somebody else can mend it."})
    if outcome == Outcome.PASSED and line.calculation and line.required:
        raise InvalidInput(
            {"outcome": "This line is passed by a reading. Type the reading; the verdict follows from it."}
        )


def _values_on_record(line: CheckLine, typed: Mapping[str, str]) -> list[dict[str, Any]]:
    """Values that a line without a calculation keeps: as typed, and as numbers in the line's unit."""
    if line.calculation:
        return []
    kept: list[dict[str, Any]] = []
    problems: dict[str, str] = {}
    for name, spec in line.inputs.items():
        if spec.get("kind") != "measured":
            continue
        text = str(typed.get(name, "")).strip()
        if not text:
            if not spec.get("optional"):
                problems[name] = f"Type {spec.get('label') or name}, in {spec.get('unit') or 'words'}."
            continue
        try:
            numbers = [
                parse(part, spec.get("unit", "")).value for part in (text.split(";") if spec.get("many") else [text])
            ]
        except InputError as error:
            problems[name] = str(error)
            continue
        value = numbers if spec.get("many") else numbers[0]
        kept.append(
            {
                "name": name,
                "label": spec.get("label") or name,
                "typed": text,
                "value": value,
                "unit": spec.get("unit", ""),
            }
        )
    if problems:
        raise InvalidInput(problems)
    return kept


@state_change()
def prove_dead(
    *,
    actor: User,
    line: CheckLine,
    point_of_work: str,
    detector: str,
    proved_before: bool,
    proved_after: bool,
    at: datetime | None = None,
    id: UUID | None = None,
) -> ProofOfDead:
    """Record that dead was proved at the point of work, with a detector proved before and after."""
    same = {"line_id": line.pk, "by_id": actor.pk, "detector": detector.strip()}
    if found := already_made(ProofOfDead, id, **same, point_of_work=point_of_work.strip(), **said(at=at)):
        return found
    system = lock_system(line.stage.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="record a proof of dead")
    problems = {
        "point_of_work": "" if point_of_work.strip() else "Say where: terminals, cubicle, side of the link.",
        "detector": "" if detector.strip() else "Name the voltage detector and its serial number.",
        "proved_before": "" if proved_before else "Prove the detector on a known source before the test.",
        "proved_after": "" if proved_after else "Prove the detector on a known source after the test.",
    }
    if problems := {field: words for field, words in problems.items() if words}:
        raise InvalidInput(problems)
    line = fresh_line(line)
    refuse_unless_workable(line=_without_injection(line))
    proof = ProofOfDead(
        line=line,
        point_of_work=point_of_work.strip(),
        detector=detector.strip(),
        proved_before=True,
        proved_after=True,
        by=actor,
        at=at or timezone.now(),
    )
    if id is not None:
        proof.pk = id
    proof.save(force_insert=True)
    record(
        project=system.project,
        actor=actor,
        action="proved_dead",
        touches=NOTHING,
        on=line,
        system=system.pk,
        words=f"{system.tag}: dead proved at {proof.point_of_work} with {proof.detector}, for: {line.title}.",
        data={"proof": proof.pk},
    )
    return proof


def _without_injection(line: CheckLine) -> CheckLine:
    """The same line as dead work only: proving dead comes before the injected voltage and must not wait for itself."""
    line.work, line.injects_voltage = "dead", False
    return line
