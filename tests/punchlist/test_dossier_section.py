"""What the punch list puts into a dossier: frozen, complete, and drawn by the dossier's own code."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone
from pytest_django import DjangoAssertNumQueries

from commissioning.dossier.page import Sheet
from commissioning.dossier.sections.evidence import photos
from commissioning.dossier.sections.field import provided
from punchlist.dossier_section import punch_section
from punchlist.services.items import assign_items, change_item, close_item, rectify_item, send_back_item
from punchlist.services.photos import add_photo
from tests.punchlist.making import make_equipment, make_item, picture
from tests.support.world import World, make_project, make_system

pytestmark = pytest.mark.django_db


def section(world: World, *more: Any) -> dict[str, Any]:
    return punch_section(systems=[world.system.pk, *more], at=timezone.now())


def refs(data: dict[str, Any], world: World) -> dict[str, list[str]]:
    groups = data["by_system"][str(world.system.pk)]["section"]["groups"]
    return {group["title"]: [row["ref"] for row in group["rows"]] for group in groups}


def closed(world: World, **fields: Any) -> Any:
    item = make_item(world, **fields)
    rectify_item(actor=world.engineer, item=item, remark="Plate fitted")
    return close_item(actor=world.client, item=item)


def test_items_stand_in_the_list_they_belong_to(small_world: World) -> None:
    for category in "ABC":
        make_item(small_world, category=category)
    closed(small_world)
    data = section(small_world)
    assert refs(data, small_world) == {
        "Category A, not closed": ["P-1"],
        "Carried over": ["P-2", "P-3"],
        "Closed": ["P-4"],
    }
    assert [item["label"] for item in data["carry_over"]] == ["P-2", "P-3"]
    assert [row["text"][:15] for row in data["blocking"]] == ["P-1, category A", "P-2, category B"]


def test_a_stricter_project_misses_c_items_too() -> None:
    world = make_project(c_blocks_handover=True)
    make_item(world, category="C")
    (row,) = section(world)["blocking"]
    assert (row["system"], row["tag"], row["where"]) == (
        str(world.system.pk),
        "GUB10",
        "Punch list, mechanical completion",
    )


def test_the_whole_story_of_an_item_is_frozen(small_world: World) -> None:
    item = make_item(small_world, equipment=make_equipment(small_world.system, "GUB10-Q1"), due_on=date(2026, 1, 2))
    assign_items(
        actor=small_world.manager, project=small_world.project, items=[item.pk], owes=small_world.second_engineer
    )
    rectify_item(actor=small_world.engineer, item=item, remark="Plate fitted")
    send_back_item(actor=small_world.client, item=item, reason="One screw missing")
    change_item(actor=small_world.manager, item=item, category="B", reason="Agreed on site")
    frozen = section(small_world)["items"][0]
    assert (frozen["tag"], frozen["category"], frozen["state"], frozen["owes"]) == (
        "GUB10-Q1",
        "B",
        "sent back",
        "Wren Halloway",
    )
    assert [(s["step"], s["by"], s["remark"]) for s in frozen["steps"]] == [
        ("raised", "Tobin Ashgrove", ""),
        ("assigned", "Isolde Marrack", ""),
        ("rectified", "Tobin Ashgrove", "Plate fitted"),
        ("sent back", "Perpetua Lunn", "One screw missing"),
        ("changed", "Isolde Marrack", "Agreed on site"),
    ]
    assert frozen["steps"][-1]["changes"] == {"category": ["A", "B"]}
    assert (frozen["due_on"], frozen["overdue"]) == ("2026-01-02", True)
    row = section(small_world)["by_system"][str(small_world.system.pk)]["section"]["groups"][1]["rows"][0]
    assert row["owed"] == "Wren Halloway\ndue 2026-01-02, overdue"
    assert "sent back, Perpetua Lunn: One screw missing" in row["story"]
    assert "changed, Isolde Marrack: Agreed on site: category was A" in row["story"]


def test_overdue_is_told_by_the_day_on_site() -> None:
    world = make_project()
    make_item(world, due_on=timezone.localdate() + timedelta(days=1))
    day_after = timezone.now() + timedelta(days=3)
    assert section(world)["items"][0]["overdue"] is False
    assert punch_section(systems=[world.system.pk], at=day_after)["items"][0]["overdue"] is True


def test_photos_are_named_by_hash_and_their_file_holds_just_that(small_world: World) -> None:
    item = make_item(small_world)
    photo = add_photo(actor=small_world.engineer, item=item, file=picture(), caption="Bottom entry")
    (frozen,) = section(small_world)["by_system"][str(small_world.system.pk)]["photos"]
    assert (frozen["ref"], frozen["sha256"], frozen["caption"]) == ("P-1/1", photo.sha256, "Bottom entry")
    assert (frozen["width"], frozen["height"], frozen["by"]) == (60, 40, "Tobin Ashgrove")
    assert default_storage.exists(frozen["path"])


def test_the_data_is_plain_and_says_the_same_each_time(small_world: World) -> None:
    add_photo(actor=small_world.engineer, item=closed(small_world), file=picture())
    at = timezone.now()
    first, second = (punch_section(systems=[small_world.system.pk], at=at) for _ in range(2))
    assert json.dumps(first) == json.dumps(second)


def test_the_dossier_draws_it(small_world: World, tmp_path: Path) -> None:
    add_photo(actor=small_world.engineer, item=closed(small_world), file=picture())
    make_item(small_world, category="C")
    data = section(small_world)["by_system"][str(small_world.system.pk)]
    place = {"id": str(small_world.system.pk), "tag": "GUB10"}
    sheet = Sheet(tmp_path / "section.pdf", "A4", "GUB10")
    provided(sheet, {**place, **data["section"]})
    photos(sheet, {**place, "rows": data["photos"]})
    notes = sheet.finish()
    assert [title for _, title, *_ in notes.bookmarks] == ["Punch list", "Photos"]
    assert [photo["sha256"] for photo in data["photos"]] == notes.image_pages[0]


def test_many_systems_take_as_many_queries_as_one(
    small_world: World, django_assert_num_queries: DjangoAssertNumQueries
) -> None:
    others = [make_system(site=small_world.site, tag=f"GUB{n}") for n in range(20, 25)]
    for system in [small_world.system, *others]:
        for category in "ABC":
            item = closed(small_world, system=system, category=category)
            add_photo(actor=small_world.engineer, item=item, file=picture())
    with django_assert_num_queries(4):
        assert len(section(small_world)["items"]) == 3
    with django_assert_num_queries(4):
        assert len(section(small_world, *[system.pk for system in others])["items"]) == 18


def test_a_system_without_items_says_so_in_each_group(small_world: World) -> None:
    groups = section(small_world)["by_system"][str(small_world.system.pk)]["section"]["groups"]
    assert [(group["rows"], bool(group["empty"])) for group in groups] == [([], True)] * 3
