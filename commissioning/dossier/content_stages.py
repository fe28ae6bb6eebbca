"""Stages as the dossier prints them: certificates with what was signed, check records, concessions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from zoneinfo import ZoneInfo

from commissioning.dossier.content_batch import Batch
from commissioning.dossier.content_words import SHORT, capital, moment, sentences, spoken, value_text
from commissioning.models import (
    Acceptance,
    CheckLine,
    CheckResult,
    Concession,
    LineState,
    Point,
    Role,
    Stage,
    StageState,
    System,
)
from commissioning.rules.gate import acceptance_blockers
from commissioning.selectors.holds import Move, move_of
from commissioning.services.signing import signature_holds

RESULTS = {LineState.OPEN: "not_done"}
HOLDS = "The stored record was hashed again when this dossier was frozen: it is the record that was signed."
BROKEN = "The stored record is NOT the record that was signed: do not rely on this acceptance."


def stage_entry(
    stage: Stage, batch: Batch, *, readings: Mapping[Any, Sequence[Any]], roles: Mapping[int, str], zone: ZoneInfo
) -> dict[str, Any]:
    """One stage; `readings` are the printed readings by line, `roles` the role of each person by key."""
    accepted = batch.acceptances[stage.pk]
    return {
        "kind": stage.kind,
        "name": capital(stage.get_kind_display()),
        "short": SHORT[stage.kind],
        "state": _state(stage, batch),
        "statement": _statement(batch.lines[stage.pk], accepted, zone),
        "acceptances": [_acceptance(one, zone) for one in accepted],
        "check_records": [
            check_record(line, batch, readings=readings.get(line.pk, ()), roles=roles, zone=zone)
            for line in batch.lines[stage.pk]
            if _on_record(line, batch)
        ],
    }


def _on_record(line: CheckLine, batch: Batch) -> bool:
    """A line that a later edit dropped is printed where something was recorded on it."""
    return line.retired_at is None or line.state != LineState.OPEN or bool(batch.results[line.pk])


def _state(stage: Stage, batch: Batch) -> str:
    if stage.state == StageState.ACCEPTED:
        return "accepted"
    if any(one.withdrawn_at for one in batch.acceptances[stage.pk]):
        return "withdrawn"
    if stage.state == StageState.NOT_STARTED:
        return "not_started"
    facts = batch.facts[stage.pk]
    waiting = move_of(facts, acceptance_blockers(facts)) in (Move.WAITS, Move.LAST_STEPS)
    return "held" if waiting else "in_hand"


def _statement(lines: Sequence[CheckLine], accepted: Sequence[Acceptance], zone: ZoneInfo) -> str:
    standing = [one for one in accepted if one.withdrawn_at is None]
    if not standing:
        return ""
    named = sorted(
        {
            f"{line.procedure_key.replace('_', ' ')}, version {line.procedure_version}"
            for line in lines
            if line.procedure_key
        }
    )
    under = f"Accepted under the procedure {'; '.join(named)}" if named else "Accepted"
    holds = HOLDS if all(signature_holds(one) for one in standing) else BROKEN
    return sentences(under, holds, *(f"Remark: {one.remark}" for one in standing if one.remark))


def broken_signatures(system: System, batch: Batch) -> list[dict[str, Any]]:
    """Acceptances whose stored record is not what was signed: nobody may rely on them."""
    return [
        {"system": str(system.pk), "tag": system.tag, "where": capital(stage.get_kind_display()), "text": BROKEN}
        for stage in batch.asked(system)
        if not all(signature_holds(one) for one in batch.acceptances[stage.pk] if one.withdrawn_at is None)
    ]


def _acceptance(one: Acceptance, zone: ZoneInfo) -> dict[str, Any]:
    entry = {
        "name": one.signed_name,
        "role": one.signed_role,
        "at": moment(one.signed_at, zone),
        "hash": one.signed_hash,
    }
    if one.withdrawn_at:
        entry |= {
            "withdrawn_at": moment(one.withdrawn_at, zone),
            "withdrawn_by": str(one.withdrawn_by or ""),
            "withdrawn_reason": one.withdrawn_reason,
        }
    return entry


def check_record(
    line: CheckLine, batch: Batch, *, readings: Sequence[Any], roles: Mapping[int, str], zone: ZoneInfo
) -> dict[str, Any]:
    """One check line with its result, who and when, witness, proof of dead and readings."""
    results = batch.results[line.pk]
    standing = next((one for one in results if one.superseded_at is None), None)
    person = standing.by if standing else line.done_by
    at = standing.at if standing else line.done_at
    where = line.equipment.tag if line.equipment else ""
    entry: dict[str, Any] = {
        "ref": f"{where or line.stage.system.tag} {line.key}",
        "order": line.order,
        "key": line.key,
        "title": line.title,
        "result": RESULTS.get(LineState(line.state), line.state),
        "reason": _note(line, standing, results, batch, zone),
        "by": {"name": str(person), "role": roles.get(person.pk, "")} if person else None,
        "at": moment(at, zone),
        "point": "" if line.point == Point.NONE else line.point,
        "tag": where,
        "readings": list(readings),
        "witnesses": [
            {"name": str(one.by), "role": Role(one.role).label, "at": moment(one.at, zone)}
            for one in batch.witnessings[line.pk]
        ],
    }
    if notices := batch.notices[line.pk]:
        entry["notice"] = {
            "given_at": moment(notices[-1].given_at, zone),
            "for_at": moment(notices[-1].planned_for, zone),
        }
    if proofs := batch.proofs[line.pk]:
        last = proofs[-1]
        entry["proof_of_dead"] = {
            "by": str(last.by),
            "at": moment(last.at, zone),
            "detector": f"{last.detector} ({last.point_of_work})",
        }
    return entry


def _note(
    line: CheckLine, standing: CheckResult | None, results: Sequence[CheckResult], batch: Batch, zone: ZoneInfo
) -> str:
    """Remark and values of the result that stands, then what was recorded before it."""
    told = [standing.remark, _values(standing)] if standing else []
    for one in results:
        if one.superseded_at is not None:
            outcome = one.get_outcome_display()
            told.append(
                f"Earlier, {spoken(one.at, zone)}, {one.by}: {outcome}{f', {one.remark}' if one.remark else ''}"
            )
    for proof in batch.proofs[line.pk][:-1]:
        told.append(f"Also proved dead at {proof.point_of_work} by {proof.by}, {spoken(proof.at, zone)}")
    told += [f"Witness: {one.remark}" for one in batch.witnessings[line.pk] if one.remark]
    if line.retired_at:
        told.append("Dropped from the procedure later, kept with its record")
    return sentences(*told)


def _values(result: CheckResult) -> str:
    """Values kept on record, as they were typed."""
    kept = [(one, value_text(one)) for one in result.values]
    return "; ".join(
        f"{one.get('label') or one.get('name')}: {text} {one.get('unit') or ''}".strip() for one, text in kept if text
    )


def concession_rows(
    rows: Sequence[Concession], refs: Mapping[Any, str], zone: ZoneInfo
) -> list[tuple[str, dict[str, Any]]]:
    """Concessions of a system with the kind of stage that each belongs to, numbered as they were signed."""
    found = []
    for place, one in enumerate(rows, 1):
        reading = f", reading {refs[one.reading_id]}" if one.reading_id in refs else ""
        holds = "" if signature_holds(one) else "The stored record is NOT the record that was signed"
        withdrawn = f"WITHDRAWN {spoken(one.withdrawn_at, zone)}: {one.withdrawn_reason}" if one.withdrawn_at else ""
        entry = {
            "ref": f"C{place:02d}",
            "what": f"{one.line.title}{reading}",
            "reason": sentences(one.reason, withdrawn, holds),
            "name": one.signed_name,
            "role": one.signed_role,
            "at": moment(one.signed_at, zone),
            "hash": one.signed_hash,
        }
        found.append((one.line.stage.kind, entry))
    return found
