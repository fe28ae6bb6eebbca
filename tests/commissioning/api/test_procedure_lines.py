"""Lines of a project's procedure through the API: added, changed, moved, left out."""

from __future__ import annotations

import pytest

from commissioning.models import Procedure
from tests.commissioning.api.conftest import Api
from tests.support.lifecycle import equip
from tests.support.world import World

pytestmark = pytest.mark.django_db


def test_a_line_is_added_moved_changed_and_left_out(small_world: World, api: Api, base: str) -> None:
    equip(small_world)
    client, procedure = api("manager"), Procedure.objects.get()
    lines = f"{base}procedures/{procedure.pk}/lines/"
    keys = [row["key"] for row in client.get(f"{lines}?stage_kind=energisation").data["results"]]
    made = client.post(lines, {"stage_kind": "energisation", "after": keys[1], "title": "Look at the door"})
    assert (made.status_code, made.data["key"]) == (201, "own-001")
    one = f"{base}procedure-lines/{made.data['id']}/"
    assert client.post(f"{one}place/", {"after": keys[0]}).status_code == 200
    now = [row["key"] for row in client.get(f"{lines}?stage_kind=energisation").data["results"]]
    assert now == [keys[0], "own-001", *keys[1:]]
    assert client.patch(one, {"caution": "Live parts behind the door"}).data["caution"] == "Live parts behind the door"
    revision = client.get(f"{base}procedures/{procedure.pk}/").data["revision"]
    assert client.patch(one, {"caution": "Live parts behind the door"}).status_code == 200
    assert client.get(f"{base}procedures/{procedure.pk}/").data["revision"] == revision
    left_out = client.post(f"{one}remove/", {"reason": "There is no door"})
    assert (left_out.status_code, left_out.data["revision"]) == (200, revision + 1)
    assert client.get(one).status_code == 404


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"title": " "}, "title"),
        ({"limits": [{"output": "weight", "upper": 1, "source": "Specification"}]}, "limits.weight"),
        ({"limits": [{"output": "required_airflow", "upper": 1}]}, "limits"),
        (
            {"limits": [{"output": "required_airflow", "lower": 2, "upper": 1, "source": "S"}]},
            "limits.required_airflow",
        ),
        ({"calculation": "weight_of_the_moon"}, "calculation"),
        ({"inputs": {"batteries": {"kind": "measured", "colour": "red"}}}, "colour"),
        ({"key": "mc-151"}, "key"),
    ],
)
def test_a_line_that_could_not_be_done_is_refused_beside_its_field(
    small_world: World, api: Api, base: str, changes: dict[str, object], field: str
) -> None:
    equip(small_world)
    line = Procedure.objects.get().lines.get(key="mc-150")
    answer = api("manager").patch(f"{base}procedure-lines/{line.pk}/", changes)
    assert (answer.status_code, set(answer.data["fields"])) == (400, {field}), answer.data


def test_an_unknown_line_or_a_stage_that_the_kind_does_not_have_is_refused(
    small_world: World, api: Api, base: str
) -> None:
    client = api("manager")
    procedure = client.post(f"{base}procedures/", {"key": "dc_board"}).data
    lines = f"{base}procedures/{procedure['id']}/lines/"
    there = client.post(lines, {"stage_kind": "battery_connected", "title": "Look"})
    assert (there.status_code, set(there.data["fields"])) == (400, {"stage_kind"})
    lost = client.post(lines, {"stage_kind": "energisation", "title": "Look", "after": "zz-999"})
    assert (lost.status_code, set(lost.data["fields"])) == (400, {"after"})


def test_a_retired_instrument_is_brought_back(small_world: World, api: Api, base: str) -> None:
    client = api("engineer")
    made = client.post(f"{base}instruments/", {"serial_number": "IR-1", "description": "Insulation tester"}).data
    one = f"{base}instruments/{made['id']}/"
    retired = client.post(f"{one}retire/", {"reason": "Dropped"})
    assert (retired.status_code, retired.data["retired_reason"]) == (200, "Dropped")
    assert client.post(f"{one}retire/", {"reason": "Dropped"}).status_code == 409
    back = client.post(f"{one}bring-back/", {"reason": "Mended"})
    assert (back.status_code, back.data["retired_at"]) == (200, None)
