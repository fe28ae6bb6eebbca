"""Lists: a fixed number of queries, pages that miss nothing, filters, and sites that are not one's own."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from commissioning.api.base import ListView
from commissioning.models import (
    AlarmSighting,
    CheckLine,
    Equipment,
    Reading,
    Role,
    SignalPoint,
    Site,
    SupplyPoint,
)
from tests.commissioning.api.asking import api_patterns
from tests.commissioning.api.conftest import Api, speaks_for
from tests.commissioning.api.matrix import ROWS
from tests.commissioning.api.rows import LISTS, alarms, systems
from tests.support.lifecycle import equip
from tests.support.world import World, make_member, make_system, make_user

pytestmark = pytest.mark.django_db


#: Lists that are counted in the tests of their own rooms, or that hold no rows of the database.
ELSEWHERE = {
    "api-dossiers", "api-recordings", "api-punch-items", "api-projects", "api-calculations", "api-bundled-procedures",
}  # fmt: skip


@pytest.mark.parametrize("make", LISTS, ids=lambda one: one.__name__)
def test_a_list_costs_the_same_queries_for_5_rows_and_for_50(
    small_world: World, base: str, make: Callable[[World, int], str]
) -> None:
    client = speaks_for(small_world.manager)
    costs, shown = [], []
    for number in (5, 50):
        path = make(small_world, number)
        with CaptureQueriesContext(
            connection,
        ) as asked:
            answer = client.get(f"{base}{path}?page_size=100")
        assert answer.status_code == 200, answer.content
        costs.append(len(asked))
        shown.append(len(answer.data["results"]))
    assert shown[1] >= 50 > shown[0] >= 5
    assert costs[0] == costs[1]
    assert costs[1] <= 25
    if make is not systems:  # a system's row asks the gate
        assert costs[1] <= 6


def test_every_list_is_counted() -> None:
    plural = {row.name for row in ROWS if row.method == "get" and row.name not in ELSEWHERE and _lists(row.name)}
    assert len(plural) == len(LISTS)


def _lists(name: str) -> bool:
    return any(one.name == name and issubclass(one.callback.cls, ListView) for one in api_patterns())


def test_pages_by_keyset_show_each_row_once_while_others_are_added(small_world: World, api: Api, base: str) -> None:
    alarms(small_world, 7)
    client, seen = api("client"), []
    address = f"{base}alarms/?page_size=3"
    while address:
        page = client.get(address).data
        seen += [row["text"] for row in page["results"]]
        address = page["next"]
        alarms(small_world, len(seen) + 5 if len(seen) < 7 else 0)
    assert len(seen) == len(set(seen)) >= 7


def test_lines_of_a_system_come_in_the_order_in_which_they_are_done(small_world: World, api: Api, base: str) -> None:
    equip(small_world)
    client, seen = api("engineer"), []
    address = f"{base}lines/?system=GUB10&page_size=40"
    while address:
        page = client.get(address).data
        seen += [(row["stage_kind"], row["order"]) for row in page["results"]]
        address = page["next"]
    rows = CheckLine.objects.order_by("stage__order", "order").values_list("stage__kind", "order")
    assert seen == list(rows)
    assert len(seen) > 40


def test_systems_are_filtered_by_site_kind_stage_and_whether_they_are_held(
    small_world: World, api: Api, base: str
) -> None:
    other = Site.objects.create(project=small_world.project, code="TTW", name="Tarnholt Treatment Works")
    make_system(site=other, tag="UPS1", kind="ups")
    SupplyPoint.objects.create(system=small_world.system, tag="Q1", kind="battery")

    def tags(query: str) -> set[str]:
        return {row["tag"] for row in api("manager").get(f"{base}systems/?{query}").data["results"]}

    assert tags("") == {"GUB10", "UPS1"}
    assert tags("site=TTW") == tags(f"site={other.pk}") == tags("kind=ups") == tags("text=tarnholt ups1") == {"UPS1"}
    assert tags("stage=mechanical_completion") == {"GUB10", "UPS1"}
    assert tags("stage=energisation") == set()
    held = {row["tag"] for row in api("manager").get(f"{base}systems/").data["results"] if row["held"]}
    assert tags("held=true") == held
    assert tags("held=false") == {"GUB10", "UPS1"} - held


def test_a_member_of_one_site_sees_that_site_only(small_world: World, base: str) -> None:
    here = small_world.site
    other = Site.objects.create(project=small_world.project, code="TTW", name="Tarnholt Treatment Works")
    far = make_system(site=other, tag="UPS1", kind="ups")
    for system in (small_world.system, far):
        Equipment.objects.create(project=small_world.project, system=system, tag=f"{system.tag}-T1")
        SupplyPoint.objects.create(system=system, tag="Q1", kind="incomer")
        SignalPoint.objects.create(system=system, tag="K1", description="Mains failed")
        stage = system.stages.get(order=1)
        line = CheckLine.objects.create(stage=stage, key="a", order=1, title="Look")
        AlarmSighting.objects.create(
            system=system, stage=stage, text="Fault", seen_by=small_world.engineer, seen_at=timezone.now()
        )
        Reading.objects.create(
            project=small_world.project, system=system, line=line, calculation="ripple", edition="1",
            by=small_world.engineer, taken_at=timezone.now(),
        )  # fmt: skip
    narrow = make_user(username="narrow", name="Odo Penhale")
    make_member(project=small_world.project, user=narrow, role=Role.FIELD_ENGINEER, sites=[here])
    client = speaks_for(narrow)
    lists = ("sites", "systems", "equipment", "lines", "supplies", "signals", "alarms", "readings")
    assert {path: len(client.get(f"{base}{path}/").data["results"]) for path in lists} == dict.fromkeys(lists, 1)
    stage, line = far.stages.get(order=1), CheckLine.objects.get(stage__system=far)
    for path in (
        f"sites/{other.pk}", f"systems/{far.pk}", f"stages/{stage.pk}", f"lines/{line.pk}",
        f"readings/{line.readings.get().pk}", f"supplies/{far.supplies.get().pk}", f"signals/{far.signals.get().pk}",
        f"alarms/{far.alarms.get().pk}", f"equipment/{far.equipment.get().pk}",
    ):  # fmt: skip
        assert client.get(f"{base}{path}/").status_code == 404, path
    assert client.post(f"{base}lines/{line.pk}/results/", {"outcome": "passed"}).status_code == 404
    named = client.post(f"{base}alarms/", {"stage": str(stage.pk), "text": "Fault"})
    assert (named.status_code, set(named.data["fields"])) == (400, {"stage"})
