"""What a sheet is: its columns, which of them tell two rows apart, and what it answers to."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from commissioning.procedures.nameplate import NAMEPLATE_KEYS, NameplateKey

from .columns import Column, Kind, plain

Key = tuple[Any, ...]
NAMEPLATE = "nameplate."


@dataclass(frozen=True)
class Sheet:
    """A sheet: what one row of it is, which columns it has, and which of them tell two rows apart.

    `keys` lists the ways of telling rows apart in the order they are tried: the first one whose columns all have a
    value counts; the last one counts even with an empty cell.
    """

    name: str
    title: str
    one: str
    help: str
    columns: tuple[Column, ...]
    keys: tuple[tuple[str, ...], ...]
    former: str = ""

    @cached_property
    def by_name(self) -> Mapping[str, Column]:
        return {column.name: column for column in self.columns}

    @property
    def needed(self) -> tuple[Column, ...]:
        """Columns that a row cannot be without, because they say what it is about."""
        return tuple(self.by_name[name] for name in self.keys[-1] if self.by_name[name].required)

    def key_of(self, values: Mapping[str, Any]) -> Key:
        for names in self.keys[:-1]:
            if all(values.get(name) is not None for name in names):
                return (names[0], *(values[name] for name in names))
        return tuple(values.get(name) for name in self.keys[-1])

    def words_for(self, values: Mapping[str, Any]) -> str:
        """A row in a few words: what the dry run and the record call it."""
        names = next(
            (names for names in self.keys if all(values.get(name) is not None for name in names)), self.keys[-1]
        )
        return " ".join(self.by_name[name].show(values[name]) for name in names if values.get(name) is not None)

    def column_for(self, heading: str) -> Column | None:
        word = plain(heading)
        return next((column for column in self.columns if word in column.known_as), None)


def _nameplate_column(key: str, entry: NameplateKey) -> Column:
    """`capacity_ah` in Ah is headed 'capacity [Ah]': the unit is not said twice."""
    ending = re.sub(r"[^a-z0-9]", "", entry.unit.casefold().replace("²", "2"))
    heading = key.removesuffix(f"_{ending}") if ending and "/" not in entry.unit else key
    return Column(
        name=NAMEPLATE + key,
        heading=heading.replace("_", " "),
        kind=Kind.CHOICE if entry.choices else Kind.NUMBER,
        choices=tuple((choice, choice) for choice in entry.choices),
        unit=entry.unit,
        lower=entry.lower,
        upper=entry.upper,
        help=f"Nameplate: {entry.words}.",
    )


def nameplate_columns() -> tuple[Column, ...]:
    return tuple(_nameplate_column(key, entry) for key, entry in NAMEPLATE_KEYS.items())


def sheet_called(title: str, sheets: Iterable[Sheet]) -> Sheet | None:
    """The sheet that a tab or a CSV file's name means."""
    word = plain(title)
    return next((sheet for sheet in sheets if word in (plain(sheet.title), plain(sheet.name))), None)
