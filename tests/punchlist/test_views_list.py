"""The list's pages: filters, kept views, bulk assignment, export; for each role and a stranger."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import date, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from openpyxl import load_workbook

from punchlist.models import PunchItem, SavedView
from punchlist.services.items import rectify_item
from punchlist.services.views import save_view
from tests.punchlist.making import make_equipment, make_item
from tests.support.world import World, make_project

pytestmark = pytest.mark.django_db
SignIn = Callable[[str], Client]
At = Callable[..., str]


def numbers(client: Client, address: str) -> list[int]:
    response = client.get(address)
    assert response.status_code == 200
    return [item.number for item in response.context["page_obj"]]


@pytest.mark.parametrize(("who", "assigns"), [("manager", True), ("engineer", True), ("client", False)])
def test_every_member_sees_the_list_and_workers_may_assign(
    small_world: World, signed_in: SignIn, at: At, who: str, assigns: bool
) -> None:
    make_item(small_world)
    page = signed_in(who).get(at("punch-list")).content.decode()
    assert "Gland plate left open" in page
    assert ("say who owes the ticked ones" in page) is assigns


@pytest.mark.parametrize("name", ["punch-list", "punch-export", "punch-views", "punch-bulk"])
def test_a_stranger_finds_nothing(signed_in: SignIn, at: At, name: str) -> None:
    assert signed_in("stranger").get(at(name)).status_code == 404


def test_an_empty_list_says_what_belongs_here(signed_in: SignIn, at: At) -> None:
    page = signed_in("engineer").get(at("punch-list")).content.decode()
    assert "Snags belong here" in page


def test_a_filter_that_fits_nothing_says_so(small_world: World, signed_in: SignIn, at: At) -> None:
    make_item(small_world)
    page = signed_in("engineer").get(at("punch-list") + "?q=nothing+like+it").content.decode()
    assert "No punch item fits." in page


def test_mine_then_a_then_oldest_and_any_other_order_on_demand(small_world: World, signed_in: SignIn, at: At) -> None:
    make_item(small_world, category="B")
    make_item(small_world, category="A")
    make_item(small_world, category="C", owes=small_world.engineer)
    client = signed_in("engineer")
    assert numbers(client, at("punch-list")) == [3, 2, 1]
    assert numbers(client, at("punch-list") + "?sort=number") == [1, 2, 3]
    assert numbers(client, at("punch-list") + "?mine=true") == [3]


def test_an_address_that_makes_no_sense_shows_what_it_can(small_world: World, signed_in: SignIn, at: At) -> None:
    make_item(small_world, category="B")
    make_item(small_world)
    odd = "?category=Z&sort=colour&page=nine&stage=later&overdue=perhaps&q=%00&assigned=no&site=%F0%9F%94%8B"
    assert signed_in("engineer").get(at("punch-list") + odd).status_code == 200
    assert numbers(signed_in("engineer"), at("punch-list") + "?category=B&sort=colour") == [1]


def test_five_items_and_fifty_take_the_same_number_of_queries(small_world: World, signed_in: SignIn, at: At) -> None:
    counts = []
    for number in (5, 45):
        for place in range(number):
            make_item(small_world, equipment=make_equipment(small_world.system, f"GUB10-{number}-{place}"))
        client = signed_in("engineer")
        with CaptureQueriesContext(connection) as queries:
            client.get(at("punch-list"))
        counts.append(len(queries))
    assert counts[0] == counts[1]
    assert counts[0] <= 14


# kept views


def test_a_view_is_kept_under_a_name_and_leads_back(small_world: World, signed_in: SignIn, at: At) -> None:
    client = signed_in("engineer")
    query = "mine=true&category=A&page=3&next=x"
    response = client.post(at("punch-views"), {"name": "  my  A items ", "query": query})
    view = SavedView.objects.get()
    assert (view.name, view.query, view.owner) == ("my A items", "mine=true&category=A", small_world.engineer)
    assert response["Location"] == f"{at('punch-list')}?mine=true&category=A"
    assert "my A items" in client.get(at("punch-list")).content.decode()
    assert "my A items" not in signed_in("manager").get(at("punch-list")).content.decode()


def test_only_a_manager_keeps_a_view_for_everybody(small_world: World, signed_in: SignIn, at: At) -> None:
    given = {"name": "overdue", "query": "overdue=true", "shared": "on"}
    assert signed_in("engineer").post(at("punch-views"), given).status_code == 403
    assert signed_in("manager").post(at("punch-views"), given).status_code == 302
    assert "overdue" in signed_in("client").get(at("punch-views")).content.decode()


def test_a_view_is_dropped_by_its_owner_and_not_found_by_others(small_world: World, signed_in: SignIn, at: At) -> None:
    view = save_view(actor=small_world.engineer, project=small_world.project, name="mine", query="mine=true")
    assert signed_in("manager").post(at("punch-view-drop", view.pk)).status_code == 404
    assert signed_in("engineer").get(at("punch-view-drop", view.pk)).status_code == 405
    signed_in("engineer").post(at("punch-view-drop", view.pk))
    assert not SavedView.objects.exists()


def test_the_same_name_again_replaces_the_view(small_world: World, signed_in: SignIn, at: At) -> None:
    for query in ("mine=true", "overdue=true"):
        signed_in("engineer").post(at("punch-views"), {"name": "daily", "query": query})
    assert SavedView.objects.get().query == "overdue=true"


# bulk assignment


def test_ticked_items_are_assigned_and_it_is_taken_back(small_world: World, signed_in: SignIn, at: At) -> None:
    for _ in range(3):
        make_item(small_world)
    client = signed_in("manager")
    page = client.get(at("punch-bulk"), {"item": ["1", "3"], "back": "category=A"})
    assert [item.number for item in page.context["items"]] == [1, 3]
    given = {"item": ["1", "3"], "owes": small_world.engineer.pk, "due_on": "2026-05-01", "back": "category=A"}
    response = client.post(at("punch-bulk"), given)
    assert list(PunchItem.objects.order_by("number").values_list("owes", "due_on")) == [
        (small_world.engineer.pk, date(2026, 5, 1)),
        (None, None),
        (small_world.engineer.pk, date(2026, 5, 1)),
    ]
    assert response["Location"].startswith(f"{at('punch-list')}?category=A&assigned=")
    listed = client.get(response["Location"])
    batch = listed.context["assigned"]
    assert "take the last assignment back" in listed.content.decode()
    client.post(at("punch-bulk-undo", batch), {"back": "category=A"})
    assert not PunchItem.objects.filter(owes__isnull=False).exists()


def test_nothing_ticked_leads_back_to_the_list(signed_in: SignIn, at: At) -> None:
    response = signed_in("manager").get(at("punch-bulk"), follow=True)
    assert "Tick the items first" in response.content.decode()


def test_a_client_cannot_assign(small_world: World, signed_in: SignIn, at: At) -> None:
    make_item(small_world)
    response = signed_in("client").post(at("punch-bulk"), {"item": "1", "owes": small_world.engineer.pk})
    assert response.status_code == 400
    assert PunchItem.objects.get().owes is None


def test_items_of_another_project_cannot_be_ticked(small_world: World, signed_in: SignIn, at: At) -> None:
    other = make_project()
    for _ in range(3):
        make_item(other)
    make_item(small_world)
    signed_in("manager").post(at("punch-bulk"), {"item": ["1", "2", "3"], "owes": small_world.engineer.pk})
    assert PunchItem.objects.filter(owes=small_world.engineer).get().project == small_world.project


def test_nobody_takes_person_and_company_off(small_world: World, signed_in: SignIn, at: At) -> None:
    make_item(small_world, owes=small_world.engineer, owes_company="Pellwick Electrical")
    signed_in("manager").post(at("punch-bulk"), {"item": "1", "owes": "nobody"})
    item = PunchItem.objects.get()
    assert (item.owes, item.owes_company) == (None, "")


# the workbook

DANGEROUS = ["=1+1", '=HYPERLINK("http://x")', "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", "\r=1+1", "=cmd|' /C calc'!A0"]


def workbook(client: Client, address: str) -> list[list[object]]:
    response = client.get(address)
    assert response.status_code == 200
    assert response["Content-Disposition"].startswith("attachment")
    book = load_workbook(io.BytesIO(b"".join(response.streaming_content)))  # type: ignore[attr-defined]
    return [list(row) for row in book.active.iter_rows()]  # type: ignore[union-attr]


def test_no_cell_of_the_export_runs_as_a_formula(small_world: World, signed_in: SignIn, at: At) -> None:
    for words in DANGEROUS:
        item = make_item(small_world, text=f"x{words}", owes_company=words)
        PunchItem.objects.filter(pk=item.pk).update(text=words, owes_company=words)  # as it might come another way
        rectify_item(actor=small_world.engineer, item=item, remark=f"{words} ")
    cells = [cell for row in workbook(signed_in("client"), at("punch-export")) for cell in row]
    assert {cell.data_type for cell in cells} <= {"s", "n", "d"}  # type: ignore[attr-defined]
    texts = [cell for cell in cells if cell.data_type == "s"]  # type: ignore[attr-defined]
    assert all(cell.quotePrefix for cell in texts)  # type: ignore[attr-defined]
    values = {cell.value for cell in texts}  # type: ignore[attr-defined]
    assert {"=1+1", "+1+1", "-1+1", "@SUM(A1)", "=cmd|' /C calc'!A0"} <= values


def test_the_export_holds_what_the_filter_holds_as_real_dates(small_world: World, signed_in: SignIn, at: At) -> None:
    raised = timezone.now() - timedelta(days=1)
    make_item(small_world, category="B", due_on=date(2026, 5, 1), at=raised, text="Two lines\nof words")
    make_item(small_world, category="C")
    head, *rows = workbook(signed_in("manager"), at("punch-export") + "?category=B")
    found = dict(zip([cell.value for cell in head], [cell.value for cell in rows[0]], strict=True))  # type: ignore[attr-defined]
    local = raised.astimezone(ZoneInfo("Europe/London")).replace(tzinfo=None)
    assert len(rows) == 1
    assert (found["number"], found["category"], found["what"]) == ("P-1", "B", "Two lines\nof words")
    assert found["due"].date() == date(2026, 5, 1)  # type: ignore[union-attr]
    assert abs(found["raised at (Europe/London)"] - local) < timedelta(seconds=1)


def test_characters_that_a_workbook_cannot_hold_are_left_out(small_world: World, signed_in: SignIn, at: At) -> None:
    make_item(small_world, text="Bell\x07 and \x0bbreak")
    _, row = workbook(signed_in("manager"), at("punch-export"))
    assert "Bell and break" in [cell.value for cell in row]  # type: ignore[attr-defined]


def test_a_long_export_takes_as_many_queries_as_a_short_one(small_world: World, signed_in: SignIn, at: At) -> None:
    counts = []
    for number in (5, 45):
        for _ in range(number):
            make_item(small_world)
        client = signed_in("client")
        with CaptureQueriesContext(connection) as queries:
            workbook(client, at("punch-export"))
        counts.append(len(queries))
    assert counts[0] == counts[1]
