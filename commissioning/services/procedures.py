"""Procedures: copied into a project, edited there, compared with a newer version, laid out on systems."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import replace
from typing import Any
from uuid import UUID

from django.utils import timezone

from commissioning.errors import InvalidInput
from commissioning.models import (
    Procedure,
    ProcedureLine,
    Project,
    User,
)
from commissioning.procedures.calculating import line_problems
from commissioning.procedures.loader import (
    InputSource,
    LimitData,
    LineData,
    LineDifference,
    ProcedureData,
    bundled,
    differences,
    load,
)
from commissioning.services.audit import record
from commissioning.services.locks import lock_project
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.procedure_layout import apply_procedure
from commissioning.services.procedure_lines import CONTENT_FIELDS, ORDER_STEP, line_fields
from commissioning.services.repeats import already_made
from commissioning.services.state_change import state_change

__all__ = [
    "add_line",
    "apply_procedure",
    "as_data",
    "compare_with_bundled",
    "copy_procedure",
    "edit_line",
    "newest_version",
    "news_of",
    "own_edits",
    "place_line",
    "remove_line",
    "take_over_version",
]

#: Fields that decide whether a line can be calculated.
CALCULATING = frozenset({"calculation", "inputs", "limits"})


def as_data(procedure: Procedure) -> ProcedureData:
    """A project's copy in the shape of a bundled procedure, to be compared with one."""
    source = load(procedure.key, procedure.source_version)
    lines = tuple(_line_data(row) for row in procedure.lines.order_by("order"))
    return replace(source, title=procedure.title, lines=lines)


def _line_data(row: ProcedureLine) -> LineData:
    plain = {name: getattr(row, name) for name in CONTENT_FIELDS if name not in ("inputs", "limits")}
    return LineData(
        **plain,
        key=row.key,
        stage=row.stage_kind,
        equipment=row.equipment_kind,
        repeat=row.repeat,
        inputs=tuple(InputSource(name=name, **spec) for name, spec in row.inputs.items()),
        limits=tuple(LimitData(**limit) for limit in row.limits),
    )


@state_change()
def copy_procedure(*, actor: User, project: Project, key: str, version: int | None = None) -> Procedure:
    """Copy a bundled procedure into the project, where it may be edited. Copying it again answers the copy."""
    project = lock_project(project.pk)
    require(actor=actor, project=project, roles=MANAGERS, site=None, to="copy a procedure")
    if found := Procedure.objects.filter(project=project, key=key).first():
        return found
    try:
        source = load(key, version)
    except LookupError as error:
        raise InvalidInput({"key": str(error)}) from error
    procedure = Procedure.objects.create(
        project=project,
        key=key,
        title=source.title,
        system_kind=source.system_kind,
        source_version=source.version,
        source_hash=source.content_hash,
    )
    _write_lines(procedure, source)
    record(
        project=project,
        actor=actor,
        action="procedure_copied",
        on=procedure,
        words=f"Copied procedure {source.title}, version {source.version}.",
        data={"key": key, "version": source.version, "hash": source.content_hash},
    )
    return procedure


def _write_lines(procedure: Procedure, source: ProcedureData) -> None:
    ProcedureLine.objects.bulk_create(
        ProcedureLine(
            procedure=procedure,
            key=line.key,
            order=place * ORDER_STEP,
            stage_kind=line.stage,
            equipment_kind=line.equipment,
            repeat=line.repeat,
            **line_fields(line),
        )
        for place, line in enumerate(source.lines, start=1)
    )


def newest_version(key: str) -> int:
    return max(procedure.version for procedure in bundled() if procedure.key == key)


def compare_with_bundled(*, procedure: Procedure, version: int | None = None) -> list[LineDifference]:
    """What taking over a bundled version would change in the project's copy."""
    return differences(as_data(procedure), load(procedure.key, version))


def news_of(*, procedure: Procedure, version: int) -> list[LineDifference]:
    """What a bundled version changed since the version that the project copied."""
    return differences(load(procedure.key, procedure.source_version), load(procedure.key, version))


