"""The grid, the type scale and the sheet of paper that sections draw on.

A sheet writes straight on a ReportLab canvas and notes beside it what the joined file needs to know: bookmarks,
anchors, links and tags, each with its page inside the section. Page furniture (header, footer, page number) is added
when sections are joined, because only then is the number of pages known.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import zip_longest
from pathlib import Path

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfgen.canvas import Canvas

from commissioning.dossier import fonts
from commissioning.dossier.fonts import BOLD, MONO, REGULAR

SIZES = {"A4": A4, "LETTER": LETTER}

# One scale: notes and tables, text, heading of a section, heading of a system, cover.
SMALL, TEXT, HEAD, TITLE, COVER = 7.0, 8.5, 10.5, 14.0, 22.0
LEAD = 1.25
LEFT, RIGHT, TOP, BOTTOM = 45.0, 36.0, 62.0, 46.0
BLACK, DARK, MID, PALE, HAIR = 0.0, 0.25, 0.45, 0.93, 0.72


@dataclass(frozen=True)
class Box:
    """The part of a page that carries text, in points from the bottom left."""

    page_width: float
    page_height: float

    @property
    def left(self) -> float:
        return LEFT

    @property
    def right(self) -> float:
        return self.page_width - RIGHT

    @property
    def top(self) -> float:
        return self.page_height - TOP

    @property
    def bottom(self) -> float:
        return BOTTOM

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.top - self.bottom


def box_for(size: str) -> Box:
    """The text box of a paper size named in the content."""
    return Box(*SIZES[size])


@lru_cache(maxsize=8192)
def wrap(text: str, room: float, style: str, size: float) -> tuple[str, ...]:
    """Lines of `text` no wider than `room`; a word wider than a line is cut, nothing is lost."""
    if "\n" not in text and fonts.width(text, style, size) <= room:
        return (text,)
    return tuple(line for part in text.split("\n") for line in _wrapped(part, room, style, size))


def _wrapped(text: str, room: float, style: str, size: float) -> Iterator[str]:
    line = ""
    for word in text.split(" "):
        candidate = f"{line} {word}" if line else word
        if fonts.width(candidate, style, size) <= room:
            line = candidate
            continue
        if line:
            yield line
        *full, line = _cut(word, room, style, size)
        yield from full
    yield line


def _cut(word: str, room: float, style: str, size: float) -> Iterator[str]:
    while fonts.width(word, style, size) > room and len(word) > 1:
        count = _fitting(word, room, style, size)
        yield word[:count]
        word = word[count:]
    yield word


def _fitting(word: str, room: float, style: str, size: float) -> int:
    low, high = 1, len(word)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if fonts.width(word[:middle], style, size) <= room else (low, middle - 1)
    return low


Link = tuple[int, float, float, float, float, str]


@dataclass
class Notes:
    """What a section says about itself for the joining: places are (page in the section, y)."""

    pages: int = 0
    label: str = ""
    bookmarks: list[tuple[int, str, int, float]] = field(default_factory=list)
    anchors: dict[str, tuple[int, float]] = field(default_factory=dict)
    rows: dict[str, tuple[int, float]] = field(default_factory=dict)
    links: list[Link] = field(default_factory=list)
    tags: list[tuple[str, int, float]] = field(default_factory=list)
    glyphs: dict[str, dict[int, str]] = field(default_factory=dict)
    images: list[str] = field(default_factory=list)
    image_pages: dict[int, list[str]] = field(default_factory=dict)


@dataclass(frozen=True)
class Heading:
    """A heading that waits for what comes under it."""

    level: int
    text: str
    lines: tuple[str, ...]
    anchor: str
    tag: str
    listed: bool
    keep: float

    @property
    def size(self) -> float:
        return (TITLE, HEAD, TEXT)[self.level]

    @property
    def above(self) -> float:
        return (16.0, 12.0, 7.0)[self.level]

    @property
    def height(self) -> float:
        return self.above + self.size * LEAD * len(self.lines) + (7.0 if self.level < 2 else 2.0)


class Sheet:
    """Pages of one section; `y` runs down from the top of the text box."""

    def __init__(self, path: Path, size: str, label: str = "") -> None:
        self.box = box_for(size)
        self.canvas = Canvas(
            str(path), pagesize=(self.box.page_width, self.box.page_height), invariant=1, pageCompression=0
        )
        self.notes = Notes(label=label)
        self.y = self.box.top
        self.code: list[str] = []
        self.tagged: set[tuple[str, int]] = set()
        self.waiting: list[Heading] = []
        fonts.start_section()

    # Pages -----------------------------------------------------------------------------------------------------

    def new_page(self) -> None:
        """Finish the page in hand and start the next."""
        self._settle()
        self._turn()

    def _turn(self) -> None:
        self.canvas.addLiteral("\n".join(self.code))
        self.code = []
        self.canvas.showPage()
        self.notes.pages += 1
        self.y = self.box.top

    def ensure(self, height: float) -> bool:
        """Start a new page when less than `height` is left; True when it did.

        Headings that wait are drawn now, on the page of what they stand over.
        """
        if self.waiting:
            height = sum(one.height for one in self.waiting) + max(height, self.waiting[-1].keep)
        turned = self.y - height < self.box.bottom and self.y != self.box.top
        if turned:
            self._turn()
        self._settle()
        return turned

    def finish(self) -> Notes:
        """Write the section's file."""
        self._settle()
        if self.code or not self.notes.pages:
            self.new_page()
        self.canvas.save()
        self.notes.glyphs = fonts.used_glyphs()
        return self.notes

    def fresh(self) -> None:
        """Go to the top of a page."""
        self._settle()
        if self.y != self.box.top:
            self.new_page()

    # Marks -----------------------------------------------------------------------------------------------------

    def write(
        self, x: float, y: float, text: str, style: str = REGULAR, size: float = TEXT, grey: float = BLACK
    ) -> None:
        """Text from `x` on the base line `y`."""
        if text:
            operators = fonts.operators(text, style, size)
            self.code.append(f"BT {grey:g} g 1 0 0 1 {x:.2f} {y:.2f} Tm {operators} ET")

    def write_right(
        self, x: float, y: float, text: str, style: str = REGULAR, size: float = TEXT, grey: float = BLACK
    ) -> None:
        """Text that ends at `x`."""
        self.write(x - fonts.width(text, style, size), y, text, style, size, grey)

    def rule(self, y: float, weight: float = 0.4, grey: float = HAIR, x0: float = 0, x1: float = 0) -> None:
        """A horizontal line across the text box, or from `x0` to `x1`."""
        start, end = x0 or self.box.left, x1 or self.box.right
        self.code.append(f"{grey:g} G {weight:g} w {start:.2f} {y:.2f} m {end:.2f} {y:.2f} l S")

    def fill(self, x: float, y: float, width: float, height: float, grey: float = PALE) -> None:
        """A filled rectangle with its lower left corner at `x`, `y`."""
        self.code.append(f"{grey:g} g {x:.2f} {y:.2f} {width:.2f} {height:.2f} re f")

    # Places ----------------------------------------------------------------------------------------------------

    def anchor(self, name: str) -> None:
        """Let links from anywhere point at the line in hand."""
        self.notes.anchors.setdefault(name, (self.notes.pages, self.y + 4))

    def row_anchor(self, name: str) -> None:
        """Let links from the same system, or from the same annexes, point at the line in hand."""
        self.notes.rows.setdefault(name, (self.notes.pages, self.y + 4))

    def bookmark(self, level: int, title: str) -> None:
        """An entry of the outline and of the contents."""
        self.notes.bookmarks.append((level, title, self.notes.pages, self.y + 4))

    def link(self, x0: float, y0: float, x1: float, y1: float, target: str) -> None:
        """A rectangle that leads to an anchor of any section, or to a URL."""
        self.notes.links.append((self.notes.pages, x0, y0, x1, y1, target))

    def tag(self, name: str) -> None:
        """An entry of the index of tags, which names a page once."""
        if name and (name, self.notes.pages) not in self.tagged:
            self.tagged.add((name, self.notes.pages))
            self.notes.tags.append((name, self.notes.pages, self.y + 4))

    # Text ------------------------------------------------------------------------------------------------------

    def heading(
        self, level: int, text: str, *, anchor: str = "", tag: str = "", keep: float = 24.0, listed: bool = True
    ) -> None:
        """A heading; it is drawn with the first thing under it that asks for room, so it never stands last on a page.

        At least `keep` is left below it.
        """
        lines = wrap(text, self.box.width, BOLD, (TITLE, HEAD, TEXT)[level])
        self.waiting.append(Heading(level, text, lines, anchor, tag, listed, keep))

    def _settle(self) -> None:
        waiting, self.waiting = self.waiting, []
        for heading in waiting:
            self._draw_heading(heading)

    def _draw_heading(self, heading: Heading) -> None:
        self.y -= 0.0 if self.y == self.box.top else heading.above
        self.tag(heading.tag)
        if heading.anchor:
            self.anchor(heading.anchor)
        if heading.listed:
            self.bookmark(heading.level, heading.text)
        for line in heading.lines:
            self.y -= heading.size
            self.write(self.box.left, self.y, line, BOLD, heading.size)
            self.y -= heading.size * (LEAD - 1)
        if heading.level < 2:
            self.rule(self.y - 1, 0.8 if heading.level == 0 else 0.5, BLACK)
            self.y -= 5
        self.y -= 2

    def paragraph(
        self, text: str, style: str = REGULAR, size: float = TEXT, grey: float = BLACK, indent: float = 0.0
    ) -> None:
        """Wrapped text over the full width; breaks over pages where it must."""
        for line in wrap(text, self.box.width - indent, style, size):
            self.ensure(size * LEAD)
            self.y -= size
            self.write(self.box.left + indent, self.y, line, style, size, grey)
            self.y -= size * (LEAD - 1)
        self.y -= 2

    def pair(self, label: str, value: str, *, indent: float = 110.0, style: str = REGULAR) -> None:
        """A label and its value on one grid line; what is long wraps under itself."""
        labels = wrap(label, indent - 8, REGULAR, TEXT)
        lines = wrap(value, self.box.width - indent, style, TEXT)
        for label_line, line in zip_longest(labels, lines, fillvalue=""):
            self.ensure(TEXT * LEAD)
            self.y -= TEXT
            self.write(self.box.left, self.y, label_line, REGULAR, TEXT, MID)
            self.write(self.box.left + indent, self.y, line, style, TEXT)
            self.y -= TEXT * (LEAD - 1)

    def nothing(self, text: str) -> None:
        """What an empty section says, in one line."""
        self.paragraph(text, REGULAR, TEXT, MID)

    def embed(self, code: str) -> None:
        """Raw operators drawn in place, kept apart from the graphics state around them."""
        self.code.append(f"q\n{code}\nQ")

    def image(self, digest: str, x: float, y: float, width: float, height: float) -> None:
        """A photo by the hash of its file: the joining puts the file in as it is, undecoded."""
        if digest not in self.notes.images:
            self.notes.images.append(digest)
        name = f"P{digest[:24]}"
        self.code.append(f"q {width:.2f} 0 0 {height:.2f} {x:.2f} {y:.2f} cm /{name} Do Q")
        self.notes.image_pages.setdefault(self.notes.pages, []).append(digest)


__all__ = ["BOLD", "MONO", "REGULAR", "Box", "Notes", "Sheet", "box_for", "wrap"]
