"""From the phone: what arrived and what was refused stands on a page, with both records of a conflict."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from commissioning.models import OutboxItem
from commissioning.services.lines import record_result
from tests.commissioning.outbox.sending import Phone
from tests.commissioning.views.reading import address, main_words
from tests.commissioning.views.run_plant import line_on, started
from tests.support.world import World

pytestmark = pytest.mark.django_db
AGO = timedelta(minutes=1)


def page(world: World, who: str = "manager", query: str = "") -> str:
    browser = Client()
    browser.force_login(getattr(world, who))
    answer = browser.get(address(world.project.code, "from-the-phone") + query)
    assert answer.status_code == 200
    return main_words(answer)


def test_what_arrived_stands_there_with_whose_phone_it_came_from(small_world: World) -> None:
    line = line_on(started(small_world), title="Terminals tight")
    phone = Phone(small_world, small_world.engineer, clock_ahead=timedelta(hours=2))
    phone.send(phone.result(line))
    said = page(small_world)
    assert "the phone of Tobin Ashgrove" in said
    assert "its clock was 120 min fast, corrected" in said
    assert "check result GUB10 Terminals tight" in said
    assert "arrived" in said


def test_what_was_refused_stands_there_with_its_reason_and_what_was_typed(small_world: World) -> None:
    line = line_on(started(small_world), title="Terminals tight")
    phone = Phone(small_world, small_world.engineer)
    item = phone.result(line, "failed", "")
    (refused,) = phone.results(item)
    said = page(small_world, query="?state=needs_you")
    assert refused["refusal"]["detail"] in said
    assert "outcome failed" in said
    phone.client.post(f"{phone.base}{item['id']}/drop/", {"reason": "Looked again"})
    assert "Dropped by Tobin Ashgrove" in page(small_world, query="?state=dropped")
    assert "Looked again" in page(small_world)
    assert "Nothing from a phone is like that." in page(small_world, query="?state=needs_you")


@pytest.mark.parametrize("late", [True, False])
def test_of_two_answers_on_a_line_both_stand_there_and_which_of_them_holds(small_world: World, late: bool) -> None:
    line = line_on(started(small_world))
    record_result(actor=small_world.second_engineer, line=line, outcome="passed", remark="Clean",
                  at=timezone.now() - 30 * AGO)  # fmt: skip
    phone = Phone(small_world, small_world.engineer)
    phone.send(phone.result(line, "failed", "Fuse pulled", ago=60 * AGO if late else AGO))
    said = page(small_world, query="?state=told")
    mine = said[said.index("from the phone: Tobin Ashgrove") : said.index("the other: ")]
    theirs = said[said.index("the other: Wren Halloway") :]
    assert "failed, Fuse pulled" in mine
    assert "passed, Clean" in theirs
    assert ("kept, superseded" in mine, "; stands" in mine) == (late, not late)
    assert ("kept, superseded" in theirs, "; stands" in theirs) == (not late, late)


def test_an_engineer_sees_their_own_and_a_client_none(small_world: World) -> None:
    stage = started(small_world)
    for who, title in ((small_world.engineer, "Own line"), (small_world.second_engineer, "Line of another")):
        phone = Phone(small_world, who)
        phone.send(phone.result(line_on(stage, title=title)))
    own = page(small_world, "engineer")
    assert ("Own line" in own, "Line of another" in own) == (True, False)
    everybodys = page(small_world)
    assert ("Own line" in everybodys, "Line of another" in everybodys) == (True, True)
    browser = Client()
    browser.force_login(small_world.client)
    assert browser.get(address(small_world.project.code, "from-the-phone")).status_code == 403


def test_many_entries_cost_as_many_queries_as_few(small_world: World) -> None:
    stage, phone = started(small_world), Phone(small_world, small_world.engineer)
    counts = []
    for more in (2, 15):
        phone.send(*[phone.result(line_on(stage)) for _ in range(more)])
        with CaptureQueriesContext(connection) as queries:
            page(small_world)
        counts.append(len(queries))
    assert OutboxItem.objects.count() == 17
    assert counts[0] == counts[1]