def own_edits(*, procedure: Procedure) -> list[LineDifference]:
    """What the project itself changed since it copied the procedure."""
    return differences(load(procedure.key, procedure.source_version), as_data(procedure))


@state_change()
def take_over_version(
    *, actor: User, procedure: Procedure, version: int, keys: Collection[str] | None = None
) -> Procedure:
    """Take over what a bundled version changed since the one copied, or only the lines named.

    Lines of the project's own, and its edits of lines that the version left alone, stay.
    """
    project = lock_project(procedure.project_id)
    require(actor=actor, project=project, roles=MANAGERS, site=None, to="take over a procedure version")
    source = load(procedure.key, version)
    differing = {difference.key for difference in compare_with_bundled(procedure=procedure, version=version)}
    issued = {difference.key for difference in news_of(procedure=procedure, version=version)}
    chosen = differing & (issued if keys is None else set(keys))
    wanted = {line.key: line for line in source.lines}
    places = {line.key: place * ORDER_STEP for place, line in enumerate(source.lines, start=1)}
    rows = {row.key: row for row in procedure.lines.all()}
    for key in chosen:
        if key not in wanted:
            rows[key].delete()
            continue
        line = wanted[key]
        ProcedureLine.objects.update_or_create(
            procedure=procedure,
            key=key,
            defaults={
                "order": places[key],
                "stage_kind": line.stage,
                "equipment_kind": line.equipment,
                "repeat": line.repeat,
                **line_fields(line),
            },
        )
    if keys is None:
        procedure.source_version, procedure.source_hash = source.version, source.content_hash
        _renumber(procedure, source)
    _edited(procedure, actor, f"Took over {len(chosen)} lines of version {version}.", {"lines": sorted(chosen)})
    return procedure


def _renumber(procedure: Procedure, source: ProcedureData) -> None:
    """All lines in the version's order; each line of the project's own stays behind the line that it followed."""
    rows = list(procedure.lines.order_by("order"))
    places = {line.key: place for place, line in enumerate(source.lines, start=1)}
    behind = 0.0
    order: dict[str, tuple[float, int]] = {}
    for number, row in enumerate(rows):
        behind = places.get(row.key, behind)
        order[row.key] = (behind, 0 if row.key in places else number + 1)
    for place, row in enumerate(sorted(rows, key=lambda row: order[row.key]), start=1):
        row.order = place * ORDER_STEP
    ProcedureLine.objects.bulk_update(rows, ["order"])


@state_change()
def edit_line(*, actor: User, line: ProcedureLine, changes: Mapping[str, Any]) -> ProcedureLine:
    """Change what a line of the project's copy says. Check lines already laid out change when it is applied again."""
    project = lock_project(line.procedure.project_id)
    require(actor=actor, project=project, roles=MANAGERS, site=None, to="edit a procedure")
    allowed = {*CONTENT_FIELDS, "order", "equipment_kind", "repeat"}
    if unknown := set(changes) - allowed:
        raise InvalidInput({name: "This field of a line cannot be edited." for name in sorted(unknown)})
    if "title" in changes and not str(changes["title"]).strip():
        raise InvalidInput({"title": "Say in a few words what is to be done."})
    changes = {name: value for name, value in changes.items() if getattr(line, name) != value}
    if not changes:
        return line
    before = {name: getattr(line, name) for name in changes}
    for name, value in changes.items():
        setattr(line, name, value)
    if CALCULATING & set(changes):
        _refuse_what_cannot_be_calculated(line)
    line.save(update_fields=list(changes))
    _edited(
        line.procedure, actor, f"Edited line {line.key}.", {"line": line.key, "before": before, "after": dict(changes)}
    )
    return line


def _refuse_what_cannot_be_calculated(line: ProcedureLine) -> None:
    if problems := line_problems(line.calculation, line.inputs, line.limits):
        raise InvalidInput(problems)


