"""Very many rows, quickly: COPY on PostgreSQL, one prepared statement on SQLite."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from itertools import islice
from typing import Any
from uuid import UUID
from zlib import crc32

from django.db import connection
from django.db.models import Model

CHUNK = 5000
#: The moment in every key (milliseconds since 1970): 2026-01-01.
EPOCH = 1_767_225_600_000


class Keys:
    """Keys like those of `new_id`, in order, the same for the same project code and seed."""

    def __init__(self, code: str, seed: int) -> None:
        fixed = (EPOCH << 80) | (7 << 76) | (0b10 << 62)
        self.next = (
            fixed | (crc32(f"{code}:{seed}".encode()) << 64 & 0xFFF << 64) | (crc32(code.encode()) & 0x3FFFF) << 44
        )

    def __call__(self) -> UUID:
        self.next += 1
        return UUID(int=self.next)


def write(model: type[Model], names: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Put the rows into the table of the model; `names` are columns, JSON comes as text."""
    table = connection.ops.quote_name(model._meta.db_table)
    columns = ", ".join(connection.ops.quote_name(name) for name in names)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
            return
        marks = ", ".join(["%s"] * len(names))
        found = iter(rows)
        while some := [tuple(_plain(value) for value in row) for row in islice(found, CHUNK)]:
            cursor.executemany(f"INSERT INTO {table} ({columns}) VALUES ({marks})", some)  # noqa: S608 (names only)


def _plain(value: Any) -> Any:
    """As SQLite keeps it."""
    if isinstance(value, UUID):
        return value.hex
    if isinstance(value, datetime):
        return value.astimezone(UTC).replace(tzinfo=None).isoformat(sep=" ")
    return value
