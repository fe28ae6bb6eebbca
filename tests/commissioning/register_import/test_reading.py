"""Files as they come: workbooks, CSV in any dress, zips and folders; and those that are not taken."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from commissioning.register_import import archives
from commissioning.register_import.archives import Unreadable
from commissioning.register_import.reading import read_upload
from commissioning.register_import.rows import Workbook
from commissioning.register_import.sheets import REGISTER
from tests.support import books

SITES = [["code", "name", "notes"], ["TTW", "Tarnholt – Überlauf", "gate 2, key at Ω desk"]]


def read(file: io.BytesIO | Path, name: str = "register.xlsx") -> Workbook:
    return read_upload(file=file, name=name, sheets=REGISTER)


def values(workbook: Workbook, sheet: str) -> list[dict[str, object]]:
    return [row.values for row in workbook.sheets[sheet].rows]


def test_a_workbook_a_zip_and_a_folder_read_the_same(tmp_path: Path) -> None:
    sheets = {title: rows for title, rows in books.GOOD.items() if title != "Snags"}
    for title, rows in sheets.items():
        (tmp_path / f"{title.lower().replace(' ', '_')}.csv").write_text(books.csv_text(rows), encoding="utf-8")
    from_workbook = read(books.xlsx(sheets))
    assert not from_workbook.problems
    for other in (read(books.csv_zip(sheets), "register.zip"), read(tmp_path, "folder")):
        assert not other.problems
        for name in from_workbook.sheets:
            assert values(other, name) == values(from_workbook, name)


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_csv_in_any_dress(delimiter: str, encoding: str) -> None:
    text = books.csv_text(SITES, delimiter=delimiter)
    found = read(io.BytesIO(text.encode(encoding)), "Sites.csv")
    assert values(found, "sites") == [dict(zip(SITES[0], SITES[1], strict=True))]
    assert not found.notes


def test_windows_text_is_guessed_and_the_guess_is_told() -> None:
    rows = [["code", "name"], ["TTW", "Überlauf – 2"]]
    found = read(io.BytesIO(books.csv_text(rows, delimiter=";").encode("cp1252")), "sites.csv")
    assert values(found, "sites")[0]["name"] == "Überlauf – 2"
    assert "cp1252" in found.notes[0]


def test_a_spreadsheets_sep_line_names_the_delimiter_and_rows_keep_their_numbers() -> None:
    text = 'sep=;\r\ncode;name;notes\r\nTTW;Tarnholt;"two\r\nlines"\r\nVXO;;\r\nbad;' + "x" * 201 + ";\r\n"
    found = read(io.BytesIO(text.encode()), "sites.csv")
    assert [row.number for row in found.sheets["sites"].rows] == [3, 5, 6]
    assert values(found, "sites")[0]["notes"] == "two\nlines"
    assert [problem.row for problem in found.problems] == [6]


def test_headings_may_stand_lower_be_moved_and_differ_in_capitals() -> None:
    rows = [["Ombrefell Water, list of sites"], [], [" NAME *", "Code", None], ["Tarnholt", "TTW"]]
    found = read(books.xlsx({"SITES": rows}))
    assert values(found, "sites") == [{"code": "TTW", "name": "Tarnholt"}]
    assert found.sheets["sites"].rows[0].number == 4


def test_what_is_not_known_is_left_out_aloud() -> None:
    found = read(books.xlsx({"Sites": [["code", "naem"], ["TTW", "x"]], "Equpment": [["tag"]], "Notes": [["hello"]]}))
    assert any("'naem'" in note and "Did you mean 'name'?" in note for note in found.notes)
    assert any("'Equpment'" in note and "Did you mean 'Equipment'?" in note for note in found.notes)
    assert len(found.notes) == 2


def test_every_bad_cell_is_reported_at_once_with_its_place() -> None:
    rows = [
        ["tag", "system", "kind", "cells", "serial number"],
        ["B1", "S1", "batery", 54, None],
        [None, "S1", "battery", 54, None],
        ["B3", "S1", "battery", "many", "#REF!"],
    ]
    found = read(books.xlsx({"Equipment": rows}))
    places = [(problem.row, problem.column) for problem in found.problems]
    assert places == [(2, "kind"), (3, "tag"), (4, "cells"), (4, "serial number")]
    assert all(problem.wrong and problem.right for problem in found.problems)


def test_missing_and_doubled_headings_and_sheets_are_problems() -> None:
    found = read(books.xlsx({"Supply points": [["system", "kind", "Kind"], ["S1", "battery", "battery"]]}))
    assert {(problem.column, problem.wrong) for problem in found.problems} == {
        ("tag", "the column is missing"),
        ("kind", "the heading is there twice"),
    }
    twice = read(books.xlsx({"Sites": SITES, "sites ": SITES}))
    assert [problem.wrong for problem in twice.problems] == ["the sheet is there twice"]
    headless = read(books.xlsx({"Sites": [["TTW", "Tarnholt"]]}))
    assert [problem.wrong for problem in headless.problems] == ["no heading row was found"]


def _lying_dimension() -> io.BytesIO:
    book = books.xlsx({"Sites": SITES})
    with zipfile.ZipFile(book) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml")
    lie = b'<dimension ref="A1:XFD1048576"/><sheetData>'
    return books.with_member(book, "xl/worksheets/sheet1.xml", sheet.replace(b"<sheetData>", lie))


def test_a_sheet_that_lies_about_its_size_is_read_by_what_it_holds() -> None:
    assert values(read(_lying_dimension()), "sites") == [dict(zip(SITES[0], SITES[1], strict=True))]


def _bomb(name: str) -> io.BytesIO:
    return books.zipped([(name, b"\x00" * (archives.UNPACKED_BYTES + 1))])


def _with_doctype() -> io.BytesIO:
    bomb = b'<?xml version="1.0"?><!DOCTYPE lolz [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;&a;">]><sst>&b;</sst>'
    return books.with_member(books.xlsx({"Sites": SITES}), "xl/sharedStrings.xml", bomb)


def _with_macros() -> io.BytesIO:
    return books.with_member(books.xlsx({"Sites": SITES}), "xl/vbaProject.bin", b"macro")


def _macro_types() -> io.BytesIO:
    types = b'<Types><Override ContentType="application/vnd.ms-excel.sheet.macroEnabled.main+xml"/></Types>'
    return books.with_member(books.xlsx({"Sites": SITES}), "[Content_Types].xml", types)


def _link() -> io.BytesIO:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        info = zipfile.ZipInfo("sites.csv")
        info.external_attr = 0o120777 << 16
        archive.writestr(info, "/etc/passwd")
    return out


def _shortened() -> io.BytesIO:
    return io.BytesIO(books.xlsx({"Sites": SITES}).getvalue()[:-200])


def _broken_sheet() -> io.BytesIO:
    return books.with_member(books.xlsx({"Sites": SITES}), "xl/worksheets/sheet1.xml", b"<worksheet><sheetData><row>")


@pytest.mark.parametrize(
    ("make", "name", "words"),
    [
        (lambda: _bomb("Sites.csv"), "x.zip", "Unpacked"),
        (lambda: _bomb("xl/worksheets/sheet1.xml"), "x.xlsx", "Unpacked"),
        (_with_doctype, "x.xlsx", "declarations"),
        (_with_macros, "x.xlsx", "macros"),
        (_macro_types, "x.xlsx", "macros"),
        (lambda: books.xlsx({"Sites": SITES}), "x.xlsm", "macros"),
        (lambda: books.zipped([("../sites.csv", b"code,name")]), "x.zip", "outside"),
        (lambda: books.zipped([("/etc/sites.csv", b"code,name")]), "x.zip", "outside"),
        (lambda: books.zipped([("a\\..\\..\\sites.csv", b"code,name")]), "x.zip", "outside"),
        (lambda: books.zipped([("C:/sites.csv", b"code,name")]), "x.zip", "outside"),
        (_link, "x.zip", "link"),
        (_shortened, "x.xlsx", "damaged"),
        (_broken_sheet, "x.xlsx", "damaged"),
        (lambda: io.BytesIO(b"\xd0\xcf\x11\xe0" + b"\x00" * 600), "x.xls", "old .xls"),
        (lambda: books.zipped([("mimetype", b"x"), ("content.xml", b"<a/>")]), "x.ods", "OpenDocument"),
        (lambda: books.zipped([("readme.md", b"hello")]), "x.zip", "Name the sheets"),
        (lambda: io.BytesIO(b""), "x.xlsx", "Name the sheets"),
        (lambda: io.BytesIO(b"%PDF-1.7"), "manual.pdf", "Name the sheets"),
    ],
)
def test_files_that_are_not_taken(make: Callable[[], io.BytesIO], name: str, words: str) -> None:
    with pytest.raises(Unreadable, match=words):
        read(make(), name)


def test_what_an_operating_system_adds_to_a_zip_is_passed_over() -> None:
    text = books.csv_text(SITES).encode()
    members = [("list/", b""), ("list/Sites.csv", text), ("__MACOSX/list/._Sites.csv", b"\x00")]
    found = read(books.zipped(members), "x.zip")
    assert len(found.sheets["sites"].rows) == 1
    assert not found.notes


def test_more_rows_than_can_be_taken_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("commissioning.register_import.reading.ROW_LIMIT", 10)
    rows = [["code", "name"], *([f"S{at}", "x"] for at in range(11))]
    with pytest.raises(Unreadable, match="Split it"):
        read(books.xlsx({"Sites": rows}))


def test_progress_is_told_while_reading() -> None:
    told: list[int] = []
    rows = [["code", "name"], *([f"S{at}", "x"] for at in range(1200))]
    read_upload(
        file=books.xlsx({"Sites": rows}),
        name="x.xlsx",
        sheets=REGISTER,
        progress=lambda done, total, words: told.append(done),
    )
    assert told == [500, 1000]


def test_rows_that_reach_too_far_to_the_right_are_refused() -> None:
    sheet = "".join(f'<row r="{at}"><c r="XFD{at}" s="0"/></row>' for at in range(2, 1200))
    book = books.xlsx({"Sites": SITES})
    with zipfile.ZipFile(book) as archive:
        xml = archive.read("xl/worksheets/sheet1.xml").decode()
    head, row, _ = xml.partition("</row>")
    with pytest.raises(Unreadable, match="too far to the right"):
        read(
            books.with_member(book, "xl/worksheets/sheet1.xml", f"{head}{row}{sheet}</sheetData></worksheet>".encode())
        )


_WHOLE = {"xlsx": books.xlsx(books.GOOD).getvalue(), "zip": books.csv_zip(books.GOOD).getvalue()}


@settings(max_examples=80, deadline=None)
@given(
    kind=st.sampled_from(sorted(_WHOLE)),
    changes=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=8),
    keep=st.floats(0.2, 1),
)
def test_a_damaged_file_is_read_or_refused_in_words(kind: str, changes: list[tuple[float, int]], keep: float) -> None:
    content = bytearray(_WHOLE[kind])
    for place, value in changes:
        content[int(place * len(content))] = value
    _read_or_refused(io.BytesIO(bytes(content[: int(len(content) * keep)]) if keep < 0.9 else bytes(content)))


_PARTS = {name: zipfile.ZipFile(books.xlsx(books.GOOD)).read(name) for name in ("xl/workbook.xml", "xl/styles.xml")} | {
    "xl/worksheets/sheet1.xml": zipfile.ZipFile(books.xlsx(books.GOOD)).read("xl/worksheets/sheet1.xml")
}


@settings(max_examples=80, deadline=None)
@given(
    part=st.sampled_from(sorted(_PARTS)),
    place=st.floats(0, 1, exclude_max=True),
    cut=st.integers(0, 40),
    put=st.binary(max_size=12),
)
def test_a_workbook_with_a_damaged_part_is_read_or_refused_in_words(
    part: str, place: float, cut: int, put: bytes
) -> None:
    content = _PARTS[part]
    at = int(place * len(content))
    _read_or_refused(books.with_member(books.xlsx(books.GOOD), part, content[:at] + put + content[at + cut :]))


def _read_or_refused(file: io.BytesIO) -> None:
    refused = ""
    try:
        workbook = read(file)
    except Unreadable as refusal:
        refused = refusal.words
    assert refused.endswith(".") if refused else all(problem.words for problem in workbook.problems)
