"""A hash of each table's rows, the same for the same rows whatever order they were written in."""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

from django.db import connection

#: What changes by itself while nothing happens: who was seen when, and sessions that come and go.
PASSING = frozenset({"deploy_lastseen", "django_session"})

Digests = dict[str, dict[str, object]]


def tables() -> list[str]:
    """Every table of the database but the passing ones."""
    return sorted(set(connection.introspection.table_names()) - PASSING)


def digests() -> Digests:
    """Rows and hash of every table of PostgreSQL, as the transaction that asks sees them."""
    return {name: _digest(_rows(name)) for name in tables()}


def differences(expected: Mapping[str, Mapping[str, object]], found: Mapping[str, Mapping[str, object]]) -> list[str]:
    """What is not the same, in words."""
    words = [f"the table {name} is missing" for name in sorted(set(expected) - set(found))]
    words += [f"the table {name} was not in the backup" for name in sorted(set(found) - set(expected))]
    for name in sorted(set(expected) & set(found)):
        if expected[name] != found[name]:
            words.append(f"{name}: {expected[name]['rows']} rows were kept, {found[name]['rows']} others are there")
    return words


def _digest(rows: Iterable[bytes]) -> dict[str, object]:
    """The sum of the rows' own hashes: no sorting, so that a large table needs no memory."""
    total, count = 0, 0
    for row in rows:
        total = (total + int.from_bytes(hashlib.sha256(row).digest(), "big")) % (1 << 256)
        count += 1
    return {"rows": count, "sha256_sum": f"{total:064x}"}


def _rows(table: str) -> Iterator[bytes]:
    """The table's rows as bytes. Columns go by name: one that was added later stands elsewhere in an older table."""
    with connection.cursor() as cursor:
        described = connection.introspection.get_table_description(cursor, table)
        columns = ", ".join(connection.ops.quote_name(name) for name in sorted(one.name for one in described))
        query = f"SELECT {columns} FROM {connection.ops.quote_name(table)}"  # noqa: S608 (names of the catalogue)
        cursor.execute("SET LOCAL TimeZone = 'UTC'")
        with cursor.copy(f"COPY ({query}) TO STDOUT") as copy:
            yield from _lines(copy)


def digests_of_sqlite(path: str | Path) -> Digests:
    """The same of a SQLite file, read as it lies there."""
    with closing(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)) as file:
        file.text_factory = bytes
        names = {row[0].decode() for row in file.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
        wanted = sorted(name for name in names - PASSING if not name.startswith("sqlite_"))
        return {name: _digest(_sqlite_rows(file, name)) for name in wanted}


def _sqlite_rows(file: sqlite3.Connection, table: str) -> Iterator[bytes]:
    columns = sorted(row[1].decode() for row in file.execute(f'PRAGMA table_info("{table}")'))
    listed = ", ".join(f'"{name}"' for name in columns)
    for row in file.execute(f'SELECT {listed} FROM "{table}"'):  # noqa: S608 (names of the catalogue)
        yield repr(row).encode()


def _lines(blocks: Iterable[bytes | memoryview]) -> Iterator[bytes]:
    """PostgreSQL's text copy is a row a line: a line break inside a value is written as \\n."""
    rest = b""
    for block in blocks:
        *lines, rest = (rest + bytes(block)).split(b"\n")
        yield from lines
    if rest:
        yield rest