@state_change()
def place_line(*, actor: User, line: ProcedureLine, after: str) -> ProcedureLine:
    """Put a line behind the line of that key, of the same stage; with no key, at the head of its stage."""
    project = lock_project(line.procedure.project_id)
    require(actor=actor, project=project, roles=MANAGERS, site=None, to="edit a procedure")
    before = list(line.procedure.lines.order_by("order", "key"))
    rows = [row for row in before if row.pk != line.pk]
    line = next(row for row in before if row.pk == line.pk)
    same_stage = [row.key for row in rows if row.stage_kind == line.stage_kind]
    if after and after not in same_stage:
        raise InvalidInput({"after": "Choose a line of the same stage. A line of another stage is another line."})
    keys = [row.key for row in rows]
    first = keys.index(same_stage[0]) if same_stage else before.index(line)
    rows.insert(keys.index(after) + 1 if after else first, line)
    if [row.pk for row in rows] == [row.pk for row in before]:
        return line
    for number, row in enumerate(rows, start=1):
        row.order = number * ORDER_STEP
    ProcedureLine.objects.bulk_update(rows, ["order"])
    words = f"Moved line {line.key} {'behind ' + after if after else 'to the head of its stage'}."
    _edited(line.procedure, actor, words, {"line": line.key, "after": after})
    return line


@state_change()
def add_line(
    *, actor: User, procedure: Procedure, stage_kind: str, after: str = "", id: UUID | None = None, **content: Any
) -> ProcedureLine:
    """Add a line of the project's own, after the line of that key, or at the end of its stage."""
    if found := already_made(ProcedureLine, id, procedure_id=procedure.pk, stage_kind=stage_kind, **content):
        return found
    project = lock_project(procedure.project_id)
    require(actor=actor, project=project, roles=MANAGERS, site=None, to="edit a procedure")
    if not str(content.get("title", "")).strip():
        raise InvalidInput({"title": "Say in a few words what is to be done."})
    if stage_kind not in load(procedure.key, procedure.source_version).stages:
        raise InvalidInput({"stage_kind": f"{procedure.title} has no such stage."})
    rows = list(procedure.lines.order_by("order"))
    if after and all(row.key != after for row in rows):
        raise InvalidInput({"after": "There is no line of this key. Leave it out to add at the end of the stage."})
    own = sum(row.key.startswith("own-") for row in rows) + 1
    while any(row.key == f"own-{own:03d}" for row in rows):
        own += 1
    place = next((n for n, row in enumerate(rows, start=1) if row.key == after), None)
    if place is None:
        place = max((n for n, row in enumerate(rows, start=1) if row.stage_kind == stage_kind), default=len(rows))
    line = ProcedureLine(procedure=procedure, key=f"own-{own:03d}", stage_kind=stage_kind, order=0, **content)
    if id is not None:
        line.pk = id
    _refuse_what_cannot_be_calculated(line)
    rows.insert(place, line)
    for number, row in enumerate(rows, start=1):
        row.order = number * ORDER_STEP
    line.save(force_insert=True)
    ProcedureLine.objects.bulk_update([row for row in rows if row is not line], ["order"])
    _edited(procedure, actor, f"Added line {line.key}: {line.title}.", {"line": line.key})
    return line


@state_change()
def remove_line(*, actor: User, line: ProcedureLine, reason: str) -> None:
    """Take a line out of the project's copy, with a reason."""
    project = lock_project(line.procedure.project_id)
    require(actor=actor, project=project, roles=MANAGERS, site=None, to="edit a procedure")
    if not reason.strip():
        raise InvalidInput({"reason": "Say why the project leaves this line out."})
    procedure, key, title = line.procedure, line.key, line.title
    line.delete()
    _edited(procedure, actor, f"Removed line {key} ({title}): {reason}", {"line": key, "reason": reason})


def _edited(procedure: Procedure, actor: User, words: str, data: dict[str, Any]) -> None:
    procedure.revision += 1
    procedure.edited_at = timezone.now()
    procedure.save(update_fields=["revision", "edited_at", "source_version", "source_hash"])
    record(
        project=procedure.project_id,
        actor=actor,
        action="procedure_edited",
        on=procedure,
        words=f"{procedure.title}: {words}",
        data=data,
    )
