"""A sheet of labels as a PDF: the QR code at the left, beside it the tag, what it is and where it stands."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from threading import Lock

import segno

from commissioning.dossier import embedding, fonts
from commissioning.dossier.fonts import MONO, REGULAR
from commissioning.dossier.writer import PdfWriter
from commissioning.labels.stock import Stock

MM = 72 / 25.4
#: Kept free inside a label, so that a cut that is out by a little cuts no code (common practice, no source).
INSET = 1.6
#: White modules around the code (ISO/IEC 18004).
QUIET = 4
#: A larger code than this is no easier to read from the hand; the room is better spent on the tag.
LARGEST_CODE = 34.0
#: Sizes of a tag, and on how many lines it may stand at each.
TAG_SIZES = {14.0: 2, 12.0: 2, 10.5: 3, 9.0: 4, 8.0: 6, 7.0: 8, 6.0: 99, 5.0: 99}
#: Down to this size one line goes before two larger ones; below the other, what stands under the tag gives way.
ONE_LINE, READABLE = 9.0, 8.0
SMALL = 6.0
LEAD = 1.2
#: A long tag is broken behind one of these, where a person would take a breath.
BREATHS = "-+=/.:_ "
SHORTEST_PART = 3
#: The faces note which glyphs were drawn; one sheet at a time.
_drawing = Lock()


@dataclass(frozen=True, slots=True)
class Label:
    """What one label says and leads to."""

    url: str
    tag: str
    words: str = ""
    place: str = ""


def write_sheet(
    path: Path, labels: Sequence[Label], stock: Stock, *, start: int = 1, shift: tuple[float, float]
) -> None:
    """Write the sheets; the first label takes place `start`, counted from 1 along the rows; `shift` is in mm."""
    with _drawing, PdfWriter(path) as writer:
        fonts.start_section()
        tree, resources = writer.reserve(), writer.reserve()
        pages = [
            _page(writer, stock, "\n".join(code), tree=tree, resources=resources)
            for code in _sheets(labels, stock, start - 1, shift)
        ]
        embedding.embed(writer, fonts.used_glyphs(), resources)
        writer.write(
            f"<< /Type /Pages /Count {len(pages)} /Kids [{' '.join(f'{page} 0 R' for page in pages)}] >>", tree
        )
        root = writer.write(f"<< /Type /Catalog /Pages {tree} 0 R /ViewerPreferences << /PrintScaling /None >> >>")
        info = writer.write("<< /Title (labels) >>")
        writer.finish(root=root, info=info, identity=hashlib.sha256(repr((labels, stock)).encode()).hexdigest()[:32])


def _sheets(labels: Sequence[Label], stock: Stock, first: int, shift: tuple[float, float]) -> Iterable[list[str]]:
    placed = [(*stock.place(first + number), label) for number, label in enumerate(labels)]
    for _, group in groupby(placed, key=lambda row: row[0]):
        yield [code for _, x, y, label in group for code in _label(label, stock, x + shift[0], y + shift[1])]


def _page(writer: PdfWriter, stock: Stock, code: str, *, tree: int, resources: int) -> int:
    width, height = (side * MM for side in stock.page)
    content = writer.stream(zlib.compress(code.encode("latin-1"), 6), "/Filter /FlateDecode")
    return writer.write(
        f"<< /Type /Page /Parent {tree} 0 R /MediaBox [0 0 {width:.3f} {height:.3f}] /Contents {content} 0 R "
        f"/Resources << /Font {resources} 0 R >> >>"
    )


def _label(label: Label, stock: Stock, x: float, y: float) -> Iterable[str]:
    """One label; x and y in mm from the upper left corner of the page to that of the label."""
    left, top = (x + INSET) * MM, (stock.page[1] - y - INSET) * MM
    room_x, room_y = (stock.width - 2 * INSET) * MM, (stock.height - 2 * INSET) * MM
    side = min(room_y, room_x * 0.55, LARGEST_CODE * MM)
    middle = top - room_y / 2
    yield _code(label.url, left, middle - side / 2, side)
    beside = room_x - side
    lines = _lines(label, beside, room_y)
    height = sum(size * LEAD for _, _, size in lines)
    base = middle + height / 2
    for text, style, size in lines:
        base -= size * LEAD
        yield f"BT 0 g 1 0 0 1 {left + side:.2f} {base + size * 0.25:.2f} Tm {fonts.operators(text, style, size)} ET"


def _code(url: str, x: float, y: float, side: float) -> str:
    """The code as squares, the dark ones of a row drawn as one; error correction M stands a scratch."""
    matrix = [bytes(row) for row in segno.make(url, error="m", micro=False).matrix]
    cell = side / (len(matrix) + 2 * QUIET)
    bars = []
    for line, row in enumerate(matrix):
        column = 0
        for dark, modules in groupby(row):
            count = len(list(modules))
            if dark:
                bars.append(
                    f"{x + (column + QUIET) * cell:.3f} {y + side - (line + QUIET + 1) * cell:.3f} "
                    f"{count * cell:.3f} {cell:.3f} re"
                )
            column += count
    return f"0 g {' '.join(bars)} f"


def _lines(label: Label, width: float, height: float) -> list[tuple[str, str, float]]:
    """The tag as large as it fits, then what it is and where; these give way to a tag that would be hard to read."""
    below = [text for text in (label.words, label.place) if text]
    while True:
        size, parts = _fitting(label.tag, width, height - len(below) * SMALL * LEAD)
        if size >= READABLE or not below:
            break
        below.pop()
    lines = [(part, MONO, size) for part in parts]
    return lines + [(_shortened(text, width), REGULAR, SMALL) for text in below]


def _fitting(tag: str, width: float, height: float) -> tuple[float, list[str]]:
    """The largest size at which the tag fits: on one line where that is not small, else on as few as the size bears."""
    for size in (size for size in TAG_SIZES if size >= ONE_LINE):
        if len(parts := _broken(tag, width, size)) == 1 and size * LEAD <= height:
            return size, parts
    for size, most in TAG_SIZES.items():
        parts = _broken(tag, width, size)
        if len(parts) <= most and len(parts) * size * LEAD <= height:
            return size, parts
    return size, parts


def _broken(tag: str, width: float, size: float) -> list[str]:
    """The tag in lines no wider than `width`, broken where a person would take a breath; nothing is left out."""
    room = max(int(width / fonts.width("0", MONO, size)), 1)
    parts, rest = [], tag
    while len(rest) > room or (rest and fonts.width(rest, MONO, size) > width):
        end = room
        while end > 1 and fonts.width(rest[:end], MONO, size) > width:
            end -= 1
        breath = max(rest.rfind(sign, 1, end) for sign in BREATHS)
        end = breath + 1 if breath >= SHORTEST_PART - 1 else end
        parts.append(rest[:end].strip())
        rest = rest[end:]
    return [*parts, rest.strip()] if rest.strip() else parts


def _shortened(text: str, width: float) -> str:
    if fonts.width(text, REGULAR, SMALL) <= width:
        return text
    while text and fonts.width(text + "…", REGULAR, SMALL) > width:
        text = text[:-1]
    return text.rstrip() + "…"
