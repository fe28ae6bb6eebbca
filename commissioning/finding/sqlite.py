"""Triggers of the search on SQLite, and its full-text table of trigrams (FTS5)."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.backends.base.base import BaseDatabaseWrapper

from commissioning.finding.source import ENTRY, WORD, Source

TEXT = f"{ENTRY}_text"
#: What stands between words, beside the space.
_BETWEEN = "\t\n\r-_/\\.,;:()[]{}<>\"'=+*?!&%#|"

#: SQLite's parser takes only so many calls within calls.
_AT_ONCE = 8


def up_to_date(connection: BaseDatabaseWrapper, wanted: list[str]) -> bool:
    """True when everything stands as these statements lay it down."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL")
        there = {row[0] for row in cursor.fetchall()}
    return all(statement.replace(" IF NOT EXISTS", "") in there for statement in wanted)


def taking_away(found: tuple[Source, ...]) -> list[str]:
    """Every trigger of these sources, where it is there."""
    return [f"DROP TRIGGER IF EXISTS {statement.split()[2]}" for statement in _triggers(found)]


def laying_down(found: tuple[Source, ...]) -> list[str]:
    """The statements that create the full-text table and the triggers."""
    return [
        f"CREATE VIRTUAL TABLE IF NOT EXISTS {TEXT} USING fts5"
        f"(words, content='{ENTRY}', content_rowid='id', tokenize='trigram')",
        f"CREATE INDEX IF NOT EXISTS find_by_name ON {ENTRY} (project_id, kind, title COLLATE NOCASE, id)",
        f"CREATE INDEX IF NOT EXISTS find_by_tag ON {ENTRY} (project_id, kind, tag COLLATE NOCASE, id)",
        *_triggers(found),
    ]


def _triggers(found: tuple[Source, ...]) -> list[str]:
    return [*(one for source in found for one in _source(source)), *_text(), *_words(found)]


def _source(source: Source) -> Iterator[str]:
    name = f"find_{source.kind}"
    yield f"CREATE TRIGGER {name}_insert AFTER INSERT ON {source.table} BEGIN {source.write('r.id = NEW.id')}; END"
    yield (
        f"CREATE TRIGGER {name}_delete AFTER DELETE ON {source.table} "
        f"BEGIN DELETE FROM {ENTRY} WHERE record_id = OLD.id; END"
    )
    for place, feed in enumerate(source.every_feed()):
        body = source.write(f"{feed.key} = NEW.id")
        if place == 0:  # it may have ceased to stand
            stands = f"EXISTS ({source.select('r.id = NEW.id')})"
            body = f"DELETE FROM {ENTRY} WHERE record_id = NEW.id AND NOT {stands}; {body}"
        differs = " OR ".join(f"NEW.{column} IS NOT OLD.{column}" for column in feed.columns)
        yield (
            f"CREATE TRIGGER {name}_update_{place} AFTER UPDATE OF {', '.join(feed.columns)} ON {feed.table} "
            f"WHEN {differs} BEGIN {body}; END"
        )


def _text() -> Iterator[str]:
    out = f"INSERT INTO {TEXT} ({TEXT}, rowid, words) VALUES ('delete', OLD.id, OLD.words)"
    into = f"INSERT INTO {TEXT} (rowid, words) VALUES (NEW.id, NEW.words)"
    yield f"CREATE TRIGGER {ENTRY}_text_insert AFTER INSERT ON {ENTRY} BEGIN {into}; END"
    yield f"CREATE TRIGGER {ENTRY}_text_delete AFTER DELETE ON {ENTRY} BEGIN {out}; END"
    yield f"CREATE TRIGGER {ENTRY}_text_update AFTER UPDATE OF words ON {ENTRY} BEGIN {out}; {into}; END"


def _words(found: tuple[Source, ...]) -> Iterator[str]:
    tagged = ", ".join(f"'{source.kind}'" for source in found if source.tagged) or "''"
    steps, text, before = [], "NEW.words", ""
    for place in range(0, len(_BETWEEN), _AT_ONCE):
        for mark in _BETWEEN[place : place + _AT_ONCE]:
            text = f"REPLACE({text}, CHAR({ord(mark)}), ' ')"
        steps.append(f"step{place} (t) AS (SELECT {text}{before})")
        text, before = "t", f" FROM step{place}"
    # A list in JSON is the one thing that SQLite takes apart by itself; an odd sign must not stop anybody's writing.
    steps.append(f"list (t) AS (SELECT '[\"' || REPLACE({text}, ' ', '\",\"') || '\"]'{before})")
    body = (
        f"INSERT INTO {WORD} (project_id, word) SELECT DISTINCT NEW.project_id, w.value FROM ("
        f"SELECT value FROM (WITH {', '.join(steps)} SELECT e.value AS value FROM list, "
        "json_each(CASE WHEN json_valid(list.t) THEN list.t ELSE '[]' END) e) "
        f"UNION SELECT NEW.title WHERE NEW.kind IN ({tagged})) w "
        "WHERE LENGTH(w.value) > 3 AND LENGTH(w.value) < 61 AND w.value GLOB '*[^0-9]*' "
        f"AND NOT EXISTS (SELECT 1 FROM {WORD} k WHERE k.project_id = NEW.project_id AND k.word = w.value)"
    )
    yield f"CREATE TRIGGER {ENTRY}_words_insert AFTER INSERT ON {ENTRY} BEGIN {body}; END"
    yield f"CREATE TRIGGER {ENTRY}_words_update AFTER UPDATE OF words, title ON {ENTRY} BEGIN {body}; END"
