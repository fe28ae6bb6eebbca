"""What is this thing, is it safe, what is wrong with it?"""

from __future__ import annotations

import pytest
from django.utils import timezone

from commissioning.models import Reading
from punchlist.services.items import raise_item
from tests.commissioning.views.plant import add_equipment, add_supply, record_live
from tests.commissioning.views.reading import address, links, main_words, signed_in, words
from tests.support.world import World

pytestmark = pytest.mark.django_db


def _by_name(world: World, tag: str) -> str:
    return address(world.project.code, "t", tag)


def test_a_label_opens_the_tag(small_world: World) -> None:
    piece = add_equipment(small_world.system, "GUB10-T1")
    answer = signed_in(small_world.engineer).get(_by_name(small_world, "GUB10-T1"))
    assert answer["Location"] == address(small_world.project.code, "tags", piece.pk)


def test_an_old_label_still_leads_there(small_world: World) -> None:
    piece = add_equipment(small_world.system, "GUB10-T1", former_tags=["CH-7", "CH-7A"])
    answer = signed_in(small_world.engineer).get(_by_name(small_world, "CH-7A"), follow=True)
    assert answer.redirect_chain[-1][0] == address(small_world.project.code, "tags", piece.pk)
    assert "formerly CH-7, CH-7A" in words(answer)
    assert signed_in(small_world.engineer).get(_by_name(small_world, "CH")).status_code == 404


def test_a_tag_in_use_wins_over_a_former_one(small_world: World) -> None:
    add_equipment(small_world.system, "GUB10-T1", former_tags=["CH-7"])
    now = add_equipment(small_world.system, "CH-7")
    answer = signed_in(small_world.engineer).get(_by_name(small_world, "CH-7"))
    assert answer["Location"] == address(small_world.project.code, "tags", now.pk)


@pytest.mark.parametrize("tag", ["=A1+B2-Q1/3", "Ω 48 V", "ш-1"])
def test_a_tag_of_any_scheme_can_be_opened(small_world: World, tag: str) -> None:
    piece = add_equipment(small_world.system, tag)
    answer = signed_in(small_world.engineer).get(_by_name(small_world, tag))
    assert answer["Location"] == address(small_world.project.code, "tags", piece.pk)


def test_the_tag_says_what_is_wrong_and_how_to_raise_more(small_world: World) -> None:
    piece = add_equipment(small_world.system, "GUB10-T1", description="rectifier cubicle", serial_number="FO-1001")
    stage = small_world.stages[0]
    other = add_equipment(small_world.system, "GUB10-T2")
    for equipment, text in ((piece, "Door does not earth"), (other, "Label mistyped")):
        raise_item(
            actor=small_world.client, system=stage.system, stage=stage, category="B", text=text, equipment=equipment
        )
    answer = signed_in(small_world.engineer).get(address(small_world.project.code, "tags", piece.pk))
    said = main_words(answer)
    assert "rectifier cubicle" in said
    assert "FO-1001" in said
    assert "P-1 open Door does not earth" in said
    assert "Label mistyped" not in said
    assert any(f"equipment={piece.pk}" in link for link in links(answer))


def test_the_tag_of_a_live_system_says_live(small_world: World) -> None:
    piece = add_equipment(small_world.system, "GUB10-T1")
    record_live(add_supply(small_world.system, isolated_by=small_world.engineer), by=small_world.engineer)
    answer = signed_in(small_world.client).get(address(small_world.project.code, "tags", piece.pk))
    assert 'class="has-live"' in answer.content.decode()
    assert "LIVE" in words(answer)


def test_the_last_readings_stand_with_their_verdict(small_world: World) -> None:
    piece = add_equipment(small_world.system, "GUB10-T1")
    fields = {"project": small_world.project, "system": small_world.system, "equipment": piece, "edition": "1"}
    Reading.objects.create(
        **fields, calculation="float_voltage", verdict="reject", by=small_world.engineer, taken_at=timezone.now()
    )
    Reading.objects.create(
        **fields,
        calculation="old_one",
        verdict="accept",
        by=small_world.engineer,
        taken_at=timezone.now(),
        superseded_at=timezone.now(),
    )
    said = main_words(signed_in(small_world.client).get(address(small_world.project.code, "tags", piece.pk)))
    assert "float_voltage reject" in said
    assert "old_one" not in said
