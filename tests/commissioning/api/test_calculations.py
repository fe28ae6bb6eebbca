"""Calculations over the API say what the shell says, and refuse what it refuses."""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rest_framework.test import APIClient

import calcs
from calcs.__main__ import main
from commissioning.api.calculations import checked
from commissioning.errors import InvalidInput
from commissioning.models import User
from tests.commissioning.api.conftest import speaks_for
from tests.support.examples import EXAMPLES

ADDRESS = "/api/v1/calculations/"


@pytest.fixture
def client() -> APIClient:
    """Somebody who is signed in; the catalogue needs no project and no database."""
    return speaks_for(User(pk=1, username="somebody"))


def shell(*words: str) -> Any:
    done = subprocess.run([sys.executable, "-m", "calcs", *words, "--json"], capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_every_calculation_answers_what_the_shell_answers(
    client: APIClient, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["run", name, *(f"{key}={value}" for key, value in EXAMPLES[name].items()), "--json"]) == 0
    answer = client.post(f"{ADDRESS}{name}/run/", {"inputs": EXAMPLES[name]})
    assert answer.status_code == 200, answer.content
    assert json.loads(answer.content) == json.loads(capsys.readouterr().out)
    assert main(["show", name, "--json"]) == 0
    assert json.loads(client.get(f"{ADDRESS}{name}/").content) == json.loads(capsys.readouterr().out)


def test_the_examples_are_of_every_calculation() -> None:
    assert sorted(EXAMPLES) == sorted(calcs.names())


def test_the_real_shell_agrees(client: APIClient) -> None:
    assert json.loads(client.get(ADDRESS).content) == shell("list")
    inputs = EXAMPLES["pole_insulation"]
    told = shell("run", "pole_insulation", *(f"{key}={value}" for key, value in inputs.items()))
    assert json.loads(client.post(f"{ADDRESS}pole_insulation/run/", {"inputs": inputs}).content) == told


def test_numbers_and_lists_are_taken_as_json_has_them(client: APIClient) -> None:
    # published: 462, 463, 455 V line to line give 1.0870 % by the greatest deviation from the mean
    answer = client.post(f"{ADDRESS}voltage_unbalance/run/", {"inputs": {"ab": 462, "bc": 463, "ca": 455}})
    assert answer.data["outputs"]["max_deviation"]["value"] == pytest.approx(1.0870, abs=5e-5)
    # published: 10.1, 9.8, 10.3, 9.8 A shared by like modules spread over 5.0 %
    answer = client.post(f"{ADDRESS}load_share/run/", {"inputs": {"currents": [10.1, 9.8, 10.3, 9.8]}})
    assert answer.data["outputs"]["spread"]["value"] == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("inputs", "field"),
    [
        ({"nominal": 230}, "measured"),
        ({"measured": "230 A", "nominal": 230}, "measured"),
        ({"measured": True, "nominal": 230}, "measured"),
        ({"measured": [230], "nominal": 230}, "measured"),
        ({"measured": {"value": 230}, "nominal": 230}, "measured"),
        ({"measured": 230, "nominal": 230, "mesured": 1}, "mesured"),
        ({"measured": "nan", "nominal": 230}, "measured"),
        ({"measured": 1e300, "nominal": 230}, "measured"),
    ],
)
def test_wrong_inputs_are_named(client: APIClient, inputs: dict[str, Any], field: str) -> None:
    answer = client.post(f"{ADDRESS}ac_supply_tolerance/run/", {"inputs": inputs})
    assert (answer.status_code, set(answer.data["fields"])) == (400, {field}), answer.data


def test_nothing_opens_a_file_of_the_server(client: APIClient) -> None:
    for recording in ("/etc/hostname", {"time": ["x"], "voltage": [[1]]}, ["/etc/hostname"]):
        answer = client.post(f"{ADDRESS}discharge_log/run/", {"inputs": {"recording": recording}})
        assert (answer.status_code, set(answer.data["fields"])) == (400, {"recording"}), recording


def test_a_calculation_that_is_not_there_and_one_who_is_not_signed_in(client: APIClient) -> None:
    assert client.post(f"{ADDRESS}no_such/run/", {"inputs": {}}).status_code == 404
    assert APIClient().get(ADDRESS).status_code == 401


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=12),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=300, deadline=None)
@given(data=st.data(), name=st.sampled_from(sorted(EXAMPLES)))
def test_whatever_json_comes_in_it_is_calculated_or_refused(data: st.DataObject, name: str) -> None:
    definition = calcs.get(name)
    inputs: dict[str, Any] = {**EXAMPLES[name]}
    for one in data.draw(st.lists(st.sampled_from([one.name for one in definition.inputs]), max_size=2, unique=True)):
        inputs[one] = data.draw(JSON)
    try:
        answer = calcs.run(name, checked(definition, inputs)).as_json()
    except (calcs.InputError, InvalidInput):
        return
    json.dumps(answer, allow_nan=False)
