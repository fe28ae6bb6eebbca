"""Readings verified again, in the background, after something they rest on has changed.

What a reading says stays what it says until a manager decides: confirmed, a new reading with the same inputs stands in
its place; kept, the old one stands with the manager's reason. An accepted stage does not change by itself meanwhile:
the change shows there as an exception.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from math import isclose
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.utils import timezone

import calcs
from commissioning.errors import InvalidInput, ServiceError
from commissioning.models import (
    Instrument,
    Job,
    Project,
    Reading,
    User,
    VerificationChange,
    VerificationRun,
)
from commissioning.models.base import new_id
from commissioning.rules.gate_parts import LINES
from commissioning.services import jobs
from commissioning.services.audit import record
from commissioning.services.permissions import WORKERS, require
from commissioning.services.reading_inputs import Gathered, gather_inputs
from commissioning.services.readings import calculate, stored_verdict
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change, touch
from commissioning.services.verification_decisions import decide_change, decide_changes

__all__ = ["ask_verification", "decide_change", "decide_changes", "run_verification", "verify_what_it_touches"]

JOB_KIND = "verify_again"
#: What a run may be narrowed to, and the filter that does it.
SCOPES = {
    "system": "system_id",
    "equipment": "equipment_id",
    "instrument": "instruments",
    "line": "line_id",
    "calculation": "calculation",
}
#: Readings looked at between two heartbeats of the job.
BATCH = 2_000
#: Below this many of one kind, columns are not worth their setting up.
FEW = 50


@state_change()
def ask_verification(
    *, actor: User, project: Project, reason: str, scope: Mapping[str, str] | None = None, id: UUID | None = None
) -> VerificationRun:
    """Have every standing reading in the scope verified again. `reason` says what changed."""
    same = {"project_id": project.pk, "asked_by_id": actor.pk, "reason": reason[:300], "scope": dict(scope or {})}
    if found := already_made(VerificationRun, id, **same):
        return found
    require(actor=actor, project=project, roles=WORKERS, site=None, to="have readings verified again")
    if unknown := set(scope or {}) - set(SCOPES):
        raise InvalidInput({"scope": f"A run is narrowed by {', '.join(SCOPES)}, not by {', '.join(sorted(unknown))}."})
    run = VerificationRun.objects.create(id=id or new_id(), **same)
    run.job = jobs.ask(
        project=project, kind=JOB_KIND, key=f"{JOB_KIND}:{run.pk}", asked_by=actor, arguments={"run": str(run.pk)}
    )
    run.save(update_fields=["job"])
    record(project=project, actor=actor, action="verification_asked", on=run, words=f"Verify readings again: {reason}")
    return run


def verify_what_it_touches(*, actor: User, project: Project, reason: str, scope: Mapping[str, str]) -> None:
    """Ask for a run where there is anything to verify again; called by the service that made the change."""
    if readings_in_scope(VerificationRun(project=project, scope=dict(scope))).exists():
        ask_verification(actor=actor, project=project, reason=reason, scope=scope)


def readings_in_scope(run: VerificationRun) -> QuerySet[Reading]:
    filters = {SCOPES[name]: value for name, value in run.scope.items()}
    return Reading.objects.filter(project=run.project_id, superseded_at__isnull=True, **filters)


def run_verification(job: Job) -> dict[str, int]:
    """The job: look at each reading once, keep what changed. Run twice, it finds the same again and adds nothing."""
    run = VerificationRun.objects.select_related("project").get(pk=UUID(job.arguments["run"]))
    ids = list(readings_in_scope(run).order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(ids), BATCH):
        jobs.heartbeat(job, "verifying readings again", start, len(ids))
        rows = _with_all_they_rest_on(ids[start : start + BATCH])
        changes = list(changed_readings(run=run, readings=rows))
        with jobs.writing(job):
            VerificationChange.objects.bulk_create(changes, ignore_conflicts=True)
            touch(
                *{change.reading.system_id for change in changes},
                parts={LINES},
                stages={change.reading.line.stage_id for change in changes if change.reading.line},
            )
    with jobs.writing(job):
        run.finished_at, run.looked_at = timezone.now(), len(ids)
        run.save(update_fields=["finished_at", "looked_at"])
    return {"looked_at": len(ids), "changed": run.changes.count()}


def _with_all_they_rest_on(ids: Sequence[UUID]) -> list[Reading]:
    rows = Reading.objects.filter(pk__in=ids).select_related(
        "system__project", "line__equipment", "line__stage", "equipment"
    )
    return list(rows.prefetch_related("instruments__ranges", "instruments__calibrations", "instruments__project"))


def changed_readings(*, run: VerificationRun, readings: Sequence[Reading]) -> Iterator[VerificationChange]:
    """Changes of result among these readings: kinds of which there are many are first sifted in columns."""
    groups: dict[tuple[str, str], list[tuple[Reading, Gathered]]] = defaultdict(list)
    for reading in readings:
        try:
            gathered = gathered_again(reading)
        except ServiceError as refusal:
            if change := _cannot_say(run, reading, refusal.words):
                yield change
            continue
        limits = repr(reading.line.limits) if reading.line else ""
        groups[reading.calculation, limits].append((reading, gathered))
    for group in groups.values():
        suspects = _sift(group) if len(group) >= FEW else group
        for reading, gathered in suspects:
            if change := _change_of(run, reading, gathered):
                yield change


def gathered_again(reading: Reading) -> Gathered:
    """The reading's inputs as they would be now: same typed text, present nameplates, ranges and line."""
    instruments: dict[str, Instrument] = {}
    known = {str(instrument.pk): instrument for instrument in reading.instruments.all()}
    for entry in reading.inputs:
        if entry.get("instrument") in known:
            instruments[entry["name"]] = known[entry["instrument"]]
    return gather_inputs(
        system=reading.system,
        line=reading.line,
        calculation=reading.calculation,
        # a recording is named by its id; what stands as typed is the name of its file
        typed={entry["name"]: entry.get("recording") or entry["typed"] for entry in reading.inputs},
        instruments=instruments,
        taken_at=reading.taken_at,
        check_calibration=False,
    )


