"""Which column of a log is what: the guess, what this project confirmed before, and what a person says now."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import calcs
from calcs.log_columns import TIME_KINDS, guess_columns
from calcs.log_times import SECONDS_IN
from calcs.logger_files import ColumnMap, Layout
from calcs.unit_table import unit as find_unit
from commissioning.errors import InvalidInput
from commissioning.models import ColumnMapping, Project, User

#: What a column may be, the unit that its readings come in, and the words for it.
ROLES = {"voltage": "V", "current": "A", "cells": "V", "temperatures": "°C"}
ROLE_WORDS = {
    "time": "time",
    "date": "date",
    "voltage": "string voltage",
    "current": "current",
    "cells": "cell",
    "temperatures": "temperature",
}


def first_guess(*, project: Project, layout: Layout) -> dict[str, Any]:
    """The map that was confirmed for these headings in this project, else a guess; empty with words when there is none.

    `words` say what was taken for what and why, `confidence` how sure it is.
    """
    known = ColumnMapping.objects.filter(project=project, headings_sha256=layout.headings_sha256()).first()
    if known is not None:
        words = f"as {known.confirmed_by} confirmed it on {known.confirmed_at:%Y-%m-%d} for a file with these headings"
        return {**known.column_map, "confidence": 1.0, "words": [words]}
    try:
        return guess_columns(layout.headings, layout.sample).as_json()
    except calcs.InputError as error:
        return {"confidence": 0.0, "words": [str(error)]}


def keep_mapping(*, project: Project, headings_sha256: str, columns: ColumnMap, actor: User) -> None:
    """Remember the map for the next file with these headings."""
    ColumnMapping.objects.update_or_create(
        project=project,
        headings_sha256=headings_sha256,
        defaults={"column_map": columns.as_json(), "confirmed_by": actor},
    )


def checked_map(given: Mapping[str, Any], headings: Sequence[str]) -> ColumnMap:
    """The map as a person or a program gave it; InvalidInput for every part that cannot be right."""
    problems: dict[str, str] = {}
    places = {
        role: _places(given.get(role), many=role in ("cells", "temperatures"), width=len(headings), problems=problems,
                      role=role)
        for role in ROLE_WORDS
    }  # fmt: skip
    _refuse_missing(places, problems)
    _refuse_twice(places, headings, problems)
    kind, time_unit = str(given.get("time_kind") or "elapsed"), str(given.get("time_unit") or "s")
    if kind not in TIME_KINDS:
        problems["time_kind"] = f"The time is {', '.join(TIME_KINDS)}, not '{kind}'."
    if time_unit not in SECONDS_IN:
        problems["time_unit"] = f"Time is counted in ms, s, min, h or d, not in '{time_unit}'."
    units = _units(given.get("units"), places, headings, problems)
    if problems:
        raise InvalidInput(problems)
    used = [place for found in places.values() for place in found]
    return ColumnMap(
        time=places["time"][0],
        time_kind=kind,
        time_unit=time_unit,
        date=next(iter(places["date"]), None),
        day_first=bool(given.get("day_first", True)),
        voltage=next(iter(places["voltage"]), None),
        current=next(iter(places["current"]), None),
        cells=tuple(places["cells"]),
        temperatures=tuple(places["temperatures"]),
        units=units,
        labels={place: headings[place] for place in used},
        words=("confirmed",),
    )


def _places(given: Any, *, many: bool, width: int, role: str, problems: dict[str, str]) -> list[int]:
    """Places of columns, counted from 0, inside the file."""
    listed = given if isinstance(given, list | tuple) else [] if given is None else [given]
    if not all(isinstance(one, int) and not isinstance(one, bool) and 0 <= one < width for one in listed):
        problems[role] = f"The columns of this file are 0 to {width - 1}."
        return []
    if len(listed) > 1 and not many:
        problems[role] = f"Only one column can be the {ROLE_WORDS[role]}: choose it, and leave the others out."
        return []
    return list(listed)


def _refuse_missing(places: Mapping[str, Sequence[int]], problems: dict[str, str]) -> None:
    if not places["time"] and "time" not in problems:
        problems["time"] = "Say which column is the time."
    if not places["voltage"] and not places["cells"] and not {"voltage", "cells"} & set(problems):
        problems["voltage"] = "Say which column is the string voltage, or which are the cells."


def _refuse_twice(places: Mapping[str, Iterable[int]], headings: Sequence[str], problems: dict[str, str]) -> None:
    seen: dict[int, str] = {}
    for role, found in places.items():
        for place in found:
            if place in seen:
                problems[role] = f"The column '{headings[place]}' is used twice; a column is one thing."
            seen[place] = role


def _units(
    given: Any, places: Mapping[str, Sequence[int]], headings: Sequence[str], problems: dict[str, str]
) -> dict[int, str]:
    """The unit of each column that holds readings; its own where none is named."""
    named = {str(key): str(one).strip() for key, one in given.items()} if isinstance(given, Mapping) else {}
    units: dict[int, str] = {}
    for role, wanted in ROLES.items():
        for place in places[role]:
            text = named.get(str(place)) or wanted
            found, target = find_unit(text), find_unit(wanted)
            if found is None or target is None or found.dimension != target.dimension:
                problems["units"] = (
                    f"'{text}' is no unit for the column '{headings[place]}'; choose one such as {wanted}."
                )
            units[place] = text
    return units
