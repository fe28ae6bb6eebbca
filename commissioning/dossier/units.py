"""The units in which a dossier is drawn: one a system and one for the annexes, each a file of its own.

A unit depends on its canonical text and on the tools alone, and its file is named by the hash of both: whoever draws
it, on whichever machine, writes the same bytes, and what was drawn before is taken as it is.
"""

from __future__ import annotations

import hashlib
import json
import os
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import IO, Any

import pikepdf
import reportlab
from reportlab import rl_config

from commissioning.dossier import fonts, plan
from commissioning.dossier.canonical import dumps, text_of
from commissioning.dossier.page import Link, Notes, Sheet
from commissioning.dossier.sections import DRAWERS

# Changes whenever a section is drawn or filed in another way, so that no unit of an older drawing is reused.
DRAWING = "6"
#: The last bytes of a unit's file say how long its table is.
FOOT = 12

# Page streams are stored compressed and binary: text armour would make them a quarter longer.
rl_config.useA85 = 0


@cache
def tools() -> str:
    """The tools that the bytes depend on."""
    return f"drawing {DRAWING}; reportlab {reportlab.Version}; {fonts.fingerprint()}; zlib {zlib.ZLIB_RUNTIME_VERSION}"


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
    table: list[dict[str, Any]] = []
    try:
        with half.open("wb") as file:
            for piece in pieces:
                sheet = Sheet(sheet_path, size, piece.label)
                for name, data in piece.parts:
                    if told:
                        told(name)
                    DRAWERS[name](sheet, data)
                table.append(_filed(file, piece.kind, sheet.finish(), sheet_path))
            text = json.dumps(table).encode()
            file.write(text + b"%012d" % len(text))
        os.replace(half, out)
    finally:
        half.unlink(missing_ok=True)
        sheet_path.unlink(missing_ok=True)


def _filed(file: IO[bytes], kind: str, notes: Notes, sheet: Path) -> dict[str, Any]:
    """Put a drawn piece into the unit's file: its links, then each page's stream as it is, compressed."""
    entry: dict[str, Any] = {"kind": kind, "at": file.tell(), "pages": []}
    entry["links"] = file.write(json.dumps(notes.links).encode())
    with pikepdf.open(sheet, access_mode=pikepdf.AccessMode.stream) as source:
        entry["pages"] = [file.write(page.obj.Contents.read_raw_bytes()) for page in source.pages]
    return {**entry, "notes": {**vars(notes), "links": []}}


@dataclass(frozen=True)
class Drawn:
    """A piece in the file of a unit that is drawn. Only its place is kept; everything else is read when asked for."""

    path: Path
    place: int
    kind: str
    pages: int
    label: str
    listed: int
    images: bool

    def notes(self) -> Notes:
        """Bookmarks, anchors, tags, glyphs and photos; without the links."""
        data = _table(self.path)[self.place]["notes"]
        data["glyphs"] = {face: {int(g): text for g, text in used.items()} for face, used in data["glyphs"].items()}
        data["image_pages"] = {int(page): names for page, names in data["image_pages"].items()}
        return Notes(**data)

    def links(self) -> Sequence[Link]:
        entry = _table(self.path)[self.place]
        with self.path.open("rb") as file:
            file.seek(entry["at"])
            return [tuple(link) for link in json.loads(file.read(entry["links"]))]

    def streams(self) -> Iterator[bytes]:
        """The compressed stream of each page."""
        entry = _table(self.path)[self.place]
        with self.path.open("rb") as file:
            file.seek(entry["at"] + entry["links"])
            for length in entry["pages"]:
                yield file.read(length)


def drawn_in(path: Path) -> list[Drawn]:
    """The pieces of a unit's file."""
    found = []
    for place, entry in enumerate(_table(path)):
        notes = entry["notes"]
        found.append(
            Drawn(path, place, entry["kind"], notes["pages"], notes["label"], len(notes["bookmarks"]),
                  bool(notes["images"]))
        )  # fmt: skip
    return found


def _table(path: Path) -> list[dict[str, Any]]:
    with path.open("rb") as file:
        file.seek(-FOOT, os.SEEK_END)
        length = int(file.read(FOOT))
        file.seek(-FOOT - length, os.SEEK_END)
        table: list[dict[str, Any]] = json.loads(file.read(length))
    return table
