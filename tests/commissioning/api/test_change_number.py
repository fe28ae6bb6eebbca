"""Whoever looks on at a system asks whether anything happened: a number, or 304 while nothing has."""

from __future__ import annotations

import pytest
from rest_framework.test import APIClient

from commissioning.services.lines import record_result
from tests.commissioning.api.conftest import speaks_for
from tests.commissioning.views.run_plant import line_on, started
from tests.support.world import World, make_project

pytestmark = pytest.mark.django_db


def ask(client: APIClient, world: World, mark: str = "") -> object:
    headers = {"If-None-Match": mark} if mark else {}
    return client.get(f"/api/v1/projects/{world.project.code}/systems/{world.system.pk}/change/", headers=headers)


def test_nothing_is_answered_until_something_happens_in_that_system(small_world: World) -> None:
    client = speaks_for(small_world.client)
    line = line_on(started(small_world))
    first = ask(client, small_world)
    mark = first["ETag"]
    assert mark == f'"{first.data["change"]}"'
    assert first["Cache-Control"] == "private, no-cache"
    elsewhere = make_project(code="ELSE")
    line_on(started(elsewhere))
    again = ask(client, small_world, mark)
    assert (again.status_code, again.content) == (304, b"")
    assert ask(client, small_world, f"W/{mark}").status_code == 304  # a proxy that packs answers makes the mark weak
    record_result(actor=small_world.engineer, line=line, outcome="passed")
    news = ask(client, small_world, mark)
    assert news.status_code == 200
    assert news.data["change"] > first.data["change"]


def test_the_question_costs_the_same_however_long_the_history_is(
    small_world: World, django_assert_max_num_queries
) -> None:
    client = speaks_for(small_world.engineer)
    lines = [line_on(started(small_world))]
    lines += [line_on(lines[0].stage) for _ in range(20)]
    for line in lines:
        record_result(actor=small_world.engineer, line=line, outcome="passed")
    mark = ask(client, small_world)["ETag"]
    with django_assert_max_num_queries(6):
        assert ask(client, small_world, mark).status_code == 304
