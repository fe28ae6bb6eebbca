"""What a built dossier holds, read back by other programs than those that made it."""

from __future__ import annotations

import json
import re
import zipfile
from io import BytesIO
from pathlib import Path
from typing import Any

import openpyxl
import pikepdf
import pytest

from commissioning.dossier.canonical import FrozenContent, content_hash, dumps
from commissioning.dossier.images import FileDiffers
from commissioning.dossier.render import BuildCancelled, build
from tests.commissioning.dossier import sample
from tests.commissioning.dossier.conftest import Issued
from tests.commissioning.dossier.reading import pages_of, run, text_of


def readings_of(content: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        reading
        for system in content["systems"]
        for stage in system["stages"]
        for record in stage["check_records"]
        for reading in record["readings"]
    ]


def bookmarks(pdf: pikepdf.Pdf) -> dict[str, int]:
    """Titles of the outline with the index of the page that each leads to."""
    numbers = {page.obj.objgen: index for index, page in enumerate(pdf.pages)}
    found: dict[str, int] = {}
    with pdf.open_outline() as outline:
        waiting = list(outline.root)
        while waiting:
            item = waiting.pop(0)
            found.setdefault(str(item.title), numbers[item.destination[0].objgen])
            waiting += item.children
    return found


def test_the_file_is_clean_and_every_face_is_embedded(issued: Issued) -> None:
    for pdf in (issued.pdf, issued.signed):
        assert "No syntax or stream encoding errors found" in run("qpdf", "--check", pdf)
        rows = run("pdffonts", pdf).splitlines()[2:]
        assert len(rows) >= 6
        assert all(re.search(r" yes +yes +yes +\d+ +\d+$", row) for row in rows)


def test_every_recorded_thing_is_printed(issued: Issued) -> None:
    text = text_of(issued.pdf)
    flat = re.sub(r"\s+", "", text)
    for system in issued.content["systems"]:
        for key in ("alarms", "signals", "permissions", "photos", "recordings"):
            assert [row["ref"] for row in system[key] if row["ref"] not in text] == []
        for group in system["sections"]["punch_list"]["groups"]:
            assert [row["ref"] for row in group["rows"] if row["ref"] not in text] == []
        for stage in system["stages"]:
            assert all(acceptance["hash"] in flat for acceptance in stage["acceptances"])
    assert [r["ref"] for r in readings_of(issued.content) if text.count(r["ref"]) < 2] == []


def test_signs_and_other_scripts_come_back_as_text(issued: Issued) -> None:
    text = text_of(issued.pdf)
    for words in ("=ΔU-Ω4", "→ ✓", "10⁻³", "水泵站", "배전반", "משאבה", "N·(Vref + k·(T − Tref))", "121.50"):
        assert words in text
    assert "μΩ link" in text.replace("µ", "μ")
    assert "قاطع" in text
    assert "[U+" not in text


def test_page_two_says_what_is_missing_and_every_page_says_interim(issued: Issued) -> None:
    pages = pages_of(issued.pdf)
    assert len(pages) == issued.report.pages
    assert "What is missing" in pages[1]
    assert "The stage is not accepted: no acceptance is recorded." in pages[1]
    assert [number for number, page in enumerate(pages, 1) if "INTERIM - not complete" not in page] == []
    assert [n for n, page in enumerate(pages, 1) if f"Page {n} of {len(pages)}" not in page] == []


def test_a_complete_dossier_is_not_marked_interim(tmp_path: Path) -> None:
    content = sample.content(1, missing=[], readings=4, photos=0, plots=0)
    build(content, files=sample.files_for(content, tmp_path / "f"), workdir=tmp_path / "w", out=tmp_path / "d.pdf")
    text = text_of(tmp_path / "d.pdf")
    assert "INTERIM" not in text
    assert "Nothing is missing" in pages_of(tmp_path / "d.pdf")[1]


