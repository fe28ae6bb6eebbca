"""A kind of thing that can be found, as data: where its words come from, and how it is shown when it was found.

The same SQL fills the index, follows every change from within the triggers, and checks the index against the record.
Rooms name theirs in FIND_SOURCES.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from uuid import UUID

from django.conf import settings
from django.utils.module_loading import import_string

from commissioning.selectors.access import Access

ENTRY, WORD = "commissioning_findentry", "commissioning_findword"
COLUMNS = "kind, record_id, project_id, site_id, title, tag, words"
LONGEST_TITLE, LONGEST_WORDS = 120, 2000


@dataclass(frozen=True, slots=True)
class Hit:
    """What is shown of a thing that was found; the page is the one of the record of this kind and key."""

    title: str
    words: str
    detail: str
    link_kind: str
    link_id: UUID
    is_tag: bool = False


@dataclass(frozen=True, slots=True)
class Feed:
    """A table whose changed columns change what a thing is found by; `key` names its row within the source's rows."""

    table: str
    key: str
    columns: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Source:
    """`rows` is the FROM clause; its first table, called `r`, holds the record itself. `standing`: which are found."""

    kind: str
    heading: str
    table: str
    joins: str
    project: str
    site: str
    title: str
    words: tuple[str, ...]
    own_columns: tuple[str, ...]
    show: Callable[[Access, Sequence[UUID]], Mapping[UUID, Hit]]
    standing: str = "1 = 1"
    feeds: tuple[Feed, ...] = ()
    #: SQL for the tag of what it is about, where that is not its title.
    tag: str = "''"
    #: Called by a name of its own, so that the beginning of the name finds it first.
    named: bool = True
    #: The name is a word to put slips right with.
    tagged: bool = False

    @property
    def at_a_site(self) -> bool:
        """False where it belongs to the whole project."""
        return self.site != "NULL"

    def select(self, where: str) -> str:
        """SQL for the entries of the rows that `where` names."""
        words = " || ' ' || ".join(f"COALESCE({one}, '')" for one in self.words)
        return (
            f"SELECT '{self.kind}', r.id, {self.project}, {self.site}, "
            f"SUBSTR(LOWER({self.title}), 1, {LONGEST_TITLE}), LOWER({self.tag}), "
            f"SUBSTR(LOWER({words}), 1, {LONGEST_WORDS}) "
            f"FROM {self.table} r {self.joins} WHERE ({self.standing}) AND {where}"
        )

    def write(self, where: str) -> str:
        """SQL that brings the entries of those rows up to date."""
        return (
            f"INSERT INTO {ENTRY} ({COLUMNS}) {self.select(where)} ON CONFLICT (record_id) DO UPDATE SET "
            "project_id = excluded.project_id, site_id = excluded.site_id, title = excluded.title, "
            "tag = excluded.tag, words = excluded.words"
        )

    def every_feed(self) -> tuple[Feed, ...]:
        return (Feed(self.table, "r.id", self.own_columns), *self.feeds)


@cache
def sources() -> tuple[Source, ...]:
    """Every kind that can be found, in the order in which the groups are shown."""
    return tuple(source for path in settings.FIND_SOURCES for source in import_string(path))
