"""What an acceptance signs: the whole record of a stage as it stands, as plain data."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import Any

from commissioning.models import (
    CheckResult,
    Concession,
    PermissionToEnergise,
    ProofOfDead,
    Reading,
    Stage,
    SupplyChange,
    Witnessing,
)
from commissioning.rules.gate import StageFacts


def stage_content(*, stage: Stage, facts: StageFacts) -> dict[str, Any]:
    """Everything that the signature on a stage covers; its canonical JSON is hashed."""
    of_stage = {"line__stage": stage}
    return _plain(
        {
            "schema": 1,
            "project": stage.system.project.code,
            "site": stage.system.site.code,
            "system": {"tag": stage.system.tag, "name": stage.system.name, "kind": stage.system.kind},
            "stage": stage.kind,
            "facts": {**asdict(facts), "workers": sorted(facts.workers), "now": facts.now},
            "results": list(
                CheckResult.objects.filter(**of_stage)
                .order_by("recorded_at", "id")
                .values("id", "line_id", "outcome", "values", "remark", "by_id", "at", "superseded_at")
            ),
            "readings": list(
                Reading.objects.filter(**of_stage)
                .order_by("recorded_at", "id")
                .values(
                    "id",
                    "line_id",
                    "calculation",
                    "edition",
                    "inputs",
                    "result",
                    "verdict",
                    "by_id",
                    "taken_at",
                    "superseded_at",
                )
            ),
            "concessions": list(
                Concession.objects.filter(**of_stage, withdrawn_at__isnull=True)
                .order_by("signed_at")
                .values("id", "reason", "signed_hash")
            ),
            "proofs_of_dead": list(
                ProofOfDead.objects.filter(**of_stage)
                .order_by("recorded_at", "id")
                .values("id", "line_id", "point_of_work", "detector", "by_id", "at")
            ),
            "witnessings": list(
                Witnessing.objects.filter(**of_stage)
                .order_by("recorded_at", "id")
                .values("id", "line_id", "role", "by_id", "at")
            ),
            "permissions": list(
                PermissionToEnergise.objects.filter(stage=stage)
                .order_by("signed_at")
                .values("id", "signed_hash", "withdrawn_at")
            ),
            "supply_log": list(
                SupplyChange.objects.filter(supply__system=stage.system)
                .order_by("recorded_at", "id")
                .values("id", "supply__tag", "state", "lock_number", "by_id", "at")
            ),
        }
    )


def _plain(value: Any) -> Any:
    """JSON types only, so that what is stored is byte for byte what was hashed."""
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(item) for item in value]
    if isinstance(value, set | frozenset):
        return sorted(_plain(item) for item in value)
    if isinstance(value, datetime):
        return value.isoformat()
    if value is None or isinstance(value, str | int | float | bool):
        return value
    return str(value)
