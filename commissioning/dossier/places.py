"""Links of a unit, made ready beside its drawing, so that the joining has only page numbers to put in.

A link inside the unit becomes the text of its annotation with a gap for the number of the page it leads to; one that
leads out of it, or to the web, waits for the joining with its name.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from commissioning.dossier.page import Link, Notes

Inside = Mapping[str, tuple[int, int, float]]


@dataclass(frozen=True)
class Marks:
    """What lies on the pages of a piece besides text. Pages are counted within their piece, pieces within the unit."""

    #: By page: the text of its annotations with gaps, and for each gap the piece and the page that it leads to.
    links: dict[str, tuple[str, list[tuple[int, int]]]] = field(default_factory=dict)
    #: Links that lead out of the unit.
    outside: list[Link] = field(default_factory=list)
    #: By page: the photos on it.
    images: dict[str, list[str]] = field(default_factory=dict)


def inside(pieces: Sequence[Notes]) -> Inside:
    """Every named place of a unit: piece, page in it, height."""
    found: dict[str, tuple[int, int, float]] = {}
    for number, notes in enumerate(pieces):
        for names in (notes.anchors, notes.rows):
            for name, (page, y) in names.items():
                found.setdefault(name, (number, page, y))
    return found


def marks(notes: Notes, places: Inside) -> Marks:
    """The links and photos of a piece."""
    made = Marks(images={str(page): sorted(set(digests)) for page, digests in notes.image_pages.items()})
    texts: dict[int, list[str]] = {}
    gaps: dict[int, list[tuple[int, int]]] = {}
    for link in notes.links:
        page, *rectangle, target = link
        if target not in places:
            made.outside.append(link)
            continue
        piece, leads_to, y = places[target]
        texts.setdefault(page, []).append(annotation(rectangle, f"/Dest [%d 0 R /XYZ 0 {y:.2f} null]"))
        gaps.setdefault(page, []).append((piece, leads_to))
    made.links.update({str(page): (" ".join(texts[page]), gaps[page]) for page in texts})
    return made


def annotation(rectangle: Sequence[float], action: str) -> str:
    """A rectangle that does something when it is pressed."""
    box = " ".join(f"{value:.2f}" for value in rectangle)
    return f"<< /Type /Annot /Subtype /Link /Border [0 0 0] /F 4 /Rect [{box}] {action} >>"