def _sift(group: list[tuple[Reading, Gathered]]) -> list[tuple[Reading, Gathered]]:
    """Those of one kind and one set of limits whose result may have changed; columns, where the inputs are scalars."""
    first = group[0][0]
    definition = calcs.get(first.calculation)
    numbers = [one.name for one in definition.inputs if one.kind == "scalar"]
    if any(one.kind in ("list", "pairs", "table") for one in definition.inputs):
        return group
    columns, spreads = _columns(group, definition)
    if columns is None:
        return group
    own = {limit["output"]: limit for limit in (first.line.limits if first.line else [])}
    found = calcs.bulk(
        first.calculation,
        columns,
        uncertainties={name: spreads[name] for name in numbers if name in spreads},
        limits=own or None,
        guard_factor=first.system.project.guard_factor,
    )
    words = found.verdict_words()
    return [
        pair
        for place, pair in enumerate(group)
        if stored_verdict(words[place]) != pair[0].verdict or _outputs_differ(found.outputs, place, pair[0].result)
    ]


def _columns(group: list[tuple[Reading, Gathered]], definition: Any) -> tuple[dict[str, Any] | None, dict[str, Any]]:
    """A column for each input that all of the group carry; None where they do not carry the same inputs."""
    from calcs.units import parse

    names = set(group[0][1].numbers)
    if any(set(gathered.numbers) != names for _, gathered in group):
        return None, {}
    columns: dict[str, Any] = {}
    spreads: dict[str, Any] = {}
    for one in definition.inputs:
        if one.name not in names:
            continue
        texts = [gathered.numbers[one.name] for _, gathered in group]
        if one.kind != "scalar":
            if len(set(texts)) > 1:
                return None, {}
            columns[one.name] = texts[0]
            continue
        quantities = [parse(text, one.unit, name=one.name) for text in texts]
        columns[one.name] = [quantity.value for quantity in quantities]
        spreads[one.name] = [quantity.expanded_uncertainty or 0.0 for quantity in quantities]
    return columns, {name: values for name, values in spreads.items() if any(values)}


def _outputs_differ(outputs: Mapping[str, Any], place: int, before: Mapping[str, Any]) -> bool:
    for name, column in outputs.items():
        old = (before.get("outputs", {}).get(name) or {}).get("value")
        if isinstance(old, int | float) and not isclose(float(column[place]), old, rel_tol=1e-9, abs_tol=1e-12):
            return True
    return False


def _change_of(run: VerificationRun, reading: Reading, gathered: Gathered) -> VerificationChange | None:
    try:
        result = calculate(
            system=reading.system, line=reading.line, calculation=reading.calculation, gathered=gathered
        ).as_json()
    except ServiceError as refusal:
        return _cannot_say(run, reading, refusal.words)
    verdict = stored_verdict(result["verdict"])
    same = verdict == reading.verdict and all(
        _same(result[part], reading.result.get(part)) for part in ("outputs", "limits", "conformity_probability")
    )
    if same:
        return None
    return VerificationChange(run=run, reading=reading, verdict=verdict, inputs=gathered.kept, result=result)


def _cannot_say(run: VerificationRun, reading: Reading, words: str) -> VerificationChange | None:
    if reading.verdict == "cannot_say":
        return None
    result = {**reading.result, "verdict": "cannot_say", "cautions": [words]}
    return VerificationChange(run=run, reading=reading, verdict="cannot_say", inputs=reading.inputs, result=result)


def _same(left: Any, right: Any) -> bool:
    """Equal up to the last digits of binary floats."""
    if isinstance(left, Mapping) and isinstance(right, Mapping):
        return left.keys() == right.keys() and all(_same(left[key], right[key]) for key in left)
    if isinstance(left, list | tuple) and isinstance(right, list | tuple):
        return len(left) == len(right) and all(map(_same, left, right))
    if isinstance(left, float | int) and isinstance(right, float | int) and not isinstance(left, bool):
        return isclose(left, right, rel_tol=1e-9, abs_tol=1e-12)
    return bool(left == right)
