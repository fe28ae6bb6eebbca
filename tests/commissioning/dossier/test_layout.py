"""How the pages are set, read back with poppler, which knows nothing of how they were drawn."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest

from commissioning.dossier import fonts
from commissioning.dossier.page import BOTTOM, LEAD, LEFT, TEXT
from commissioning.dossier.render import build
from tests.commissioning.dossier import sample
from tests.commissioning.dossier.reading import run

#: Pixels that `pdftohtml` makes of a point.
SCALE = 1.5
#: Lists whose length no piece may depend on: they grow by different steps, so page breaks fall in many places.
SYSTEMS = 8


@dataclass(frozen=True)
class Words:
    """Words that stand together on a page, in points from its top left."""

    text: str
    top: float
    left: float
    right: float
    size: int
    bold: bool

    def beside(self, other: Words) -> bool:
        return self is not other and abs(self.top - other.top) < 3


def pages_of(pdf: Path) -> Iterator[list[Words]]:
    """The words of each page from top to bottom, without the footer."""
    tree = ElementTree.fromstring(run("pdftohtml", "-xml", "-i", "-stdout", "-fontfullname", pdf))
    faces: dict[str, tuple[int, bool]] = {}
    for page in tree.iter("page"):
        for spec in page.iter("fontspec"):
            faces[spec.attrib["id"]] = (int(spec.attrib["size"]), spec.attrib["family"].endswith("-600"))
        end = int(page.attrib["height"]) / SCALE - BOTTOM
        found = (_words(node, faces) for node in page.iter("text"))
        yield sorted((one for one in found if one.top < end), key=lambda one: (one.top, one.left))


def _words(node: ElementTree.Element, faces: dict[str, tuple[int, bool]]) -> Words:
    top, left, width = (int(node.attrib[key]) / SCALE for key in ("top", "left", "width"))
    size, bold = faces[node.attrib["font"]]
    return Words("".join(node.itertext()), top, left, left + width, size, bold)


def headings_of(words: list[Words]) -> list[Words]:
    """Lines in bold, in the size of text or larger, that begin at the margin and have their line to themselves."""
    least = int(TEXT * SCALE)
    bold = (one for one in words if one.bold and one.size >= least and abs(one.left - LEFT) < 2)
    return [one for one in bold if not any(one.beside(other) for other in words)]


def orphans_of(words: list[Words]) -> list[str]:
    """Headings with nothing of their own below them on the page."""
    headings = headings_of(words)
    found = [one.text for one in headings if one is words[-1]]
    for one, other in pairwise(words):
        line_goes_on = other.top - one.top < one.size / SCALE * LEAD * 1.2
        if one in headings and other in headings and other.size >= one.size and not line_goes_on:
            found.append(one.text)
    return found


@pytest.fixture(scope="module", params=["A4", "LETTER"])
def pages(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[list[Words]]:
    folder = tmp_path_factory.mktemp("layout")
    made = [
        sample.system(n, punches=3 + n * 5, readings=2 + n * 7, photos=n % 4, plots=n % 3, points=12)
        for n in range(SYSTEMS)
    ]
    for number, system in enumerate(made):
        for place, record in enumerate(record for stage in system["stages"] for record in stage["check_records"]):
            record["reason"] = "It was not asked for here. " * (place * number % 23)
        system["alarms"][0]["ending"] = "The test resistor was left in and is removed. " * (number * 6)
    content = {**sample.head(SYSTEMS, paper=request.param), "systems": made}
    files = sample.files_for(content, folder / "files")
    build(content, files=files, workdir=folder / "work", out=folder / "d.pdf")
    return list(pages_of(folder / "d.pdf"))


def test_no_heading_stands_last_on_a_page(pages: list[list[Words]]) -> None:
    titles = {one.text for words in pages for one in headings_of(words)}
    assert {"Readings", "Check records", "Photos", "Punch list", "Pre-energisation", "Index of tags"} <= titles
    orphans = {number: found for number, words in enumerate(pages, 1) if (found := orphans_of(words))}
    assert orphans == {}


def test_headings_that_stand_alone_are_seen() -> None:
    """The check above finds what it looks for."""
    heading = Words("Readings", 700.0, LEFT, 90.0, 15, True)
    lower = Words("Pre-energisation", 720.0, LEFT, 120.0, 12, True)
    text = Words("R-1", 740.0, LEFT, 60.0, 10, False)
    assert orphans_of([heading]) == ["Readings"]
    assert orphans_of([heading, lower]) == ["Pre-energisation"]
    assert orphans_of([lower, Words("Readings", 745.0, LEFT, 90.0, 15, True), text]) == ["Pre-energisation"]
    assert orphans_of([heading, lower, text]) == []


def test_results_end_on_one_line_so_units_and_decimals_stand_under_each_other(pages: list[list[Words]]) -> None:
    for words in pages:
        ends = [one.right for one in words if re.fullmatch(r"12\d\.\d\d\sV", one.text)]
        assert not ends or max(ends) - min(ends) < 1.4, ends
    assert sum(bool(re.fullmatch(r"12\d\.\d\d\sV", one.text)) for words in pages for one in words) > 100


@pytest.mark.parametrize("name", [fonts.REGULAR, fonts.BOLD, fonts.MONO])
def test_every_digit_is_as_wide_as_every_other(name: str) -> None:
    assert len({fonts.width(digit, name, 10.0) for digit in "0123456789"}) == 1
