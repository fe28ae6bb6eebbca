"""What the services of the register share: cleaning what was typed by the workbook's own columns, saving, recording."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping
from enum import Enum
from typing import Any, Final, Literal, TypeVar
from uuid import UUID

from django.db.models import Model

from commissioning.errors import InvalidInput
from commissioning.models import AuditEntry, Project, User
from commissioning.models.base import Record
from commissioning.register_import.columns import BadCell, Column, is_empty
from commissioning.register_import.sheet import NAMEPLATE, Sheet
from commissioning.rules.gate_parts import PARTS
from commissioning.services.audit import canonical_json, record
from commissioning.services.repeats import already_made, refuse_other_content

RecordT = TypeVar("RecordT", bound=Record)


class _Keep(Enum):
    KEEP = "keep"


#: "Leave it as it is", where None or empty text means "nothing".
KEEP: Final = _Keep.KEEP
Keep = Literal[_Keep.KEEP]


def clean(sheet: Sheet, typed: Mapping[str, Any]) -> dict[str, Any]:
    """Each value as the register keeps it, or InvalidInput with a sentence a field. KEEP is passed over.

    `nameplate` is a mapping by nameplate key; typed text may carry units.
    """
    problems: dict[str, str] = {}
    values: dict[str, Any] = {}
    for name, raw in typed.items():
        if raw is KEEP:
            continue
        if name == "nameplate":
            values[name] = _nameplate(sheet, raw, problems)
        elif (column := sheet.by_name.get(name)) is not None:
            values[name] = _clean_one(column, raw, name, problems)
        else:
            values[name] = raw
    if problems:
        raise InvalidInput(problems)
    return values


def _clean_one(column: Column, raw: Any, field: str, problems: dict[str, str]) -> Any:
    if is_empty(raw):
        if column.required or column.choices:
            problems[field] = f"Give the {column.heading}. {column.help}"
        return "" if column.default is None else column.default
    try:
        return column.read(raw)
    except BadCell as error:
        problems[field] = f"{error.wrong[:1].upper()}{error.wrong[1:]}: {error.right.rstrip('.')}."
        return None


def _nameplate(sheet: Sheet, typed: Mapping[str, Any], problems: dict[str, str]) -> dict[str, Any]:
    cleaned: dict[str, Any] = {}
    for key, raw in typed.items():
        column = sheet.by_name.get(NAMEPLATE + key)
        if column is None:
            problems[key] = f"There is no nameplate entry '{key}'."
        elif not is_empty(raw):
            cleaned[key] = _clean_one(column, raw, key, problems)
    return cleaned


def already_added(model: type[RecordT], id: UUID | None, /, **same: Any) -> RecordT | None:
    """What an earlier send of this UUID added. It may have been changed since, so the audit says what was sent then."""
    found = already_made(model, id)
    if found is None:
        return None
    entries = AuditEntry.objects.filter(object_type=model._meta.label_lower, object_id=str(found.pk))
    first: dict[str, Any] = entries.order_by("sequence").values_list("data", flat=True).first() or {}
    if any(name not in first or first[name] != value for name, value in json.loads(canonical_json(same)).items()):
        refuse_other_content()
    return found


def refuse_taken(model: type[Model], *, field: str, except_pk: UUID | None = None, **same: Any) -> None:
    """InvalidInput when another row has the key already."""
    if model._default_manager.filter(**same).exclude(pk=except_pk).exists():
        raise InvalidInput({field: f"{same[field]} is taken. Choose another, or change what is recorded under it."})


def save_new(
    one: RecordT,
    *,
    project: Project,
    actor: User,
    action: str,
    system: UUID | None = None,
    id: UUID | None = None,
    touches: Collection[str] = PARTS,
) -> RecordT:
    if id is not None:
        one.pk = id
    one.save(force_insert=True)
    words = f"Added {type(one)._meta.verbose_name} {one}."
    record(
        project=project,
        actor=actor,
        action=action,
        on=one,
        system=system,
        words=words,
        data=_data(one),
        touches=touches,
    )
    return one


def save_changes(
    one: RecordT,
    values: Mapping[str, Any],
    *,
    project: Project,
    actor: User,
    action: str,
    system: UUID | None = None,
    touches: Collection[str] = PARTS,
) -> RecordT:
    """Set and save what differs; the audit keeps both values. What does not differ is no change at all."""
    changes = {name: [getattr(one, name), new] for name, new in values.items() if getattr(one, name) != new}
    if not changes:
        return one
    for name, (_, new) in changes.items():
        setattr(one, name, new)
    one.save(update_fields=list(changes))
    named = ", ".join(name.removesuffix("_id").replace("_", " ") for name in changes)
    words = f"Changed {type(one)._meta.verbose_name} {one}: {named}."
    record(
        project=project,
        actor=actor,
        action=action,
        on=one,
        system=system,
        words=words,
        data={"changes": changes},
        touches=touches,
    )
    return one


def _data(one: Record) -> dict[str, Any]:
    return {field.attname: getattr(one, field.attname) for field in one._meta.concrete_fields if field.name != "id"}
