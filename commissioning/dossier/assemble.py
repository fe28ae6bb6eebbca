"""Joining finished pieces into one file: page numbers, links, outline, fonts, photos, certificates, attachments."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pikepdf

from commissioning.dossier import embedding, fonts
from commissioning.dossier.anchors import Anchors
from commissioning.dossier.furniture import Furniture
from commissioning.dossier.images import write_image
from commissioning.dossier.packing import packed
from commissioning.dossier.places import annotation
from commissioning.dossier.units import Drawn
from commissioning.dossier.writer import Copier, PdfWriter

FAN = 64


@dataclass
class Leaf:
    """A run of pages and where it starts: a drawn piece, or the pages of a certificate that is merged."""

    source: Drawn | Path
    pages: int
    label: str
    listed: int = 1
    first: int = 0

    @classmethod
    def of(cls, drawn: Drawn) -> Leaf:
        return cls(drawn, drawn.pages, drawn.label, drawn.listed)


@dataclass(frozen=True)
class Attachment:
    """A file that travels inside the document; `stored` holds it compressed."""

    name: str
    what: str
    media_type: str
    stored: Path
    sha256: str
    length: int


@dataclass
class Book:
    """Everything that is joined."""

    leaves: Sequence[Leaf]
    anchors: Anchors
    outline: Sequence[tuple[int, str, int, float]]
    furniture: Furniture
    attachments: Sequence[Attachment]
    info: dict[str, str]
    identity: str
    pages: int
    language: str
    files: Callable[[str], Path]
    glyphs: embedding.Glyphs = field(default_factory=dict)


class Joiner:
    """Writes a book; holds the numbers of pages and photos, never their bytes."""

    def __init__(self, book: Book, writer: PdfWriter) -> None:
        self.book, self.writer = book, writer
        self.fonts = writer.reserve()
        self.tree = writer.reserve()
        groups = -(-book.pages // FAN)
        self.groups = [writer.reserve() for _ in range(groups)]
        self.first_page = writer.reserve()
        for _ in range(book.pages - 1):
            writer.reserve()
        self.images: dict[str, int] = {}
        self.furniture: dict[str, int] = {}
        self.starts: dict[Path, dict[int, int]] = {}
        for leaf in book.leaves:
            if isinstance(leaf.source, Drawn):
                self.starts.setdefault(leaf.source.path, {})[leaf.source.place] = leaf.first

    def page_number(self, index: int) -> int:
        """Object number of a page by its place in the document, from 0."""
        return self.first_page + index

    def join(self, step: Callable[[int, int], None]) -> str:
        """Write everything; returns the SHA-256 of the file."""
        fonts.start_section()
        for leaf in self.book.leaves:
            if isinstance(leaf.source, Path):
                self._certificate(leaf, leaf.source)
            else:
                self._piece(leaf, leaf.source)
            step(leaf.first + leaf.pages, self.book.pages)
        self._page_tree()
        embedding.embed(self.writer, embedding.merged(self.book.glyphs, fonts.used_glyphs()), self.fonts)
        root = self._catalog()
        info = self.writer.write(_dictionary({k: _string(v) for k, v in self.book.info.items()}))
        return self.writer.finish(root=root, info=info, identity=self.book.identity)

    # Pages -----------------------------------------------------------------------------------------------------

    def _piece(self, leaf: Leaf, drawn: Drawn) -> None:
        marks = drawn.marks()
        links = {int(page): [self._filled(text, gaps, drawn)] for page, (text, gaps) in marks.links.items()}
        for at, *rectangle, target in marks.outside:
            if action := self._action(target):
                links.setdefault(at, []).append(annotation(rectangle, action))
        for index, stream in enumerate(drawn.streams()):
            body = self.writer.stream(stream, "/Filter /FlateDecode")
            names = marks.images.get(str(index), [])
            shown = " ".join(f"/P{name[:24]} {self._image(name)} 0 R" for name in names)
            self._page(leaf, index, [body], f"/XObject << {shown} >>" if shown else "", links.get(index, []))

    def _filled(self, text: str, gaps: Sequence[Sequence[int]], drawn: Drawn) -> str:
        """Annotations that lead inside their unit, with the numbers of the pages put in."""
        starts = self.starts[drawn.path]
        return text % tuple(self.page_number(starts[piece] + page) for piece, page in gaps)

    def _page(self, leaf: Leaf, index: int, bodies: list[int], resources: str, annotations: list[str]) -> None:
        place = leaf.first + index
        number = self.writer.stream(self.book.furniture.number(place + 1, self.book.pages).encode("latin-1"))
        bodies += [self._furniture(leaf.label), number]
        notes = f" /Annots [{' '.join(annotations)}]" if annotations else ""
        box = self.book.furniture.box
        self.writer.write(
            f"<< /Type /Page /Parent {self.groups[place // FAN]} 0 R "
            f"/MediaBox [0 0 {box.page_width:.4f} {box.page_height:.4f}] "
            f"/Resources << /Font {self.fonts} 0 R {resources} >> "
            f"/Contents [{' '.join(f'{body} 0 R' for body in bodies)}]{notes} >>",
            self.page_number(place),
        )

    def _certificate(self, leaf: Leaf, path: Path) -> None:
        box = self.book.furniture.box
        with pikepdf.open(path) as source:
            copier = Copier(self.writer)
            for index, page in enumerate(source.pages):
                form = source.make_indirect(page.as_form_xobject())
                x0, y0, x1, y1 = (float(value) for value in form.BBox)
                width, height = _turned(form, x1 - x0, y1 - y0)
                scale = min(box.width / width, box.height / height, 1.0)
                left = box.left + (box.width - width * scale) / 2
                bottom = box.bottom + (box.height - height * scale) / 2
                number = copier.reference(form)
                dx, dy = _offset(form, x0, y0, x1, y1)
                code = f"q {scale:.5f} 0 0 {scale:.5f} {left - dx * scale:.3f} {bottom - dy * scale:.3f} cm /C0 Do Q"
                body = self.writer.stream(code.encode(), "")
                self._page(leaf, index, [body], f"/XObject << /C0 {number} 0 R >>", [])

    def _furniture(self, label: str) -> int:
        if label not in self.furniture:
            code = packed(self.book.furniture.code(label).encode("latin-1"))
            self.furniture = {label: self.writer.stream(code, "/Filter /FlateDecode")}
        return self.furniture[label]

    def _image(self, digest: str) -> int:
        if digest not in self.images:
            self.images[digest] = write_image(self.writer, self.book.files(digest), digest)
        return self.images[digest]

    # Structure -------------------------------------------------------------------------------------------------

    def _page_tree(self) -> None:
        for index, group in enumerate(self.groups):
            kids = range(index * FAN, min((index + 1) * FAN, self.book.pages))
            refs = " ".join(f"{self.page_number(kid)} 0 R" for kid in kids)
            self.writer.write(f"<< /Type /Pages /Parent {self.tree} 0 R /Count {len(kids)} /Kids [{refs}] >>", group)
        refs = " ".join(f"{group} 0 R" for group in self.groups)
        self.writer.write(f"<< /Type /Pages /Count {self.book.pages} /Kids [{refs}] >>", self.tree)

    def _destination(self, page: int, y: float) -> str:
        return f"[{self.page_number(page)} 0 R /XYZ 0 {y:.2f} null]"

    def _action(self, target: str) -> str:
        if target.startswith(("https://", "http://")):
            return f"/A << /S /URI /URI {_literal(target).decode()} >>"
        if target.startswith("page:"):
            _, page, y = target.split(":")
            return f"/Dest {self._destination(int(page), float(y))}"
        place = self.book.anchors.find(target)
        return f"/Dest {self._destination(*place)}" if place else ""

    def _catalog(self) -> int:
        names = " ".join(f"{_string(a.name).decode()} {self._attachment(a)} 0 R" for a in self.book.attachments)
        outline = self._outline()
        return self.writer.write(
            f"<< /Type /Catalog /Version /1.7 /Pages {self.tree} 0 R /PageMode /UseOutlines /Outlines {outline} 0 R "
            f"/Lang ({self.book.language}) /ViewerPreferences << /DisplayDocTitle true >> "
            f"/Names << /EmbeddedFiles << /Names [{names}] >> >> >>"
        )

    def _attachment(self, attachment: Attachment) -> int:
        subtype = attachment.media_type.replace("/", "#2F")
        file = self.writer.stream_blocks(
            chunks_of(attachment.stored),
            attachment.stored.stat().st_size,
            f"/Type /EmbeddedFile /Subtype /{subtype} /Filter /FlateDecode /Params << /Size {attachment.length} >>",
        )
        name, what = _string(attachment.name).decode(), _string(attachment.what).decode()
        return self.writer.write(
            f"<< /Type /Filespec /F {name} /UF {name} /Desc {what} /AFRelationship /Data /EF << /F {file} 0 R >> >>"
        )

    def _outline(self) -> int:
        nodes = _tree(self.book.outline)
        root = self.writer.reserve()
        first, last = self._siblings(nodes, root)
        ends = f"/First {first} 0 R /Last {last} 0 R " if nodes else ""
        self.writer.write(f"<< /Type /Outlines {ends}/Count {len(nodes)} >>", root)
        return root

    def _siblings(self, nodes: Sequence[Node], parent: int) -> tuple[int, int]:
        numbers = [self.writer.reserve() for _ in nodes]
        for index, (node, number) in enumerate(zip(nodes, numbers, strict=True)):
            beside = f"/Prev {numbers[index - 1]} 0 R " if index else ""
            beside += f"/Next {numbers[index + 1]} 0 R " if index + 1 < len(nodes) else ""
            if node.below:
                first, last = self._siblings(node.below, number)
                beside += f"/First {first} 0 R /Last {last} 0 R /Count {-len(node.below)} "
            destination = self._destination(node.page, node.y)
            title = _string(node.title).decode()
            self.writer.write(f"<< /Title {title} /Parent {parent} 0 R {beside}/Dest {destination} >>", number)
        return (numbers[0], numbers[-1]) if numbers else (0, 0)


@dataclass
class Node:
    """An entry of the outline with those below it."""

    title: str
    page: int
    y: float
    below: list[Node] = field(default_factory=list)


def _tree(entries: Sequence[tuple[int, str, int, float]]) -> list[Node]:
    top: list[Node] = []
    for level, title, page, y in entries:
        node = Node(title, page, y)
        (top[-1].below if level and top else top).append(node)
    return top


def _turned(form: pikepdf.Object, width: float, height: float) -> tuple[float, float]:
    return (height, width) if _matrix(form)[0] == 0 else (width, height)


def _matrix(form: pikepdf.Object) -> tuple[float, ...]:
    return tuple(float(v) for v in form.Matrix) if "/Matrix" in form else (1, 0, 0, 1, 0, 0)


def _offset(form: pikepdf.Object, x0: float, y0: float, x1: float, y1: float) -> tuple[float, float]:
    """Lower left corner of the form's box after its own matrix."""
    a, b, c, d, e, f = _matrix(form)
    corners = [(a * x + c * y + e, b * x + d * y + f) for x in (x0, x1) for y in (y0, y1)]
    return min(x for x, _ in corners), min(y for _, y in corners)


def _literal(text: str) -> bytes:
    escaped = text.replace("\\", r"\\").replace("(", r"\(").replace(")", r"\)")
    return f"({escaped})".encode("ascii", "backslashreplace")


def _string(text: str) -> bytes:
    return _literal(text) if text.isascii() else b"<FEFF%b>" % text.encode("utf-16-be").hex().upper().encode()


def _dictionary(entries: dict[str, bytes]) -> bytes:
    return b"<< %b >>" % b" ".join(b"/%b %b" % (key.encode(), value) for key, value in sorted(entries.items()))


def chunks_of(path: Path) -> Iterator[bytes]:
    """A file in blocks."""
    with path.open("rb") as file:
        while block := file.read(1 << 20):
            yield block
