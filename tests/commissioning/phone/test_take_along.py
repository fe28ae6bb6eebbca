"""What a phone takes along: everything the day needs, of what the person may see, at a fixed price."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from commissioning.models import CheckLine, Role, Site
from commissioning.services import readings, stages
from tests.commissioning.api.conftest import speaks_for
from tests.punchlist.making import make_item
from tests.support.lifecycle import equip, isolate_all, make_instrument, typed_for
from tests.support.world import World, make_member, make_system, make_user

pytestmark = pytest.mark.django_db


def asked(world: World, *systems: object, who: object = None, **headers: str):
    query = "&".join(f"system={system}" for system in systems)
    path = f"/api/v1/projects/{world.project.code}/take-along/?{query}"
    return speaks_for(who or world.engineer).get(path, **headers)


def worked_on(world: World) -> CheckLine:
    """A system with its procedure, one reading recorded."""
    equip(world)
    make_instrument(world)
    isolate_all(world)
    stage = stages.start_stage(actor=world.engineer, stage=world.stages[0])
    line = CheckLine.objects.filter(stage=stage).exclude(calculation="").order_by("order")[0]
    readings.record_reading(actor=world.engineer, line=line, typed=typed_for(line))
    return line


def test_a_system_comes_with_lines_limits_tags_items_supplies_and_instruments(small_world: World) -> None:
    line, item = worked_on(small_world), make_item(small_world)
    body = asked(small_world, small_world.system.pk).json()
    [system] = body["systems"]
    lines = {one["id"]: one for stage in system["stages"] for one in stage["lines"]}
    assert len(lines) == CheckLine.objects.filter(stage__system=small_world.system).count()
    taken = lines[str(line.pk)]
    assert taken["standing"]["typed"] == typed_for(line)
    assert (taken["state"], taken["standing"]["by"]) == ("passed", "Tobin Ashgrove")
    assert taken["changed"] == taken["standing"]["recorded_at"]
    assert {one["tag"] for one in system["tags"]} >= {"B1", "T1"}
    assert [one["id"] for one in system["punch_items"]] == [str(item.pk)]
    assert {one["state"] for one in system["supplies"]} == {"isolated"}
    assert system["energy"]["words"] == "recorded isolated - prove dead at the point of work"
    assert "never dead" in system["battery"]["words"]
    assert [one["serial"] for one in body["instruments"]] == ["MM-4411"]
    assert body["instruments"][0]["ranges"][0]["percent_of_reading"] == 0.05
    assert body["head"] == small_world.project.audit_chain.last_sequence


def test_values_that_the_register_or_the_procedure_brings_come_with_the_line(small_world: World) -> None:
    equip(small_world)
    [system] = asked(small_world, small_world.system.pk).json()["systems"]
    for stage in system["stages"]:
        for line in stage["lines"]:
            brought = {*line["fixed"], *line["nameplate"]}
            typed = {one["name"] for one in line["asked"]}
            assert not brought & typed, line["title"]
            assert line["recording"] or set(line["inputs"]) <= brought | typed, line["title"]
    brought = [line["nameplate"] for stage in system["stages"] for line in stage["lines"]]
    assert any(one.get("cells") == {"value": 54, "unit": ""} for one in brought)  # as the world's register has it


def test_it_costs_the_same_queries_for_one_system_and_for_six(small_world: World) -> None:
    worked_on(small_world)
    systems = [
        small_world.system,
        *(make_system(site=small_world.site, tag=f"LV{n}", kind="lv_board") for n in range(5)),
    ]
    costs = []
    for number in (1, 6):
        with CaptureQueriesContext(connection) as taken:
            answer = asked(small_world, *(system.pk for system in systems[:number]))
        assert len(answer.json()["systems"]) == number
        costs.append(len(taken))
    assert costs[0] == costs[1] <= 40, costs


def test_a_system_of_a_site_that_is_not_ones_own_is_missing(small_world: World) -> None:
    there = make_user(username="merrin", name="Merrin Vale")
    other = Site.objects.create(project=small_world.project, code="VEX", name="Vexley Outfall")
    make_member(project=small_world.project, user=there, role=Role.FIELD_ENGINEER, sites=[other])
    body = asked(small_world, small_world.system.pk, who=there).json()
    assert (body["systems"], body["missing"]) == ([], [str(small_world.system.pk)])


def test_what_has_not_changed_is_not_sent_again(small_world: World) -> None:
    line = worked_on(small_world)
    first = asked(small_world, small_world.system.pk)
    again = asked(small_world, small_world.system.pk, HTTP_IF_NONE_MATCH=first["ETag"])
    assert (again.status_code, again.content) == (304, b"")
    other = asked(small_world, small_world.system.pk, who=small_world.manager, HTTP_IF_NONE_MATCH=first["ETag"])
    assert other.status_code == 200, "another person's answer is another answer"
    readings.record_reading(actor=small_world.engineer, line=line, typed=typed_for(line))
    assert asked(small_world, small_world.system.pk, HTTP_IF_NONE_MATCH=first["ETag"]).status_code == 200


@pytest.mark.parametrize("query", ["system=x", "&".join(f"system={n:032x}" for n in range(41)), "systems=1"])
def test_a_query_that_cannot_be_right_is_refused_in_words(small_world: World, query: str) -> None:
    path = f"/api/v1/projects/{small_world.project.code}/take-along/?{query}"
    assert speaks_for(small_world.engineer).get(path).status_code == 400
