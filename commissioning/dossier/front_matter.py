"""Pages that need page numbers: cover, what is missing, contents, revisions, overview, attached files, index."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from commissioning.dossier import embedding, units
from commissioning.dossier.anchors import Anchors
from commissioning.dossier.assemble import Attachment, Leaf
from commissioning.dossier.page import Notes, box_for
from commissioning.dossier.plan import Piece
from commissioning.dossier.sections.listing import contents_pages

Outline = list[tuple[int, str, int, float]]


@dataclass
class Placed:
    """Leaves in order with their first pages, and what points at them."""

    leaves: list[Leaf]
    anchors: Anchors
    outline: Outline
    pages: int
    glyphs: dict[str, dict[int, str]]
    tags: dict[str, dict[int, str]]


def is_interim(content: Mapping[str, Any]) -> bool:
    """A dossier with holes is interim, whatever it calls itself."""
    return bool(content.get("missing")) or content.get("state") != "complete"


def info(content: Mapping[str, Any]) -> dict[str, str]:
    """The document information, from the content alone."""
    stamp = "D:" + "".join(char for char in content["issued_at"][:19] if char.isdigit())
    return {
        "Title": f"{content['title']} - {content['number']} revision {content['revision']}",
        "Subject": content["scope"]["words"],
        "Author": content["requested_by"]["name"],
        "Creator": "the commissioning tracker",
        "Producer": units.tools(),
        "CreationDate": stamp,
        "ModDate": stamp,
    }


class FrontMatter:
    """Draws the pages around the body once its page counts are known."""

    def __init__(
        self,
        content: Mapping[str, Any],
        overview: list[dict[str, Any]],
        digest: str,
        inside: Sequence[Attachment],
        folder: Path,
    ) -> None:
        self.content, self.overview, self.digest, self.inside, self.folder = content, overview, digest, inside, folder
        self.size = units.size_of(content)
        folder.mkdir(parents=True, exist_ok=True)

    def arrange(self, body: list[Leaf], titled: Mapping[int, tuple[str, str]]) -> Placed:
        """Number all pages; `titled` names the certificates among the leaves by their index."""
        opening = self._draw("opening", [("cover", self._cover()), ("missing", self.content)])
        second = self._draw("second", [("revisions", self._revised()), ("overview", self.overview)])
        closing = self._draw("closing", [("attachments", [vars(one) for one in self.inside])])
        rest = [second, *body, closing]
        titles = {index + 1: title for index, title in titled.items()}
        entries = sum(leaf.listed for leaf in rest)
        count = contents_pages(entries + 2, box_for(self.size).height)
        leaves = [opening, *rest]
        placed = _number(leaves, titles, gap=count)
        contents = self._draw("contents", [("contents", {"entries": _contents(placed)})])
        contents.first = opening.pages
        index = self._draw("index", [("index", _index(placed))])
        index.first = placed.pages
        _add(placed, contents, after_opening=True)
        _add(placed, index)
        placed.leaves = [opening, contents, *rest, index]
        placed.pages += index.pages
        return placed

    def _draw(self, name: str, parts: list[Any]) -> Leaf:
        path = self.folder / name
        units.draw_pieces([Piece("front", "", tuple(parts))], size=self.size, out=path)
        return Leaf.of(units.drawn_in(path)[0])

    def _cover(self) -> dict[str, Any]:
        keys = ("title", "project", "scope", "number", "revision", "issued_at", "requested_by", "revisions", "url")
        chosen = {key: self.content[key] for key in keys}
        return {**chosen, "interim": is_interim(self.content), "content_sha256": self.digest}

    def _revised(self) -> dict[str, Any]:
        keys = ("revisions", "previous", "changes")
        return {key: self.content.get(key) for key in keys}


def _number(leaves: list[Leaf], titles: Mapping[int, tuple[str, str]], *, gap: int) -> Placed:
    placed = Placed(leaves, Anchors(), [], 0, {}, {})
    at = 0
    for index, leaf in enumerate(leaves):
        leaf.first = at + (gap if index else 0)
        at += leaf.pages
        title = titles.get(index - 1) if index else None
        if title:
            placed.outline.append((1, title[0], leaf.first, 800.0))
            placed.anchors.add(f"certificate:{title[1]}", leaf.first, 800.0)
        else:
            _register(placed, leaf, notes_of(leaf))
    placed.pages = at + gap
    return placed


def notes_of(leaf: Leaf) -> Notes:
    """What a drawn piece says about itself; a certificate says nothing."""
    return Notes() if isinstance(leaf.source, Path) else leaf.source.notes()


def _register(placed: Placed, leaf: Leaf, notes: Notes) -> None:
    placed.outline += [(level, title, leaf.first + page, y) for level, title, page, y in notes.bookmarks]
    for name, (page, y) in notes.anchors.items():
        placed.anchors.add(name, leaf.first + page, y)
    embedding.merge(placed.glyphs, notes.glyphs)
    for tag, page, y in notes.tags:
        place = leaf.first + page
        placed.tags.setdefault(tag, {}).setdefault(place + 1, f"page:{place}:{y}")


def _add(placed: Placed, leaf: Leaf, *, after_opening: bool = False) -> None:
    notes = notes_of(leaf)
    own: Outline = [(level, title, leaf.first + page, y) for level, title, page, y in notes.bookmarks]
    place = sum(1 for entry in placed.outline if entry[2] < leaf.first) if after_opening else len(placed.outline)
    placed.outline[place:place] = own
    embedding.merge(placed.glyphs, notes.glyphs)
    for name, (page, y) in notes.anchors.items():
        placed.anchors.add(name, leaf.first + page, y)


def _contents(placed: Placed) -> list[tuple[int, str, int, str]]:
    """Lines of the contents: everything after the cover, and the index, which is drawn later."""
    listed = [(level, title, page + 1, f"page:{page}:{y}") for level, title, page, y in placed.outline if page]
    return [*listed, (0, "Index of tags", placed.pages + 1, f"page:{placed.pages}:800")]


def _index(placed: Placed) -> Iterator[tuple[str, list[tuple[int, str]]]]:
    for tag in sorted(placed.tags):
        yield tag, sorted(placed.tags[tag].items())