def test_a_dossier_with_holes_is_interim_whatever_it_calls_itself(tmp_path: Path) -> None:
    content = sample.content(1, state="complete", readings=4, photos=0, plots=0)
    build(content, files=sample.files_for(content, tmp_path / "f"), workdir=tmp_path / "w", out=tmp_path / "d.pdf")
    assert all("INTERIM - not complete" in page for page in pages_of(tmp_path / "d.pdf"))


def test_bookmarks_and_contents_lead_to_the_pages_they_name(issued: Issued) -> None:
    pages = pages_of(issued.pdf)
    with pikepdf.open(issued.pdf) as pdf:
        titles = bookmarks(pdf)
        for title in ("Readings", "Punch list", "Annex: glossary", "Index of tags", "What is missing", "Photos"):
            assert title in pages[titles[title]]
        contents = pdf.pages[titles["Contents"]]
        numbers = {page.obj.objgen: index for index, page in enumerate(pdf.pages)}
        targets = [numbers[link.Dest[0].objgen] for link in contents.Annots]
    *printed, _pages_in_all = [int(found) for found in re.findall(r" (\d+)\n", pages[titles["Contents"]])]
    assert [target + 1 for target in targets] == printed
    assert len(printed) > 20


def test_index_of_tags_leads_to_pages_that_name_the_tag(issued: Issued) -> None:
    pages = pages_of(issued.pdf)
    line = next(line for line in pages[-1].splitlines() if line.startswith("+QPS01=BAT001-QB1 "))
    numbers = [int(number) for number in re.findall(r"\d+", line.removeprefix("+QPS01=BAT001-QB1"))]
    assert len(numbers) >= 3
    assert all("+QPS01=BAT001-QB1" in pages[number - 1] for number in numbers)


def test_certificates_are_merged_and_page_numbers_run_on(issued: Issued) -> None:
    pages = pages_of(issued.pdf)
    first = next(n for n, page in enumerate(pages) if "Calibration certificate of DMM-001, sheet 1" in page)
    assert "Calibration certificate of DMM-001, sheet 2" in pages[first + 1]
    assert f"Page {first + 2} of {len(pages)}" in pages[first + 1]


def test_the_twin_inside_is_the_frozen_content(issued: Issued) -> None:
    with pikepdf.open(issued.pdf) as pdf:
        inside = {name: pdf.attachments[name].get_file().read_bytes() for name in pdf.attachments}
    assert inside["content.json"].decode() == dumps(issued.content)
    assert issued.report.content_sha256 == content_hash(issued.content)
    manifest = json.loads(inside["manifest.json"])
    assert {p["sha256"] for s in issued.content["systems"] for p in s["photos"]} <= set(manifest["files"])
    book = openpyxl.load_workbook(BytesIO(inside["registers.xlsx"]), read_only=True)
    rows = list(book["Readings"].iter_rows(values_only=True))
    assert [row[3] for row in rows[1:]] == [reading["ref"] for reading in readings_of(issued.content)]
    assert rows[1][6] == readings_of(issued.content)[0]["value"]
    assert {"Punch list", "Check records", "Signals", "Alarms", "Instruments"} <= set(book.sheetnames)
    assert zipfile.ZipFile(BytesIO(inside["registers.xlsx"])).testzip() is None


def test_photos_pass_through_undecoded(issued: Issued) -> None:
    wanted = {sample.jpeg(number * 10 + n) for number in range(2) for n in range(2)}
    with pikepdf.open(issued.pdf) as pdf:
        found = {bytes(image.read_raw_bytes()) for page in pdf.pages for image in page.get_images().values()}
    assert wanted <= found


def test_the_code_on_the_cover_reads_as_the_address(issued: Issued, tmp_path: Path) -> None:
    run("pdftoppm", "-r", "150", "-l", "1", "-singlefile", "-png", issued.pdf, tmp_path / "cover")
    assert issued.content["url"] in run("zbarimg", "-q", "--raw", tmp_path / "cover.png")


