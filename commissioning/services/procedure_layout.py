"""A procedure laid out on a system: check lines added, refreshed, retired; what carries a record keeps it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from django.utils import timezone

from commissioning.errors import Conflict, InvalidInput
from commissioning.models import (
    CheckLine,
    Equipment,
    LineState,
    Procedure,
    Stage,
    StageState,
    System,
    User,
)
from commissioning.rules.layout import LineShape, lay_out
from commissioning.services.audit import record
from commissioning.services.locks import lock_system
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.procedure_lines import CONTENT_FIELDS, ORDER_STEP
from commissioning.services.state_change import state_change
from commissioning.services.verification import verify_what_it_touches


@state_change()
def apply_procedure(*, actor: User, system: System, procedure: Procedure) -> dict[str, int]:
    """Lay the project's procedure out on a system's stages that are not accepted yet.

    Lines that carry a record keep it: what changed under a record is retired beside its successor, never rewritten.
    Answers how many lines were added, changed, retired, and left alone; `judged` of those have new limits or inputs.
    """
    system = lock_system(system.pk)
    require(actor=actor, project=system.project, roles=MANAGERS, site=system.site_id, to="apply a procedure")
    if procedure.project_id != system.project_id:
        raise Conflict("That procedure belongs to another project.")
    if procedure.system_kind != system.kind:
        raise InvalidInput({"procedure": f"{procedure.title} is not for a {system.get_kind_display()}."})
    equipment: dict[str, list[Equipment]] = defaultdict(list)
    for piece in Equipment.objects.filter(system=system).order_by("tag"):
        equipment[piece.kind].append(piece)
    counts = {"added": 0, "changed": 0, "retired": 0, "same": 0, "judged": 0}
    for stage in system.stages.exclude(state=StageState.ACCEPTED):
        _lay_out_stage(stage, procedure, equipment, counts)
    record(
        project=system.project,
        actor=actor,
        action="procedure_applied",
        on=system,
        system=system.pk,
        words=f"Laid out {procedure.title} on {system.tag}: {counts['added']} added, {counts['changed']} changed.",
        data={"procedure": procedure.pk, "revision": procedure.revision, **counts},
    )
    if counts["judged"]:
        verify_what_it_touches(
            actor=actor,
            project=system.project,
            reason=f"Limits or inputs of {procedure.title} changed on {system.tag}",
            scope={"system": str(system.pk)},
        )
    return counts


def _lay_out_stage(
    stage: Stage, procedure: Procedure, equipment: Mapping[str, list[Equipment]], counts: dict[str, int]
) -> None:
    lines = {row.key: row for row in procedure.lines.filter(stage_kind=stage.kind).order_by("order")}
    shapes = [LineShape(row.key, row.equipment_kind, row.repeat) for row in lines.values()]
    there = {(row.key, row.equipment_id): row for row in stage.lines.filter(retired_at__isnull=True)}
    recorded = set(stage.lines.filter(results__isnull=False).values_list("pk", flat=True)) | set(
        stage.lines.filter(readings__isnull=False).values_list("pk", flat=True)
    )
    version = f"{procedure.source_version}.{procedure.revision}"
    new: list[CheckLine] = []
    for place, placed in enumerate(lay_out(shapes, equipment), start=1):
        source = lines[placed.key]
        values = {name: getattr(source, name) for name in CONTENT_FIELDS}
        values |= {"order": place * ORDER_STEP, "procedure_key": procedure.key, "procedure_version": version}
        row = there.pop((placed.key, placed.equipment.pk if placed.equipment else None), None)
        if row is None:
            new.append(CheckLine(stage=stage, key=placed.key, equipment=placed.equipment, **values))
        else:
            _refresh(row, values, keep=row.pk in recorded, counts=counts)
    CheckLine.objects.bulk_create(new)
    counts["added"] += len(new)
    for row in there.values():
        _retire(row, keep=row.pk in recorded)
        counts["retired"] += 1


def _refresh(row: CheckLine, values: dict[str, Any], *, keep: bool, counts: dict[str, int]) -> None:
    """A line without a record takes the new content; one with a record keeps the content it was done by."""
    changed = [name for name, value in values.items() if getattr(row, name) != value and name != "procedure_version"]
    if not changed or (keep and row.state != LineState.OPEN):
        # What it was done by stays; what it is judged by follows the procedure, and its reading is verified again.
        judged = [name for name in ("order", "inputs", "limits") if name in changed]
        for field in judged:
            setattr(row, field, values[field])
        if judged:
            row.save(update_fields=judged)
        counts["judged"] += bool({"inputs", "limits"} & set(judged))
        counts["same"] += 1
        return
    for name, value in values.items():
        setattr(row, name, value)
    row.save(update_fields=list(values))
    counts["changed"] += 1


def _retire(row: CheckLine, *, keep: bool) -> None:
    if keep:
        row.retired_at = timezone.now()
        row.save(update_fields=["retired_at"])
    else:
        row.delete()
