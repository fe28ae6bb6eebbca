"""What stands in a database and in a folder, counted and hashed without the product: a drill's own eyes."""

from __future__ import annotations

import hashlib
from pathlib import Path

import psycopg
from psycopg import sql

#: What changes by itself while nothing happens.
PASSING = frozenset({"deploy_lastseen", "django_session"})
_HASHED = sql.SQL(
    "SELECT count(*), encode(sha256(convert_to(coalesce(string_agg(row, E'\\n' ORDER BY row COLLATE \"C\"), ''), "
    "'UTF8')), 'hex') FROM (SELECT t::text AS row FROM {} t) AS every"
)
Counted = dict[str, tuple[int, str]]


def counted_tables(url: str) -> Counted:
    """Rows of each table, and PostgreSQL's own SHA-256 over them in the order of their text."""
    found: Counted = {}
    with psycopg.connect(url, options="-c timezone=UTC") as connection:
        names = connection.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1").fetchall()
        for (name,) in names:
            if name not in PASSING:
                row = connection.execute(_HASHED.format(sql.Identifier(name))).fetchone()
                assert row is not None  # noqa: S101 (an aggregate answers with one row)
                found[str(name)] = (int(row[0]), str(row[1]))
    return found


def counted_triggers(url: str) -> set[str]:
    with psycopg.connect(url) as connection:
        rows = connection.execute("SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'")
        return {str(row[0]) for row in rows}


def hashed_files(folder: Path) -> dict[str, str]:
    """SHA-256 of each file below the folder."""
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}
