"""A row as a line of JSON and back: every value as it is in the record, nothing rounded, nothing translated."""

from __future__ import annotations

import base64
import json
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import BinaryField, DurationField, Field, ForeignKey, JSONField, Model
from django.utils.dateparse import parse_duration
from django.utils.duration import duration_iso_string

from commissioning.models import Project

from .tables import Table

CHUNK = 2000


def lines(table: Table, project: Project) -> Iterator[tuple[dict[str, Any], bytes]]:
    """Each row of the table with its line."""
    names = [field.attname for field in table.fields]
    for values in table.rows(project).values_list(*names).iterator(chunk_size=CHUNK):
        row = {name: plain(value) for name, value in zip(names, values, strict=True)}
        yield row, line_of(row)


def line_of(row: Mapping[str, Any]) -> bytes:
    """Sorted keys, no spaces: the same row is the same line."""
    return json.dumps(row, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode() + b"\n"


def plain(value: Any) -> Any:
    """A value as JSON has it."""
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return duration_iso_string(value)
    if isinstance(value, UUID | Decimal):
        return str(value)
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(bytes(value)).decode()
    return value


def record_of(model: type[Model], fields: Sequence[Field[Any, Any]], row: Mapping[str, Any]) -> Model:
    """The record that a line describes. Raises KeyError or ValueError where it does not fit the model."""
    if set(row) != {field.attname for field in fields}:
        raise ValueError(f"a row of {model._meta.label_lower} has other fields than this version: {sorted(row)}")
    record = model()
    for field in fields:
        setattr(record, field.attname, value_of(field, row[field.attname]))
    return record


def value_of(field: Field[Any, Any], value: Any) -> Any:
    """A value of JSON as the model has it."""
    if value is None or isinstance(field, JSONField):
        return value
    if isinstance(field, BinaryField):
        return base64.b64decode(value)
    if isinstance(field, DurationField):
        return parse_duration(value)
    target = field.target_field if isinstance(field, ForeignKey) else field
    return target.to_python(value)
