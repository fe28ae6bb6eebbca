"""What the search box finds, within what its person may see.

Three looks, each bounded, none of them over the whole project:
1. the beginning of a name, and the newest few thousand of each kind, where a common word is met at once;
2. for kinds that are not full by then the word is rare, and an index of trigrams holds where it is;
3. where nothing is found at all, each word that occurs nowhere is put right with the nearest one that does.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from typing import Any
from uuid import UUID

from django.db import connection

from commissioning.finding import sqlite
from commissioning.finding.postgres import has_trigrams
from commissioning.finding.source import ENTRY, WORD, Hit, Source, sources
from commissioning.selectors.access import Access

#: Shown of each kind in the box; of one kind on a page of its own.
IN_A_GROUP, ON_A_PAGE = 6, 100
#: So many of the newest of a kind are read through for a word that may be common.
NEWEST = 2000
SHORTEST, LONGEST, MOST_WORDS = 2, 80, 6
#: How alike a word has to be to be taken for a slip of the finger.
ALIKE = 0.7
LONG = 10
#: Trigrams need so many letters.
TRIGRAM = 3


@dataclass(frozen=True, slots=True)
class Group:
    """What was found of one kind; `more`: there is more of it than is shown."""

    source: Source
    hits: tuple[Hit, ...]
    more: bool


@dataclass(frozen=True, slots=True)
class Found:
    """The groups that have anything in them. `instead`: the words that were looked for in place of those typed."""

    typed: str
    groups: tuple[Group, ...]
    instead: str = ""

    @property
    def count(self) -> int:
        return sum(len(group.hits) for group in self.groups)


def find(access: Access, text: str, *, kind: str = "") -> Found:
    """Everything that holds each of these words, or of one kind only."""
    typed = " ".join(text.split())[:LONGEST]
    looked_for = [source for source in sources() if kind in ("", source.kind)]
    most = ON_A_PAGE if kind else IN_A_GROUP
    if len(typed) < SHORTEST or not looked_for:
        return Found(typed, ())
    words = typed.lower()
    found = _keys(access, words, looked_for, most)
    instead = ""
    if not any(found.values()) and (nearest := _put_right(access, words)) != words:
        found, instead = _keys(access, nearest, looked_for, most), nearest
    groups = tuple(_groups(access, found, looked_for, most))
    return Found(typed, groups, instead if groups else "")


def _groups(access: Access, found: Mapping[str, list[UUID]], among: Iterable[Source], most: int) -> Iterator[Group]:
    for source in among:
        keys = found[source.kind]
        shown = source.show(access, keys[:most]) if keys else {}
        # The record decides what is shown: whatever the index says, nobody is shown what they may not see.
        if hits := tuple(shown[key] for key in keys[:most] if key in shown):
            yield Group(source, hits, more=len(keys) > most)


def _keys(access: Access, words: str, among: Sequence[Source], most: int) -> dict[str, list[UUID]]:
    """The keys of what holds these words, by kind, best first, one more than is shown."""
    found: dict[str, list[UUID]] = defaultdict(list)
    about = _about(access, words, among, most)
    _add(found, about)
    # Whoever types a whole tag wants what is about it, and has it.
    asked = {kind for kind, _ in about}
    left = [source for source in among if source.kind not in asked]
    _add(found, _first_look(access, words, left, most))
    left = [source for source in left if len(found[source.kind]) <= most]
    if left and any(len(word) >= TRIGRAM for word in words.split()):
        _add(found, _second_look(access, words, left, most))
    return found


def _about(access: Access, words: str, among: Sequence[Source], most: int) -> list[tuple[str, UUID]]:
    """What is about the thing of this very tag."""
    parts, values = [], []
    tag = _as_indexed("tag")
    for source in (source for source in among if source.tag != "''"):
        scope, in_scope = _scope(access, source)
        parts.append(
            f"SELECT * FROM (SELECT kind, record_id FROM {ENTRY} WHERE {scope} AND kind = %s AND {tag} = %s "
            f"ORDER BY id DESC LIMIT {most + 1}) about"
        )
        values += [*in_scope, source.kind, words]
    return _keys_in(" UNION ALL ".join(parts), values) if parts else []


def _add(found: dict[str, list[UUID]], rows: Iterable[tuple[str, UUID]]) -> None:
    for kind, key in rows:
        if key not in found[kind]:
            found[kind].append(key)


def _first_look(access: Access, words: str, among: Sequence[Source], most: int) -> list[tuple[str, UUID]]:
    """By the beginning of the name, then among the newest."""
    if not among:
        return []
    parts, values = [], []
    holding, held = _holding(words)
    name = _as_indexed("title")
    for source in among:
        scope, in_scope = _scope(access, source)
        if source.named:
            parts.append(
                f"SELECT * FROM (SELECT kind, record_id FROM {ENTRY} WHERE {scope} AND kind = %s "
                f"AND {_like(name)} ORDER BY {name}, id LIMIT {most + 1}) named"
            )
            values += [*in_scope, source.kind, f"{_plain(words)}%"]
        parts.append(
            f"SELECT * FROM (SELECT kind, record_id FROM (SELECT kind, record_id, words FROM {ENTRY} "
            f"WHERE {scope} AND kind = %s ORDER BY id DESC LIMIT {NEWEST}) newest WHERE {holding} LIMIT {most + 1}) met"
        )
        values += [*in_scope, source.kind, *held]
    return _keys_in(" UNION ALL ".join(parts), values)


def _second_look(access: Access, words: str, among: Sequence[Source], most: int) -> list[tuple[str, UUID]]:
    """Wherever they stand, by trigrams. The newest come first."""
    holding, held = _holding(words)
    source_rows = ENTRY
    if connection.vendor == "sqlite":
        long = [word for word in words.split() if len(word) >= TRIGRAM]
        quoted = " ".join('"{}"'.format(word.replace('"', '""')) for word in long)
        source_rows = f"(SELECT e.* FROM {sqlite.TEXT} t JOIN {ENTRY} e ON e.id = t.rowid WHERE {sqlite.TEXT} MATCH %s)"
    parts, values = [], []
    for source in among:
        scope, in_scope = _scope(access, source)
        # OFFSET 0 keeps the planner from walking all that is newest in the hope of meeting a word that is rare.
        # The kind stands in the text: it is what the index of that kind is chosen by.
        parts.append(
            f"SELECT * FROM (SELECT kind, record_id FROM (SELECT kind, record_id, id FROM {source_rows} AS rows_ "
            f"WHERE kind = '{source.kind}' AND {holding} AND {scope} LIMIT -1 OFFSET 0) held "
            f"ORDER BY id DESC LIMIT {most + 1}) found"
        )
        values += [*([quoted] if connection.vendor == "sqlite" else []), *held, *in_scope]
    sql = " UNION ALL ".join(parts)
    return _keys_in(sql if connection.vendor == "sqlite" else sql.replace("LIMIT -1 OFFSET 0", "OFFSET 0"), values)


def _put_right(access: Access, words: str) -> str:
    """The words as they are spelt here: the whole of it as a tag, else each word that occurs nowhere by itself."""
    if whole := _nearest(access, words):
        return whole
    return " ".join(word if _occurs(access, word) else _nearest(access, word) or word for word in words.split())


def _occurs(access: Access, word: str) -> bool:
    if len(word) < TRIGRAM + 1:
        return True
    sql = f"SELECT word FROM {WORD} WHERE project_id = %s AND {_like('word')} LIMIT 1"
    return bool(_rows(sql, [_key(access.project.pk), f"%{_plain(word)}%"]))


def _nearest(access: Access, word: str) -> str:
    """The most alike word of the project; empty where none is alike enough."""
    if len(word) < TRIGRAM + 1:
        return ""
    values: list[Any] = [_key(access.project.pk)]
    if connection.vendor == "postgresql" and has_trigrams(connection):
        # A long word is like many others: it has to be more so.
        _rows("SELECT set_limit(%s)", [0.5 if len(word) >= LONG else 0.3])
        sql = f"SELECT DISTINCT word, similarity(word, %s) AS alike FROM {WORD} WHERE project_id = %s AND word %% %s "
        sql, values = f"{sql} ORDER BY alike DESC LIMIT 30", [word, *values, word]
    else:
        sql = f"SELECT word FROM {WORD} WHERE project_id = %s AND LENGTH(word) BETWEEN %s AND %s"
        values += [len(word) - 2, len(word) + 2]
    return _most_alike(word, (row[0] for row in _rows(sql, values)))


def _most_alike(word: str, others: Iterable[str]) -> str:
    matcher = SequenceMatcher(autojunk=False)
    matcher.set_seq2(word)
    best, name = ALIKE, ""
    for other in others:
        matcher.set_seq1(other)
        if matcher.real_quick_ratio() > best and matcher.quick_ratio() > best and (alike := matcher.ratio()) > best:
            best, name = alike, other
    return name


def _scope(access: Access, source: Source) -> tuple[str, list[Any]]:
    """What the person may see: the project, and of what stands at a site only what stands at theirs."""
    project = _key(access.project.pk)
    if access.site_ids is None or not source.at_a_site:
        return "project_id = %s", [project]
    marks = ", ".join(["%s"] * len(access.site_ids)) or "NULL"
    return f"project_id = %s AND site_id IN ({marks})", [project, *map(_key, access.site_ids)]


def _holding(words: str) -> tuple[str, list[str]]:
    each = words.split()[:MOST_WORDS]
    return " AND ".join([_like("words")] * len(each)), [f"%{_plain(word)}%" for word in each]


def _plain(word: str) -> str:
    """A word in which nothing stands for anything else."""
    return word.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")


def _key(key: UUID) -> Any:
    return key if connection.features.has_native_uuid_field else key.hex


def _as_indexed(column: str) -> str:
    return f'{column} COLLATE "C"' if connection.vendor == "postgresql" else f"{column} COLLATE NOCASE"


def _like(column: str) -> str:
    """A comparison in which a backslash takes the meaning away from what follows it; PostgreSQL does so by itself."""
    return f"{column} LIKE %s" if connection.vendor == "postgresql" else f"{column} LIKE %s ESCAPE '\\'"


def _keys_in(sql: str, values: Sequence[Any]) -> list[tuple[str, UUID]]:
    return [(kind, key if isinstance(key, UUID) else UUID(key)) for kind, key in _rows(sql, values)]


def _rows(sql: str, values: Sequence[Any]) -> list[tuple[Any, ...]]:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return list(cursor.fetchall())
