"""What changed between two contents: for the page on which a later revision cites the earlier one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

# What names a row of a list, tried in order; rows without any of these are matched by their place.
NAMES = ("id", "ref", "serial", "calculation", "term", "kind", "sha256", "seq", "tag", "key", "title", "label", "name")
# Fields that every revision changes by itself.
OWN = frozenset(
    {
        "revision",
        "revisions",
        "previous",
        "changes",
        "issued_at",
        "requested_by",
        "url",
        "audit_extract",
        "schema_version",
    }
)
LONGEST = 160


def changes(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[dict[str, str]]:
    """Changes from the earlier content to the later one, as rows for the dossier; systems are read one at a time."""
    keys = sorted((set(before) | set(after)) - OWN - {"systems"})
    found = [row for key in keys for row in _differ(_words(key), before.get(key), after.get(key))]
    old, new = _tags(before), _tags(after)
    for identity in [*old, *(one for one in new if one not in old)]:
        one = before["systems"][old[identity]] if identity in old else None
        other = after["systems"][new[identity]] if identity in new else None
        found += _differ((one or other or {})["tag"], one, other)
    return found


def _tags(content: Mapping[str, Any]) -> dict[str, int]:
    systems = content.get("systems", [])
    return {systems[index]["id"]: index for index in range(len(systems))}


def _words(key: str) -> str:
    return key.replace("_", " ")


def _differ(where: str, one: Any, other: Any) -> Iterator[dict[str, str]]:
    if one == other:
        return
    if one in (None, "", [], {}):
        yield {"where": where, "kind": "added", "after": _shown(other)}
    elif other in (None, "", [], {}):
        yield {"where": where, "kind": "removed", "before": _shown(one)}
    elif isinstance(one, Mapping) and isinstance(other, Mapping):
        for key in sorted(set(one) | set(other)):
            yield from _differ(f"{where}, {_words(key)}", one.get(key), other.get(key))
    elif _rows(one) and _rows(other):
        yield from _differ_rows(where, _named(one), _named(other))
    else:
        yield {"where": where, "kind": "changed", "before": _shown(one), "after": _shown(other)}


def _rows(value: Any) -> bool:
    return isinstance(value, list) and all(isinstance(item, Mapping) for item in value)


def _differ_rows(where: str, one: dict[str, Any], other: dict[str, Any]) -> Iterator[dict[str, str]]:
    for name in [*one, *(name for name in other if name not in one)]:
        yield from _differ(f"{where}, {name}", one.get(name), other.get(name))


def _named(rows: list[Mapping[str, Any]]) -> dict[str, Any]:
    key = next((key for key in NAMES if len({row.get(key) for row in rows} - {None}) == len(rows)), None)
    return {str(row[key]) if key else f"row {place}": row for place, row in enumerate(rows, 1)}


def _shown(value: Any) -> str:
    if isinstance(value, Mapping):
        chosen = [
            str(value[key]) for key in ("tag", "title", "name", "label", "text", "unit", "verdict") if value.get(key)
        ]
        text = ", ".join(chosen) or ", ".join(f"{_words(k)} {v}" for k, v in value.items() if isinstance(v, str | int))
    elif isinstance(value, list):
        text = ", ".join(map(_shown, value[:5])) + (f" and {len(value) - 5} more" if len(value) > 5 else "")
    else:
        text = str(value)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1]}…"
