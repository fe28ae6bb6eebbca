"""The workbook that is written: read by others as text, and read back by us as no change at all."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase
from openpyxl import Workbook, load_workbook

from commissioning.models import Equipment, Project, Role, Site, SupplyPoint, System
from commissioning.register_import.apply import apply_plan, plan_import
from commissioning.register_import.columns import ERROR_VALUES, NONE_WORD, tidy
from commissioning.register_import.export import FORMULA_STARTS, export_register, text_cell
from commissioning.register_import.template import make_template
from commissioning.selectors.access import Access, access_or_404
from tests.support import books, world


def exported(access: Access) -> io.BytesIO:
    out = io.BytesIO()
    export_register(access=access, out=out)
    out.seek(0)
    return out


def manager(w: world.World) -> Access:
    return access_or_404(user=w.manager, project=w.project)


@pytest.mark.django_db
def test_exported_and_imported_again_nothing_changes(small_world: world.World) -> None:
    access = manager(small_world)
    apply_plan(access=access, plan=plan_import(access=access, file=books.xlsx(books.GOOD), name="register.xlsx"))
    again = plan_import(access=access, file=exported(access), name="export.xlsx")
    assert not again.problems
    assert not again.notes
    assert again.changes_nothing
    assert sum(sheet.same for sheet in again.sheets.values()) == books.GOOD_ROWS + 2


@pytest.mark.django_db
def test_an_export_into_an_empty_project_builds_the_same_register(small_world: world.World) -> None:
    access = manager(small_world)
    apply_plan(access=access, plan=plan_import(access=access, file=books.xlsx(books.GOOD), name="register.xlsx"))
    other = world.make_project()
    System.objects.filter(project=other.project).delete()
    Site.objects.filter(project=other.project).delete()
    sheets = books.cells(exported(access))
    for row in sheets["Snags"][1:]:
        row[0] = None if str(row[0]).startswith("P-") else row[0]  # our own numbers mean nothing in another project
    plan = plan_import(access=manager(other), file=books.xlsx(sheets), name="export.xlsx")
    assert not plan.problems, [problem.words for problem in plan.problems]
    apply_plan(access=manager(other), plan=plan)
    first, second = books.cells(exported(access)), books.cells(exported(manager(other)))
    assert {title: rows for title, rows in first.items() if title != "Snags"} == {
        title: rows for title, rows in second.items() if title != "Snags"
    }


@pytest.mark.django_db
def test_a_person_exports_the_sites_they_may_see(small_world: world.World) -> None:
    Site.objects.create(project=small_world.project, code="VXO", name="Vexley Outfall")
    user = world.make_user(username="one-site", name="Edda Quince")
    world.make_member(project=small_world.project, user=user, role=Role.FIELD_ENGINEER, sites=[small_world.site])
    sheets = books.cells(exported(access_or_404(user=user, project=small_world.project)))
    assert [row[0] for row in sheets["Sites"]] == ["code *", "QPS"]


@pytest.mark.parametrize("start", FORMULA_STARTS)
@pytest.mark.parametrize("rest", ["1+1", "cmd|' /C calc'!A0", "SUM(A1:A9)", 'HYPERLINK("http://x")', " plain"])
def test_no_text_is_written_as_a_formula_and_it_reads_back_equal(start: str, rest: str) -> None:
    book = Workbook(write_only=True)
    tab = book.create_sheet("Equipment")
    tab.append([text_cell(tab, start + rest)])
    out = io.BytesIO()
    book.save(out)
    cell = load_workbook(out)["Equipment"]["A1"]
    assert (cell.value, cell.data_type, cell.quotePrefix) == (start + rest, "s", True)
    with zipfile.ZipFile(out) as archive:
        assert b"<f>" not in archive.read("xl/worksheets/sheet1.xml")


@pytest.mark.parametrize("word", sorted(ERROR_VALUES))
def test_words_that_look_like_errors_are_written_as_text(word: str) -> None:
    book = Workbook(write_only=True)
    tab = book.create_sheet("Equipment")
    tab.append([text_cell(tab, word)])
    out = io.BytesIO()
    book.save(out)
    assert load_workbook(out)["Equipment"]["A1"].data_type == "s"


@pytest.mark.django_db
def test_a_hostile_register_exports_without_formulas_and_comes_back_unchanged(small_world: world.World) -> None:
    for at, start in enumerate(("=", "+", "-", "@")):
        Equipment.objects.create(
            project=small_world.project,
            system=small_world.system,
            tag=f"{start}T{at}",
            description=f'{start}HYPERLINK("http://x","y")',
            serial_number=f"{start}1",
        )
    access = manager(small_world)
    out = exported(access)
    with zipfile.ZipFile(out) as archive:
        assert not [n for n in archive.namelist() if "sheet" in n and b"<f>" in archive.read(n)]
    again = plan_import(access=access, file=out, name="export.xlsx")
    assert again.changes_nothing
    assert not again.problems


def test_the_template_is_read_without_a_note_or_a_problem() -> None:
    out = io.BytesIO()
    make_template(out)
    book = load_workbook(out)
    assert book.sheetnames[0] == "Notes"
    assert book["Lists"].sheet_state == "hidden"
    rules = {str(rule.sqref): rule for rule in book["Systems"].data_validations.dataValidation}
    kinds = rules["D2:D20001"]
    assert kinds.type == "list"
    column = kinds.formula1.split("!")[1].replace("$", "")
    labels = [cell[0].value for cell in book["Lists"][column]]
    assert "DC power system, VRLA battery" in labels
    assert rules["B2:B20001"].formula1 == "'Sites'!$A$2:$A$20001"
    assert all(rule.prompt for rule in rules.values())


@pytest.mark.django_db
def test_every_heading_of_the_template_is_explained_on_its_notes(small_world: world.World) -> None:
    out = io.BytesIO()
    make_template(out)
    sheets = books.cells(out)
    explained = {(row[0], row[1]) for row in sheets["Notes"]}
    for title, rows in sheets.items():
        if title not in ("Notes", "Lists"):
            for heading in rows[0]:
                assert (title, heading.replace(" *", "").split(" [")[0]) in explained
    plan = plan_import(access=manager(small_world), file=out, name="template.xlsx")
    assert (plan.notes, plan.problems, plan.changes_nothing) == ([], [], True)


def _texts(size: int) -> st.SearchStrategy[str]:
    """Anything that the register can hold: the services and the import keep text tidied."""
    return st.text(st.characters(codec="utf-8"), max_size=size).map(tidy).filter(_is_kept).map(lambda t: t[:size])


def _is_kept(text: str) -> bool:
    return text not in ERROR_VALUES and text.casefold() != NONE_WORD and len(text) <= 60


def _tags() -> st.SearchStrategy[str]:
    return _texts(30).filter(bool)


_NUMBERS = st.one_of(st.integers(1, 750), st.floats(1, 750, allow_nan=False))
#: Notes hold anything but NUL, which no database keeps in text.
_NOTES = st.text(st.characters(codec="utf-8", exclude_characters="\x00"), max_size=40)
_PIECES = st.lists(
    st.fixed_dictionaries(
        {
            "tag": _tags(),
            "description": _texts(60),
            "serial_number": _texts(20),
            "maker": _texts(20),
            "model": _texts(20),
            "kind": st.sampled_from(Equipment._meta.get_field("kind").choices).map(lambda choice: choice[0]),
            "former_tags": st.lists(_tags().filter(lambda tag: ";" not in tag), max_size=2, unique=True),
            "nameplate": st.fixed_dictionaries(
                {}, optional={"cells": st.integers(1, 750), "rated_current_a": _NUMBERS, "material": st.just("cu")}
            ),
        }
    ),
    max_size=4,
    unique_by=lambda piece: piece["tag"],
)


class RoundTrip(TestCase):
    """Any small register, written out and read again, is the same register."""

    @settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
    @given(pieces=_PIECES, site_name=_texts(60).filter(bool), notes=_NOTES)
    def test_export_then_import_changes_nothing(self, pieces: list[dict[str, Any]], site_name: str, notes: str) -> None:
        w = world.make_project()
        Site.objects.filter(pk=w.site.pk).update(name=site_name, notes="" if notes.strip() in ERROR_VALUES else notes)
        _make(w.project, w.system, pieces)
        again = plan_import(access=manager(w), file=exported(manager(w)), name="export.xlsx")
        assert not [problem.words for problem in again.problems]
        changed = [sheet.shown(row) for sheet in again.sheets.values() for row in (*sheet.added, *sheet.changed)]
        assert changed == []


def _make(project: Project, system: System, pieces: Iterable[dict[str, Any]]) -> None:
    parent = None
    for piece in pieces:
        parent = Equipment.objects.create(project=project, system=system, parent=parent, **piece)
        SupplyPoint.objects.create(system=system, tag=piece["tag"], kind="incomer", description=piece["description"])
