"""Checking content against the published schema before it is frozen: every fault with its place, in words.

The checker covers the part of JSON Schema that `schema.json` uses and refuses a schema with anything else in it; it is
many times quicker than a general one, which matters for a dossier of thousands of readings.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

Schema = Mapping[str, Any]


@dataclass(frozen=True)
class Fault:
    """One fault of a content: where it stands and what is wrong with it."""

    where: str
    what: str


class ContentRefused(Exception):
    """Content that does not follow the schema; `faults` says where."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(f"{fault.where}: {fault.what}" for fault in self.faults[:5]))


@cache
def schema() -> Schema:
    """The published schema of the content."""
    loaded: Schema = json.loads((files("commissioning.dossier") / "schema.json").read_text("utf-8"))
    return loaded


def faults(content: Mapping[str, Any], limit: int = 50) -> list[Fault]:
    """The faults of a content, at most `limit`; none when it follows the schema. Systems are read one at a time."""
    root, found = schema(), list[Fault]()
    kept = content.get("systems")
    lazy: Sequence[Any] = kept if isinstance(kept, Sequence) and not isinstance(kept, list | str) else ()
    head = {key: [] if key == "systems" and lazy else content[key] for key in content}
    for fault in _check(head, root, "content"):
        found.append(fault)
        if len(found) >= limit:
            return found
    for index in range(len(lazy)):
        found += _check(lazy[index], root["$defs"]["system"], f"content.systems[{index}]")
    return found[:limit]


def require_valid(content: Mapping[str, Any]) -> None:
    """Refuse content that does not follow the schema."""
    if found := faults(content):
        raise ContentRefused(found)


def _check(value: Any, rule: Schema, where: str) -> Iterator[Fault]:
    for keyword, wanted in rule.items():
        yield from _KEYWORDS[keyword](value, wanted, where, rule)


TYPES: dict[str, Callable[[Any], bool]] = {
    "string": lambda value: isinstance(value, str),
    "integer": lambda value: isinstance(value, int) and not isinstance(value, bool),
    "number": lambda value: isinstance(value, int | float) and not isinstance(value, bool),
    "boolean": lambda value: isinstance(value, bool),
    "array": lambda value: isinstance(value, list),
    "object": lambda value: isinstance(value, Mapping),
    "null": lambda value: value is None,
}


def _type(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    names = [wanted] if isinstance(wanted, str) else wanted
    if not any(TYPES[name](value) for name in names):
        yield Fault(where, f"must be {' or '.join(names)}")


def _required(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    if isinstance(value, Mapping):
        yield from (Fault(f"{where}.{name}", "is missing") for name in wanted if name not in value)


def _properties(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    if isinstance(value, Mapping):
        for name, inner in wanted.items():
            if name in value:
                yield from _check(value[name], inner, f"{where}.{name}")


def _additional(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    if not isinstance(value, Mapping):
        return
    for name in value:
        if name in rule.get("properties", {}):
            continue
        if wanted is False:
            yield Fault(f"{where}.{name}", "is not a field of the schema")
        else:
            yield from _check(value[name], wanted, f"{where}.{name}")


def _items(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    if isinstance(value, list):
        for index, item in enumerate(value):
            yield from _check(item, wanted, f"{where}[{index}]")


def _reference(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    yield from _check(value, schema()["$defs"][wanted.rpartition("/")[2]], where)


def _any_of(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    tried = [list(_check(value, option, where)) for option in wanted]
    if all(tried):
        yield from tried[0]


def _enum(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    if value not in wanted:
        yield Fault(where, f"must be one of {', '.join(map(repr, wanted))}")


def _const(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    if value != wanted or isinstance(value, bool) != isinstance(wanted, bool):
        yield Fault(where, f"must be {wanted!r}")


def _pattern(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    if isinstance(value, str) and not re.search(wanted, value):
        yield Fault(where, f"must match {wanted}")


def _bound(name: str, holds: Callable[[Any, Any], bool], kind: str) -> Callable[..., Iterator[Fault]]:
    def bound(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
        if TYPES[kind](value) and not holds(value, wanted):
            yield Fault(where, f"{name} {wanted}")

    return bound


def _nothing(value: Any, wanted: Any, where: str, rule: Schema) -> Iterator[Fault]:
    return iter(())


_KEYWORDS: dict[str, Callable[..., Iterator[Fault]]] = {
    "type": _type,
    "required": _required,
    "properties": _properties,
    "additionalProperties": _additional,
    "items": _items,
    "$ref": _reference,
    "anyOf": _any_of,
    "enum": _enum,
    "const": _const,
    "pattern": _pattern,
    "minimum": _bound("must be at least", lambda value, wanted: value >= wanted, "number"),
    "exclusiveMinimum": _bound("must be more than", lambda value, wanted: value > wanted, "number"),
    "maxLength": _bound("must not be longer than", lambda value, wanted: len(value) <= wanted, "string"),
    "minItems": _bound("must hold at least", lambda value, wanted: len(value) >= wanted, "array"),
    "$schema": _nothing,
    "$defs": _nothing,
    "title": _nothing,
    "description": _nothing,
}
