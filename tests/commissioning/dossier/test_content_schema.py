"""The published schema and the checker of our own, against an independent implementation of JSON Schema."""

from __future__ import annotations

import copy
import json
import random
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from commissioning.dossier.canonical import FrozenContent
from commissioning.dossier.content_schema import ContentRefused, Fault, faults, require_valid, schema
from tests.commissioning.dossier import sample


def places(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place of a value, as a path of keys and indexes."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield (*path, key)
        yield from places(inner, (*path, key))


def spoiled(content: dict[str, Any], choice: random.Random) -> dict[str, Any]:
    """The content with one field removed, renamed or given another value."""
    changed = copy.deepcopy(content)
    *way, last = choice.choice(list(places(changed)))
    inner: Any = changed
    for step in way:
        inner = inner[step]
    deed = choice.randrange(3)
    if deed == 0 or not isinstance(last, str):
        inner[last] = choice.choice([None, 7, -1, "", "x", [], {}, True, "2031-01-01T00:00:00Z", "a" * 64])
    elif deed == 1:
        del inner[last]
    else:
        inner[f"{last}_x"] = inner.pop(last)
    return changed


def test_the_schema_itself_is_a_json_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())


def test_sample_content_follows_the_schema() -> None:
    assert faults(sample.content(2)) == []


def test_our_checker_agrees_with_an_independent_one() -> None:
    # independent: the jsonschema package, on four hundred contents spoiled at random
    content, choice = (
        json.loads(json.dumps(sample.content(1, readings=4, punches=3, points=3))),
        random.Random(20310401),
    )
    independent = jsonschema.Draft202012Validator(schema())
    refused = 0
    for _ in range(400):
        changed = spoiled(content, choice)
        theirs, ours = independent.is_valid(changed), not faults(changed)
        assert ours == theirs, faults(changed)[:3]
        refused += not ours
    assert 100 < refused < 400


def test_a_fault_says_where_it_stands() -> None:
    content = sample.content(1)
    del content["systems"][0]["stages"][1]["check_records"][2]["title"]
    assert faults(content) == [Fault("content.systems[0].stages[1].check_records[2].title", "is missing")]
    with pytest.raises(ContentRefused) as refusal:
        require_valid(content)
    assert len(refusal.value.faults) == 1


def test_content_stored_in_a_folder_is_checked_a_system_at_a_time(tmp_path: Path) -> None:
    content = sample.content(2)
    content["systems"][1]["stages"][0]["state"] = "done"
    systems = content.pop("systems")
    stored = FrozenContent.store(tmp_path, content, iter(systems))
    assert [fault.where for fault in faults(stored)] == ["content.systems[1].stages[0].state"]
