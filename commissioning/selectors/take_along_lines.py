"""Check lines as a phone takes them along: what each says, what it asks for, and where it stands."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any
from uuid import UUID

from commissioning.models import CheckLine, CheckResult, ProofOfDead, Reading, Stage, System
from commissioning.procedures.nameplate import NAMEPLATE_KEYS
from commissioning.rules.gate import LineFact, StageFacts
from commissioning.selectors.asking import Wanted, definition_or_none, wanted_by
from commissioning.selectors.procedure_run import is_done
from commissioning.services.reading_inputs import AMBIENT, nameplate_value

Places = Mapping[UUID, tuple[System, Stage]]
#: What the line says, under the name it has in the record.
SAID = ("key", "title", "how", "accept", "caution", "action", "work", "injects_voltage", "point", "party", "required",
        "calculation", "procedure_version", "inputs", "limits", "state", "done_at")  # fmt: skip

#: Sources of an input that a person typed.
TYPED = ("measured", "typed", AMBIENT)


def lines_taken(places: Places, facts: Mapping[UUID, StageFacts]) -> dict[UUID, list[dict[str, Any]]]:
    """The lines of these stages in order, by stage; four queries, however many there are."""
    rows = CheckLine.objects.filter(stage__in=list(places), retired_at__isnull=True)
    of_lines = {"line__stage__in": list(places), "line__retired_at__isnull": True}
    standing = {"superseded_at__isnull": True, **of_lines}
    results = {row.line_id: row for row in CheckResult.objects.filter(**standing).select_related("by")}
    readings = {
        row.line_id: row for row in Reading.objects.filter(**standing).select_related("by").defer("result")
    }  # fmt: skip
    proofs = {row.line_id: row for row in ProofOfDead.objects.filter(**of_lines).select_related("by").order_by("at")}
    known = {fact.id: fact for stage in places for fact in facts[stage].lines}
    found: dict[UUID, list[dict[str, Any]]] = defaultdict(list)
    for line in rows.select_related("equipment").order_by("stage", "order"):
        system, line.stage = places[line.stage_id]
        line.stage.system = system
        position = len(found[line.stage_id]) + 1
        answer = readings.get(line.pk) or results.get(line.pk)
        fact = known[str(line.pk)]
        found[line.stage_id].append(
            {
                "id": line.pk,
                "position": position,
                **{name: getattr(line, name) for name in SAID},
                "work_words": line.get_work_display(),
                "force_seconds": line.timer_seconds,
                "tag": line.equipment.tag if line.equipment else "",
                "equipment": line.equipment_id,
                "procedure": line.procedure_key,
                **_stands(fact),
                "standing": _standing(answer),
                "changed": answer.recorded_at if answer else None,
                "proof_of_dead": _proof(proofs.get(line.pk)),
                **_asks(line),
            }
        )
    return found


def _stands(fact: LineFact) -> dict[str, Any]:
    return {"done": is_done(fact), "conceded": fact.conceded, "witnessed": fact.witnessed}


def _standing(answer: Reading | CheckResult | None) -> dict[str, Any] | None:
    """What was answered last and holds, and by whom."""
    if answer is None:
        return None
    who = {"id": answer.pk, "by": str(answer.by), "by_id": answer.by_id, "recorded_at": answer.recorded_at,
           "remark": answer.remark}  # fmt: skip
    if isinstance(answer, Reading):
        # The rest is brought by the line or the register, and comes with `fixed` and `nameplate`.
        typed = {row["name"]: str(row["typed"]) for row in answer.inputs if row["source"] in TYPED}
        return {**who, "kind": "reading", "at": answer.taken_at, "verdict": answer.verdict,
                "words": answer.get_verdict_display(), "typed": typed}  # fmt: skip
    typed = {entry["name"]: str(entry["typed"]) for entry in answer.values}
    return {**who, "kind": "result", "at": answer.at, "outcome": answer.outcome,
            "words": answer.get_outcome_display(), "typed": typed}  # fmt: skip


def _proof(row: ProofOfDead | None) -> dict[str, Any] | None:
    if row is None:
        return None
    return {"by": str(row.by), "at": row.at, "point_of_work": row.point_of_work, "detector": row.detector}


def _asks(line: CheckLine) -> dict[str, Any]:
    """What has to be typed, and the values that the procedure and the register bring."""
    wanted: Wanted = wanted_by(line)
    definition = definition_or_none(line.calculation)
    return {
        "edition": definition.edition if definition else "",
        "asked": [{**asdict(one), "keys": one.keys, "signed": one.signed} for one in wanted.asked],
        "known": [asdict(one) for one in wanted.known],
        "recording": wanted.recording,
        "fixed": {name: spec["value"] for name, spec in line.inputs.items() if spec.get("kind") == "value"},
        "nameplate": _nameplate(line),
    }


def _nameplate(line: CheckLine) -> dict[str, Any]:
    """Inputs that the register brings, by name: value and unit. One that it does not have is asked for instead."""
    found = {}
    for name, spec in line.inputs.items():
        if spec.get("kind") != "nameplate":
            continue
        value = nameplate_value(system=line.stage.system, line=line, spec=spec)
        if value is not None:
            key = NAMEPLATE_KEYS.get(spec.get("key", ""))
            found[name] = {"value": value, "unit": key.unit if key else spec.get("unit", "")}
    return found
