"""The database out and in: pg_dump and pg_restore on PostgreSQL, the online backup of SQLite."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from django.db import connection, connections, transaction

from commissioning.services.dossier_build import one_snapshot
from deploy.operations.backup.digest import Digests, digests, digests_of_sqlite

NAMES = {"postgresql": "database.dump", "sqlite": "database.sqlite3"}


class CannotDump(Exception):
    """The database's own tools did not do it; the words say what they said."""


def file_name() -> str:
    return NAMES[connection.vendor]


@contextmanager
def dumped(folder: Path) -> Iterator[Digests]:
    """Dump the database, and hash its tables in the very snapshot that was dumped."""
    if connection.vendor == "sqlite":
        yield _dump_sqlite(folder / file_name())
        return
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            cursor.execute("SELECT pg_export_snapshot()")
            snapshot = cursor.fetchone()[0]
        _run("pg_dump", "--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}",
             f"--file={folder / file_name()}")  # fmt: skip
        yield digests()


def restore(folder: Path) -> None:
    """Put the dump in the place of what is there, in one transaction: all of it or nothing."""
    connections.close_all()
    if connection.vendor == "sqlite":
        with closing(sqlite3.connect(folder / file_name())) as source, connection.cursor() as cursor:
            source.backup(cursor.connection)
        connections.close_all()
        return
    _run("psql", "--no-psqlrc", "--quiet", "--single-transaction", "--set=ON_ERROR_STOP=1",
         stdin=_script(folder / file_name()))  # fmt: skip


def _script(dump: Path) -> Iterator[bytes]:
    """SQL that empties the schema and fills it from the dump."""
    yield b"SET lock_timeout = '60s'; DROP SCHEMA public CASCADE; CREATE SCHEMA public;\n"
    command = [_program("pg_restore"), "--no-owner", "--no-privileges", "--file=-", str(dump)]
    with tempfile.TemporaryFile() as said:
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=said)
        assert process.stdout is not None  # noqa: S101 (asked for above)
        rows = False
        for line in process.stdout:
            rows = rows or line.startswith(b"COPY ")
            if rows or line != b"CREATE SCHEMA public;\n":  # a dump may hold it, and it is there already
                yield line
        if process.wait():
            said.seek(0)
            raise CannotDump(f"pg_restore: {said.read().decode().strip()}")


def holds_records() -> bool:
    """True where anybody's work stands in the database; a fresh installation has none."""
    names = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for table in ("commissioning_project", "commissioning_user"):
            if table in names:
                cursor.execute(f"SELECT 1 FROM {connection.ops.quote_name(table)} LIMIT 1")  # noqa: S608 (fixed names)
                if cursor.fetchone():
                    return True
    return False


def digests_now() -> Digests:
    """Rows and hash of every table as it stands."""
    if connection.vendor == "sqlite":
        return digests_of_sqlite(connection.settings_dict["NAME"])
    with one_snapshot():
        return digests()


def size_in_bytes() -> int:
    """How much the database takes on its disk."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SELECT pg_database_size(current_database())")
        else:
            cursor.execute("SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()")
        return int(cursor.fetchone()[0])


def _dump_sqlite(path: Path) -> Digests:
    with connection.cursor() as cursor, closing(sqlite3.connect(path)) as target:
        cursor.connection.backup(target)
        target.execute("PRAGMA journal_mode=DELETE")
    return digests_of_sqlite(path)


def _environment() -> dict[str, str]:
    """The connection as libpq's own variables: nothing secret on a command line."""
    given: dict[str, Any] = connection.settings_dict
    named = {"PGHOST": "HOST", "PGPORT": "PORT", "PGUSER": "USER", "PGPASSWORD": "PASSWORD", "PGDATABASE": "NAME"}
    env = {name: str(given[key]) for name, key in named.items() if given.get(key)}
    options = given.get("OPTIONS", {})
    for name in ("sslmode", "sslrootcert", "sslcert", "sslkey"):
        if name in options:
            env[f"PG{name.upper()}"] = str(options[name])
    return {**os.environ, **env, "PGCONNECT_TIMEOUT": "10"}


def _program(name: str) -> str:
    found = shutil.which(name)
    if found is None:
        raise CannotDump(f"{name} is not on this machine: install PostgreSQL's client programs.")
    return found


def _run(program: str, *arguments: str, stdin: Iterator[bytes] | None = None) -> None:
    process = subprocess.Popen(
        [_program(program), "--no-password", *arguments],
        stdin=subprocess.PIPE if stdin else subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env=_environment(),
    )
    try:
        if stdin is not None and process.stdin is not None:
            for line in stdin:
                process.stdin.write(line)
            process.stdin.close()
    except BrokenPipeError:
        pass  # it ended early, and says why
    except CannotDump:
        process.kill()
        process.wait()
        raise
    assert process.stderr is not None  # noqa: S101 (asked for above)
    said = process.stderr.read().decode()
    if process.wait():
        raise CannotDump(f"{program}: {said.strip()}")
