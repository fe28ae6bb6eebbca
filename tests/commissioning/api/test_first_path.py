"""The shortest way through the API: a token, the systems, one reading."""

from __future__ import annotations

from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from commissioning.models import CheckLine, Reading
from commissioning.services import stages
from tests.support.lifecycle import equip, isolate_all, make_instrument, typed_for
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db


def test_a_token_leads_to_the_systems_and_to_one_reading(small_world: World, base: str) -> None:
    equip(small_world)
    instrument = make_instrument(small_world)
    client = APIClient()
    client.default_format = "json"
    signed = client.post("/api/v1/token/", {"username": small_world.engineer.username, "password": PASSWORD})
    assert signed.status_code == 201, signed.data
    client.credentials(HTTP_AUTHORIZATION=f"Token {signed.data['token']}")

    assert [one["code"] for one in client.get("/api/v1/projects/").data] == [small_world.project.code]
    (system,) = client.get(f"{base}systems/").data["results"]
    assert (system["tag"], system["energy"], system["energy_words"]) == (
        "GUB10", "not_recorded", "not recorded - treat as LIVE",
    )  # fmt: skip
    isolate_all(small_world)
    stages.start_stage(actor=small_world.engineer, stage=small_world.stage("mechanical_completion"))
    line = CheckLine.objects.filter(stage__kind="mechanical_completion").exclude(calculation="").first()
    assert line is not None
    shown = client.get(f"{base}lines/{line.pk}/").data
    assert shown["energy"]["words"] == "recorded isolated - prove dead at the point of work"
    assert "never dead" in shown["energy"]["battery"]

    key = str(uuid4())
    body = {"id": key, "typed": typed_for(line), "taken_at": "2031-01-01T10:00:00Z"}
    late = client.post(f"{base}lines/{line.pk}/readings/", body)
    assert (late.status_code, set(late.data["fields"])) == (400, {"taken_at"})
    del body["taken_at"]
    before = line.stage.lines.filter(order__lt=line.order, point="hold").count()
    answer = client.post(f"{base}lines/{line.pk}/readings/", body)
    assert (before, answer.status_code) == (0, 201), answer.data
    assert answer.data["id"] == key
    assert answer.data["verdict"] == "accept"
    assert answer.data["result"]["working"]
    assert client.get(f"{base}readings/{key}/").data["inputs"][0]["typed"]
    assert Reading.objects.count() == 1
    assert client.get(f"{base}instruments/").data["results"][0]["id"] == str(instrument.pk)
