"""Test recordings through the API: upload, confirm, result, plot."""

from __future__ import annotations

from io import BytesIO
from uuid import uuid4

import pytest

from commissioning.models import TestRecording
from tests.commissioning.api.conftest import Api
from tests.support.log_lines import INPUTS, as_csv, discharge_line, sound_test
from tests.support.world import World

pytestmark = pytest.mark.django_db


def named(content: bytes) -> BytesIO:
    file = BytesIO(content)
    file.name = "test.csv"
    return file


def test_a_log_is_uploaded_confirmed_and_answers_its_line(small_world: World, api: Api, base: str) -> None:
    line, key, content = discharge_line(small_world), str(uuid4()), as_csv(sound_test().frame())
    client = api("engineer")
    codes = []
    for _ in range(2):
        body = {"id": key, "line": str(line.pk), "file": named(content)}
        answer = client.post(f"{base}recordings/", body, format="multipart")
        codes.append(answer.status_code)
    assert codes == [201, 200], answer.data
    assert answer.data["state"] == "to_confirm"
    body = {"columns": answer.data["column_map"], "inputs": INPUTS}
    read = client.post(f"{base}recordings/{key}/confirm/", body)
    assert (read.status_code, read.data["state"], read.data["verdict"]) == (200, "read", "accept"), read.data
    # independent: the synthetic string is made to pass its end voltage after exactly 4 h
    assert read.data["summary"]["outputs"]["time_to_end"]["value"] == pytest.approx(240, abs=0.05)
    assert client.get(f"{base}lines/{line.pk}/").data["state"] == "passed"
    plots = client.get(f"{base}recordings/{key}/plot/?from=10&to=20").data["plots"]
    assert 10 <= min(plots[0]["times"]) <= max(plots[0]["times"]) <= 20
    assert [one["id"] for one in client.get(f"{base}recordings/?kind=discharge").data["results"]] == [key]


def test_refusals_name_their_field(small_world: World, api: Api, base: str) -> None:
    client, content = api("engineer"), as_csv(sound_test().frame())
    lost = client.post(f"{base}recordings/", {"file": named(content)}, format="multipart")
    assert set(lost.data["fields"]) == {"system"}
    system = str(small_world.system.pk)
    wrong = client.post(f"{base}recordings/", {"system": system, "file": named(b"nothing")}, format="multipart")
    assert (wrong.status_code, set(wrong.data["fields"])) == (400, {"file"})
    made = client.post(f"{base}recordings/", {"system": system, "file": named(content)}, format="multipart").data
    address = f"{base}recordings/{made['id']}/"
    for columns in ({"time": "first"}, {"time": [0, 1]}, {"time": {}}, {"time": True}, {"cells": "7"}):
        body = {"columns": {**made["column_map"], **columns}, "inputs": INPUTS}
        refused = client.post(f"{address}confirm/", body)
        assert (refused.status_code, set(refused.data["fields"])) == (400, set(columns)), refused.data
    assert client.post(f"{address}confirm/", {"columns": {}, "inputs": {"colour": "red"}}).status_code == 400
    assert client.get(f"{address}plot/").status_code == 409
    assert client.get(f"{address}plot/?from=soon").status_code in (400, 409)


def test_a_client_reads_and_a_stranger_finds_nothing(small_world: World, api: Api, base: str) -> None:
    content = as_csv(sound_test().frame())
    body = {"system": str(small_world.system.pk), "file": named(content)}
    made = api("manager").post(f"{base}recordings/", body, format="multipart").data
    assert api("client").get(f"{base}recordings/{made['id']}/").status_code == 200
    assert api("stranger").get(f"{base}recordings/{made['id']}/").status_code == 404
    body["file"] = named(content)
    assert api("client").post(f"{base}recordings/", body, format="multipart").status_code == 403
    assert TestRecording.objects.count() == 1
