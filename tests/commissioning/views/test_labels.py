"""Who gets which labels, and where a label leads."""

from __future__ import annotations

import subprocess
from pathlib import Path
from uuid import uuid4

import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import reverse

from commissioning.forms import labels as forms
from commissioning.labels.codes import code_of
from commissioning.models import Role, Site
from tests.commissioning.views.plant import add_equipment
from tests.commissioning.views.reading import address, signed_in, words
from tests.support.world import World, make_member, make_project, make_system, make_user

pytestmark = pytest.mark.django_db


def _page(world: World) -> str:
    return address(world.project.code, "labels")


def _tags_in(answer: HttpResponse, folder: Path) -> str:
    assert answer["Content-Type"] == "application/pdf"
    pdf = folder / "labels.pdf"
    pdf.write_bytes(answer.content)
    return subprocess.run(["pdftotext", "-raw", pdf, "-"], check=True, capture_output=True, text=True).stdout


def _codes_in(answer: HttpResponse, folder: Path) -> list[str]:
    pdf = folder / "labels.pdf"
    pdf.write_bytes(answer.content)
    subprocess.run(["pdftoppm", "-r", "150", "-gray", "-singlefile", pdf, folder / "sheet"], check=True)
    found = subprocess.run(["zbarimg", "-q", "--raw", folder / "sheet.pgm"], capture_output=True, text=True)
    return sorted(found.stdout.split())


def _asked(**given: object) -> dict[str, object]:
    return {"which": "ticked", "stock": "a4-63x38", "start": "1", **given}


def test_a_sheet_for_chosen_tags_is_read_by_a_scanner(small_world: World, tmp_path: Path, settings) -> None:
    settings.PUBLIC_URL = "https://tracker.ombrefell.example"
    wanted = [add_equipment(small_world.system, f"GUB10-T{n}") for n in (1, 2)]
    add_equipment(small_world.system, "GUB10-T3")
    browser = signed_in(small_world.engineer)
    answer = browser.post(_page(small_world), _asked(key=[str(piece.pk) for piece in wanted]))
    assert _codes_in(answer, tmp_path) == sorted(
        f"https://tracker.ombrefell.example/t/{code_of(piece.pk)}/" for piece in wanted
    )
    assert "GUB10-T3" not in _tags_in(answer, tmp_path)
    opened = browser.get(f"/t/{code_of(wanted[0].pk)}/")
    assert opened["Location"] == address(small_world.project.code, "tags", wanted[0].pk)


def test_all_that_were_found_are_printed(small_world: World, tmp_path: Path) -> None:
    other = make_system(site=small_world.site, tag="GUB20")
    for tag, system in (("GUB10-T1", small_world.system), ("GUB20-T1", other)):
        add_equipment(system, tag)
    answer = signed_in(small_world.client).post(_page(small_world), _asked(which="found", system="GUB20"))
    found = _tags_in(answer, tmp_path)
    assert "GUB20-T1" in found
    assert "GUB10-T1" not in found


def test_the_list_is_narrowed_by_words_and_site(small_world: World) -> None:
    add_equipment(small_world.system, "GUB10-T1", description="rectifier cabinet")
    add_equipment(small_world.system, "GUB10-G1", description="battery")
    Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    browser = signed_in(small_world.manager)
    assert "GUB10-T1" in words(browser.get(_page(small_world), {"q": "rect cab"}))
    assert "GUB10-G1" not in words(browser.get(_page(small_world), {"q": "rect cab"}))
    elsewhere = small_world.project.sites.get(code="VOF").pk
    assert "No tag fits" in words(browser.get(_page(small_world), {"site": str(elsewhere)}))


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({}, "Tick at least one tag"),
        ({"key": str(uuid4())}, "Tick at least one tag"),
        ({"key": "no key"}, "Tick at least one tag"),
        ({"start": "22"}, "has 21 labels"),
        ({"start": "0"}, "number 1"),
        ({"start": ""}, "Write 1"),
        ({"down": "99"}, "No more than 10 mm"),
        ({"right": "a bit"}, "Write it in mm"),
    ],
)
def test_what_is_missing_is_said_and_what_was_chosen_stays(small_world: World, given: dict, said: str) -> None:
    piece = add_equipment(small_world.system, "GUB10-T1")
    keep = {} if said.startswith("Tick") else {"key": str(piece.pk)}
    answer = signed_in(small_world.engineer).post(_page(small_world), _asked(**keep, **given))
    assert answer.status_code == 422
    assert said in words(answer)
    assert (f'value="{piece.pk}" checked' in answer.content.decode()) == bool(keep)


def test_more_labels_than_a_file_holds_are_made_in_parts(small_world: World, monkeypatch) -> None:
    monkeypatch.setattr("commissioning.views.labels.LABELS_LIMIT", 2)
    for n in range(3):
        add_equipment(small_world.system, f"GUB10-T{n}")
    answer = signed_in(small_world.engineer).post(_page(small_world), _asked(which="found"))
    assert "One file holds 2 labels" in words(answer)
    assert forms.LABELS_LIMIT == 1000


def test_a_label_asks_for_sign_in_and_then_opens_its_tag(small_world: World) -> None:
    piece = add_equipment(small_world.system, "GUB10-T1")
    label = f"/t/{code_of(piece.pk)}/"
    assert Client().get(label)["Location"] == f"{reverse('sign-in')}?next={label}"
    assert signed_in(small_world.client).get(label, follow=True).status_code == 200
    of_system = signed_in(small_world.client).get(f"/t/{code_of(small_world.system.pk)}/")
    assert of_system["Location"] == address(small_world.project.code, "systems", small_world.system.pk)


def test_a_renamed_tag_keeps_its_label(small_world: World) -> None:
    piece = add_equipment(small_world.system, "GUB10-T1")
    piece.tag, piece.former_tags = "GUB10-T9", ["GUB10-T1"]
    piece.save()
    answer = signed_in(small_world.engineer).get(f"/t/{code_of(piece.pk)}/", follow=True)
    assert "GUB10-T9" in words(answer)


def test_a_label_leads_strangers_nowhere(small_world: World) -> None:
    piece = add_equipment(small_world.system, "GUB10-T1")
    elsewhere = Site.objects.create(project=small_world.project, code="VOF", name="Vexley Outfall")
    visitor = make_user(username="visitor", name="Una Threlkeld")
    make_member(project=small_world.project, user=visitor, role=Role.MANAGER, sites=[elsewhere])
    gone = small_world.project.memberships.get(user=small_world.second_engineer)
    gone.left_at = gone.project.created_at
    gone.save()
    for person in (small_world.stranger, make_project().manager, visitor, small_world.second_engineer):
        for record in (piece, small_world.system):
            assert signed_in(person).get(f"/t/{code_of(record.pk)}/").status_code == 404


def test_labels_of_another_site_or_project_are_not_printed(small_world: World) -> None:
    theirs = add_equipment(make_project().system, "GUB10-T1")
    add_equipment(small_world.system, "GUB10-T2")
    answer = signed_in(small_world.manager).post(_page(small_world), _asked(key=str(theirs.pk)))
    assert answer.status_code == 422


def test_the_list_costs_the_same_however_long_it_is(small_world: World, django_assert_max_num_queries) -> None:
    for n in range(40):
        add_equipment(small_world.system, f"GUB10-T{n:02d}")
    browser = signed_in(small_world.manager)
    with django_assert_max_num_queries(13):
        browser.get(_page(small_world))
