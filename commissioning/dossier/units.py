"""The units in which a dossier is drawn: one a system and one for the annexes, each a file of its own.

A unit depends on its canonical text and on the tools alone, and its file is named by the hash of both: whoever draws
it, on whichever machine, writes the same bytes, and what was drawn before is taken as it is.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import IO, Any

import pikepdf
import reportlab
from reportlab import rl_config

from commissioning.dossier import embedding, fonts, packing, places, plan
from commissioning.dossier.canonical import dumps, text_of
from commissioning.dossier.packing import packed
from commissioning.dossier.page import Notes, Sheet
from commissioning.dossier.places import Marks
from commissioning.dossier.sections import DRAWERS

# Changes whenever a section is drawn or filed in another way, so that no unit of an older drawing is reused.
DRAWING = "7"
#: The last bytes of a unit's file say how long its table is.
FOOT = 12
#: Pieces of a system: only their headings are led to from elsewhere.
ALONE = ("body", "working")

# Page streams are stored binary: text armour would make them a quarter longer.
rl_config.useA85 = 0


@cache
def tools() -> str:
    """The tools that the bytes depend on."""
    return f"drawing {DRAWING}; reportlab {reportlab.Version}; {fonts.fingerprint()}; {packing.NAME}"


@dataclass(frozen=True)
class Unit:
    """What is drawn in one go: a system's number in the content, or -1 for the annexes; the paper, and the text."""

    number: int
    size: str
    text: bytes

    @property
    def key(self) -> str:
        """The name of the unit's file: a hash of all that its bytes depend on."""
        kind = "annexes" if self.number < 0 else "system"
        return hashlib.sha256(f"{kind} {self.size} {tools()}\n".encode() + self.text).hexdigest()

    def pieces(self, data: Any = None) -> Iterator[plan.Piece]:
        """Its pieces; `data` is the parsed text where somebody has it already."""
        found = json.loads(self.text) if data is None else data
        return plan.annex_pieces(found) if self.number < 0 else plan.pieces_of_system(found)


def unit_of(content: Mapping[str, Any], number: int) -> Unit:
    """A system's unit, or with -1 the annexes'."""
    text = dumps({key: content.get(key) for key in plan.ANNEXED if key in content}).encode() if number < 0 else b""
    return Unit(number, size_of(content), text or text_of(content["systems"], number))


def size_of(content: Mapping[str, Any]) -> str:
    """The paper that the content asks for."""
    return str(content.get("paper", "A4"))


Told = Callable[[str], None]


def draw(unit: Unit, folder: Path, *, data: Any = None, told: Told | None = None) -> Path:
    """The unit's file in `folder`: drawn unless it is there already. `told` hears which section is drawn next."""
    path = folder / unit.key
    if not path.exists():
        draw_pieces(unit.pieces(data), size=unit.size, out=path, told=told)
    return path


def draw_pieces(pieces: Iterable[plan.Piece], *, size: str, out: Path, told: Told | None = None) -> None:
    """Draw pieces into one file, which appears whole or not at all."""
    half = out.with_name(f"{out.name}.{os.getpid()}.part")
    sheet_path = out.with_name(f"{out.name}.{os.getpid()}.sheet")
    drawn: list[tuple[str, Notes, dict[str, Any]]] = []
    try:
        with half.open("wb") as file:
            for piece in pieces:
                sheet = Sheet(sheet_path, size, piece.label)
                for name, data in piece.parts:
                    if told:
                        told(name)
                    DRAWERS[name](sheet, data)
                notes = sheet.finish()
                drawn.append((piece.kind, notes, _filed_pages(file, sheet_path)))
            text = json.dumps(list(_filed_notes(file, drawn))).encode()
            file.write(text + b"%012d" % len(text))
        os.replace(half, out)
    finally:
        half.unlink(missing_ok=True)
        sheet_path.unlink(missing_ok=True)


def _filed_pages(file: IO[bytes], sheet: Path) -> dict[str, Any]:
    """Put each page's stream into the unit's file, packed."""
    with pikepdf.open(sheet, access_mode=pikepdf.AccessMode.stream) as source:
        return {
            "at": file.tell(),
            "pages": [file.write(packed(page.obj.Contents.read_raw_bytes())) for page in source.pages],
        }


def _filed_notes(file: IO[bytes], drawn: Sequence[tuple[str, Notes, dict[str, Any]]]) -> Iterator[dict[str, Any]]:
    """Put what the pieces say about themselves behind their pages; answers with the lines of the file's table.

    Links inside the unit are found now, beside other units that are drawn, and not when all are joined. What the whole
    unit drew with is said once, by its first piece.
    """
    inside = places.inside([notes for _, notes, _ in drawn])
    glyphs: dict[str, dict[int, str]] = {}
    for _, notes, _ in drawn:
        embedding.merge(glyphs, notes.glyphs)
    for kind, notes, filed in drawn:
        told = {
            "bookmarks": notes.bookmarks,
            "anchors": notes.anchors if kind in ALONE else {**notes.rows, **notes.anchors},
            "tags": notes.tags,
            "glyphs": glyphs,
        }
        glyphs = {}
        marks = places.marks(notes, inside)
        yield {
            **filed,
            "kind": kind,
            "label": notes.label,
            "listed": len(notes.bookmarks),
            "notes": file.write(json.dumps(told).encode()),
            "marks": file.write(json.dumps(vars(marks)).encode()),
        }


@dataclass(frozen=True)
class Drawn:
    """A piece in the file of a unit that is drawn. Only its place is kept; everything else is read when asked for."""

    path: Path
    place: int
    kind: str
    label: str
    listed: int
    at: int
    lengths: tuple[int, ...]
    notes_at: int
    notes_length: int
    marks_length: int

    @property
    def pages(self) -> int:
        return len(self.lengths)

    def notes(self) -> Notes:
        """Bookmarks, anchors, tags and glyphs."""
        told = json.loads(self._read(self.notes_at, self.notes_length))
        told["glyphs"] = {face: {int(g): text for g, text in used.items()} for face, used in told["glyphs"].items()}
        return Notes(**told)

    def marks(self) -> Marks:
        """Links and photos by page."""
        return Marks(**json.loads(self._read(self.notes_at + self.notes_length, self.marks_length)))

    def streams(self) -> Iterator[bytes]:
        """The compressed stream of each page."""
        with self.path.open("rb") as file:
            file.seek(self.at)
            for length in self.lengths:
                yield file.read(length)

    def _read(self, at: int, length: int) -> bytes:
        with self.path.open("rb") as file:
            file.seek(at)
            return file.read(length)


def drawn_in(path: Path) -> list[Drawn]:
    """The pieces of a unit's file."""
    with path.open("rb") as file:
        file.seek(-FOOT, os.SEEK_END)
        length = int(file.read(FOOT))
        file.seek(-FOOT - length, os.SEEK_END)
        table = json.loads(file.read(length))
    found, at = list[Drawn](), sum(sum(entry["pages"]) for entry in table)
    for place, entry in enumerate(table):
        found.append(
            Drawn(path, place, entry["kind"], entry["label"], entry["listed"], entry["at"], tuple(entry["pages"]),
                  at, entry["notes"], entry["marks"])
        )  # fmt: skip
        at += entry["notes"] + entry["marks"]
    return found
