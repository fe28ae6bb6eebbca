"""Triggers and indexes of the search on PostgreSQL: transition tables for what comes and goes, rows for what changes.

Words are matched by trigrams where the extension pg_trgm is there; without it everything is still found, only slower.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator

from django.db.backends.base.base import BaseDatabaseWrapper

from commissioning.finding.source import ENTRY, WORD, Feed, Source

WITHOUT = (
    "PostgreSQL's extension pg_trgm is not there, so the search is slow in a large project. This role may not create "
    "it. Ask the owner of the database to run CREATE EXTENSION pg_trgm, then run manage.py find_rebuild."
)
_MARK = "laid down as"


def up_to_date(connection: BaseDatabaseWrapper, wanted: list[str]) -> bool:
    """True when everything stands as these statements lay it down, and nobody has taken a trigger away."""
    made = sum(statement.startswith("CREATE TRIGGER") for statement in wanted)
    with connection.cursor() as cursor:
        cursor.execute("SELECT obj_description(%s::regclass)", [ENTRY])
        marked = cursor.fetchone()[0]
        cursor.execute(
            "SELECT COUNT(*) FROM pg_trigger WHERE (tgname LIKE 'find\\_%%' OR tgname LIKE %s) AND tgenabled <> 'D'",
            [f"{ENTRY}%"],
        )
        return bool(marked == _mark(wanted) and cursor.fetchone()[0] == made)


def mark(connection: BaseDatabaseWrapper, wanted: list[str]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(f"COMMENT ON TABLE {ENTRY} IS '{_mark(wanted)}'")


def has_trigrams(connection: BaseDatabaseWrapper) -> bool:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1 FROM pg_extension WHERE extname = 'pg_trgm'")
        return cursor.fetchone() is not None


def taking_away(found: tuple[Source, ...]) -> list[str]:
    """Every trigger of these sources, where it is there."""
    triggers = [(table, name) for source in found for table, name in _names(source)]
    triggers += [(ENTRY, f"{ENTRY}_words_{deed}") for deed in ("insert", "update")]
    return [f"DROP TRIGGER IF EXISTS {name} ON {table}" for table, name in triggers]


def laying_down(found: tuple[Source, ...], *, trigrams: bool) -> list[str]:
    """The statements that create functions, triggers and indexes."""
    statements = [one for source in found for one in _source(source)]
    statements += _words(found)
    for name, column in (("find_by_name", "title"), ("find_by_tag", "tag")):
        statements += [
            f"DROP INDEX IF EXISTS {name}",
            f'CREATE INDEX {name} ON {ENTRY} (project_id, kind, ({column} COLLATE "C"), id)',
        ]
    return statements + (indexes(found) if trigrams else [])


def indexes(found: tuple[Source, ...]) -> list[str]:
    """One index of trigrams a kind: a word that is common in one kind costs nothing in another."""
    return [
        *(
            f"CREATE INDEX IF NOT EXISTS {_index(source)} ON {ENTRY} USING gin (words gin_trgm_ops) "
            f"WHERE kind = '{source.kind}'"
            for source in found
        ),
        f"CREATE INDEX IF NOT EXISTS find_near ON {WORD} USING gin (word gin_trgm_ops)",
    ]


def dropping_indexes(found: tuple[Source, ...]) -> list[str]:
    return [f"DROP INDEX IF EXISTS {name}" for name in (*map(_index, found), "find_near")]


def _index(source: Source) -> str:
    return f"find_in_{source.kind}"


def _mark(wanted: list[str]) -> str:
    return f"{_MARK} {hashlib.sha256(chr(10).join(wanted).encode()).hexdigest()}"


def _names(source: Source) -> Iterator[tuple[str, str]]:
    yield source.table, f"find_{source.kind}_insert"
    yield source.table, f"find_{source.kind}_delete"
    for place, feed in enumerate(source.every_feed()):
        yield feed.table, f"find_{source.kind}_update_{place}"


def _source(source: Source) -> Iterator[str]:
    name = f"find_{source.kind}"
    yield _function(f"{name}_insert", source.write("r.id IN (SELECT id FROM changed)"))
    yield (
        f"CREATE TRIGGER {name}_insert AFTER INSERT ON {source.table} REFERENCING NEW TABLE AS changed "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {name}_insert()"
    )
    yield _function(f"{name}_delete", f"DELETE FROM {ENTRY} WHERE record_id IN (SELECT id FROM gone)")
    yield (
        f"CREATE TRIGGER {name}_delete AFTER DELETE ON {source.table} REFERENCING OLD TABLE AS gone "
        f"FOR EACH STATEMENT EXECUTE FUNCTION {name}_delete()"
    )
    for place, feed in enumerate(source.every_feed()):
        yield from _update(source, feed, f"{name}_update_{place}", own=place == 0)


def _update(source: Source, feed: Feed, name: str, *, own: bool) -> Iterator[str]:
    body = source.write(f"{feed.key} = NEW.id")
    if own:  # it may have ceased to stand
        body += f"; IF NOT FOUND THEN DELETE FROM {ENTRY} WHERE record_id = NEW.id; END IF"
    differs = " OR ".join(f"NEW.{column} IS DISTINCT FROM OLD.{column}" for column in feed.columns)
    yield _function(name, body)
    yield (
        f"CREATE TRIGGER {name} AFTER UPDATE OF {', '.join(feed.columns)} ON {feed.table} "
        f"FOR EACH ROW WHEN ({differs}) EXECUTE FUNCTION {name}()"
    )


def _words(found: tuple[Source, ...]) -> Iterator[str]:
    """New words are noted as they come. Two writers of one new word both note it, and neither waits."""
    tagged = ", ".join(f"'{source.kind}'" for source in found if source.tagged) or "''"
    yield _function(
        "find_words",
        f"""INSERT INTO {WORD} (project_id, word)
        SELECT DISTINCT c.project_id, w.word FROM changed c CROSS JOIN LATERAL (
            SELECT regexp_split_to_table(c.words, '[^[:alnum:]]+') AS word
            UNION SELECT c.title WHERE c.kind IN ({tagged})
        ) w
        WHERE length(w.word) > 3 AND length(w.word) < 61 AND w.word !~ '^[0-9]+$'
        AND NOT EXISTS (SELECT 1 FROM {WORD} k WHERE k.project_id = c.project_id AND k.word = w.word)""",
    )
    for deed in ("insert", "update"):
        yield (
            f"CREATE TRIGGER {ENTRY}_words_{deed} AFTER {deed.upper()} ON {ENTRY} REFERENCING NEW TABLE AS changed "
            "FOR EACH STATEMENT EXECUTE FUNCTION find_words()"
        )


def _function(name: str, body: str) -> str:
    return (
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN {body}; RETURN NULL; END $$"
    )
