"""The index of the search: laid down after every migration, made anew, and compared with the record."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from django.db import connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper

from commissioning.finding import postgres, sqlite
from commissioning.finding.source import COLUMNS, ENTRY, WORD, sources

EVERYTHING = "1 = 1"


def lay_down(connection: BaseDatabaseWrapper) -> bool:
    """See that triggers and indexes stand as they are defined here; True when they had to be made."""
    tables = {ENTRY, *(feed.table for source in sources() for feed in source.every_feed())}
    if not tables <= set(connection.introspection.table_names()):
        return False  # a database on its way back to an older version
    wanted = _laying_down(connection)
    kept = postgres if connection.vendor == "postgresql" else sqlite
    if kept.up_to_date(connection, wanted):
        return False
    with transaction.atomic(using=connection.alias):
        _run(connection, [*kept.taking_away(sources()), *wanted])
        if connection.vendor == "postgresql":
            postgres.mark(connection, wanted)
    return True


def step_aside(connection: BaseDatabaseWrapper) -> None:
    """SQLite makes a table anew to change it, and refuses while a trigger elsewhere speaks of it."""
    if connection.vendor == "sqlite":
        _run(connection, sqlite.taking_away(sources()))


@contextmanager
def set_aside(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """While very many rows are brought in: nothing follows them one by one, and the index is made anew at the end."""
    kept = postgres if connection.vendor == "postgresql" else sqlite
    _run(connection, kept.taking_away(sources()))
    yield
    lay_down(connection)
    rebuild(connection)


def rebuild(connection: BaseDatabaseWrapper | None = None) -> int:
    """Write every entry and every word anew; how many there are. Nobody finds anything until it has ended."""
    connection = connection or connections["default"]
    with transaction.atomic(using=connection.alias):
        trigrams = connection.vendor == "postgresql" and postgres.has_trigrams(connection)
        if trigrams:  # an index is made quicker than it is kept
            _run(connection, postgres.dropping_indexes(sources()))
        _run(connection, [f"DELETE FROM {ENTRY}", f"DELETE FROM {WORD}"])
        _run(connection, [f"{source.write(EVERYTHING)}" for source in sources()])
        if trigrams:
            _run(connection, postgres.indexes(sources()))
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT COUNT(*) FROM {ENTRY}")
            return int(cursor.fetchone()[0])


def differences(connection: BaseDatabaseWrapper | None = None) -> int:
    """How many entries are missing, too many, or not as the record has them."""
    connection = connection or connections["default"]
    names = COLUMNS.replace("site_id", "CAST(site_id AS text)")
    there = f"SELECT {names} FROM {ENTRY}"
    due = " UNION ALL ".join(
        f"SELECT {names} FROM (WITH due ({COLUMNS}) AS ({source.select(EVERYTHING)}) SELECT * FROM due) {source.kind}s"
        for source in sources()
    )
    with connection.cursor() as cursor:
        count = 0
        for more, less in ((there, due), (due, there)):
            cursor.execute(f"SELECT COUNT(*) FROM (SELECT * FROM ({more}) a EXCEPT SELECT * FROM ({less}) b) c")
            count += int(cursor.fetchone()[0])
        return count


def _laying_down(connection: BaseDatabaseWrapper) -> list[str]:
    if connection.vendor == "postgresql":
        return postgres.laying_down(sources(), trigrams=postgres.has_trigrams(connection))
    return sqlite.laying_down(sources())


def _run(connection: BaseDatabaseWrapper, statements: Iterable[str]) -> None:
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)
