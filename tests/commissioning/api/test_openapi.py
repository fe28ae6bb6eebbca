"""The OpenAPI document: valid, complete, and true to what the API answers."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.management import call_command
from django.urls import reverse
from openapi_spec_validator import validate

from commissioning.api.problems import CONTENT_TYPE
from tests.commissioning.api.asking import filled
from tests.commissioning.api.conftest import speaks_for
from tests.commissioning.api.matrix import ROWS
from tests.commissioning.api.plant import build
from tests.support.world import World


@pytest.fixture
def document(client: Any, db: None) -> dict[str, Any]:
    answer = client.get("/api/v1/openapi.json")
    assert answer.status_code == 200
    return dict(json.loads(answer.content))


def operations(document: dict[str, Any]) -> dict[tuple[str, str], dict[str, Any]]:
    return {(path, method): found for path, methods in document["paths"].items() for method, found in methods.items()}


def test_the_document_is_valid_and_written_without_a_warning(document: dict[str, Any], tmp_path: Any) -> None:
    validate(document)
    call_command("spectacular", "--validate", "--fail-on-warn", "--file", str(tmp_path / "openapi.yaml"))


def test_every_operation_has_its_own_id_a_subject_words_and_its_problems(document: dict[str, Any]) -> None:
    found = operations(document)
    ids = [one["operationId"] for one in found.values()]
    assert len(ids) == len(set(ids)) == len(found)
    for place, one in found.items():
        assert one["tags"], place
        assert one["description"].strip(), place
        assert all(tag.islower() for tag in one["tags"]), place
        if "api/v1/token" not in place[0]:
            assert {"400", "401"} <= set(one["responses"]), place
        for code, answer in one["responses"].items():
            if code >= "400":
                schema = answer["content"][CONTENT_TYPE]["schema"]
                assert schema == {"$ref": "#/components/schemas/Problem"}, (place, code)


def test_what_creates_says_201_and_200_and_takes_a_uuid(document: dict[str, Any]) -> None:
    for place, one in operations(document).items():
        if {"200", "201"} <= set(one["responses"]) and one["operationId"] != "procedures_copy":
            content = next(iter(one["requestBody"]["content"].values()))["schema"]
            body = document["components"]["schemas"][content["$ref"].rsplit("/", 1)[1]]
            assert body["properties"]["id"]["format"] == "uuid", place
            assert "id" not in body.get("required", []), place


@pytest.mark.django_db
def test_answers_have_the_fields_that_the_document_names(small_world: World, document: dict[str, Any]) -> None:
    """Each safe request of the matrix: no field more, no required field less."""
    plant = build(small_world)
    client = speaks_for(small_world.manager)
    schemas = document["components"]["schemas"]
    by_path = operations(document)
    for row in (row for row in ROWS if row.method == "get" and row.answers[0] == 200 and row.name != "api-openapi"):
        address = reverse(row.name, kwargs={word: filled(value, plant) for word, value in row.words.items()})
        templated = reverse(row.name, kwargs={word: _mark(word) for word in row.words})
        for word in row.words:
            templated = templated.replace(str(_mark(word)), f"{{{word}}}")
        answer = by_path[templated, "get"]["responses"]["200"]
        if "application/json" not in answer["content"]:
            continue
        _fits(
            json.loads(client.get(address).content), answer["content"]["application/json"]["schema"], schemas, row.name
        )


MARKS = {
    "id": "00000000-0000-0000-0000-000000000001", "photo": "00000000-0000-0000-0000-000000000002", "code": "the-code",
    "name": "the-name", "sha256": "f" * 64,
}  # fmt: skip


def _mark(word: str) -> str:
    return MARKS[word]


def _fits(value: Any, schema: dict[str, Any], schemas: dict[str, Any], where: str) -> None:
    if "$ref" in schema:
        schema = schemas[schema["$ref"].rsplit("/", 1)[1]]
    if isinstance(value, list):
        for one in value:
            _fits(one, schema.get("items", {}), schemas, where)
    if not isinstance(value, dict) or "properties" not in schema:
        return
    assert set(value) <= set(schema["properties"]), where
    assert set(schema.get("required", [])) <= set(value), where
    for name, one in value.items():
        _fits(one, schema["properties"][name], schemas, f"{where}.{name}")