def test_letter_paper_carries_the_same_record(tmp_path: Path) -> None:
    content = sample.content(1, paper="LETTER", readings=8)
    build(content, files=sample.files_for(content, tmp_path / "f"), workdir=tmp_path / "w", out=tmp_path / "d.pdf")
    assert "612 x 792 pts (letter)" in run("pdfinfo", tmp_path / "d.pdf")
    text = text_of(tmp_path / "d.pdf")
    assert all(reading["ref"] in text for reading in readings_of(content))


def test_long_text_wraps_and_is_whole_however_long(tmp_path: Path) -> None:
    words = [f"word{n}" for n in range(3000)]
    content = sample.content(1, readings=4, photos=0, plots=0)
    content["systems"][0]["stages"][0]["check_records"][0]["reason"] = " ".join(words)
    content["systems"][0]["alarms"][0]["ending"] = "X" * 900
    build(content, files=sample.files_for(content, tmp_path / "f"), workdir=tmp_path / "w", out=tmp_path / "d.pdf")
    text = text_of(tmp_path / "d.pdf", "-raw")
    assert set(words) <= set(re.findall(r"word\d+", text))
    assert text.count("X") >= 900
    assert "No syntax or stream encoding errors found" in run("qpdf", "--check", tmp_path / "d.pdf")


def test_empty_sections_are_said_in_one_line(tmp_path: Path) -> None:
    content = sample.content(1, readings=0, photos=0, plots=0, punches=0, instruments=[], sources=[], glossary=[])
    for key in ("signals", "alarms", "supplies", "supply_log", "permissions", "as_left", "equipment"):
        content["systems"][0][key] = []
    build(content, files=sample.files_for(content, tmp_path / "f"), workdir=tmp_path / "w", out=tmp_path / "d.pdf")
    text = text_of(tmp_path / "d.pdf")
    for line in (
        "No supply is recorded - treat as LIVE.",
        "No photo is recorded.",
        "Nothing is carried over.",
        "No alarm was seen",
    ):
        assert line in text


def test_a_build_that_stopped_goes_on_from_its_finished_sections(tmp_path: Path) -> None:
    content = sample.content(3)
    files, work = sample.files_for(content, tmp_path / "f"), tmp_path / "w"

    def two_are_drawn() -> bool:
        return sum(len(path.name) == 64 for path in (work / "sections").iterdir()) >= 2

    with pytest.raises(BuildCancelled, match="drawing system 3 of 3"):
        build(content, files=files, workdir=work, out=tmp_path / "d.pdf", cancelled=two_are_drawn)
    assert not (tmp_path / "d.pdf").exists()
    seen: list[tuple[str, int, int]] = []
    report = build(
        content, files=files, workdir=tmp_path / "w", out=tmp_path / "d.pdf", progress=lambda *step: seen.append(step)
    )
    assert (report.reused, report.sections) == (2, 4)
    assert seen[-1] == ("joining pages", report.pages, report.pages)
    fresh = build(content, files=files, workdir=tmp_path / "w2", out=tmp_path / "d2.pdf", processes=2)
    assert fresh.sha256 == report.sha256
    assert fresh.reused == 0


def test_a_photo_that_is_not_what_was_frozen_is_refused(tmp_path: Path) -> None:
    content = sample.content(1)
    files = sample.files_for(content, tmp_path / "f")
    digest = content["systems"][0]["photos"][0]["sha256"]
    files(digest).write_bytes(files(digest).read_bytes() + b"x")
    with pytest.raises(FileDiffers, match=digest):
        build(content, files=files, workdir=tmp_path / "w", out=tmp_path / "d.pdf")
    assert not (tmp_path / "d.pdf").exists()


def test_stored_content_builds_the_same_file_a_system_at_a_time(issued: Issued, tmp_path: Path) -> None:
    head = {key: value for key, value in issued.content.items() if key != "systems"}
    stored = FrozenContent.store(tmp_path / "frozen", head, iter(issued.content["systems"]))
    files = sample.files_for(issued.content, tmp_path / "f")
    report = build(stored, files=files, workdir=tmp_path / "w", out=tmp_path / "d.pdf")
    assert report.sha256 == issued.report.sha256
    assert content_hash(stored) == content_hash(issued.content)
