"""A PDF file written object by object to the disk, so that memory does not grow with the number of pages.

Only the place of each object is remembered. Streams that come from other files are passed through as they are stored,
compressed as they were; the same objects in the same order give the same bytes.
"""

from __future__ import annotations

import hashlib
from array import array
from collections.abc import Iterable
from decimal import Decimal
from pathlib import Path
from types import TracebackType
from typing import Any

import pikepdf

HEADER = b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n"


class PdfWriter:
    """Writes numbered objects and, at the end, the table that finds them."""

    def __init__(self, path: Path) -> None:
        self.file = path.open("wb")
        self.digest = hashlib.sha256()
        self.position = 0
        self.offsets = array("Q", [0])
        self._put(HEADER)

    def __enter__(self) -> PdfWriter:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None):
        self.file.close()

    def _put(self, data: bytes) -> None:
        self.file.write(data)
        self.digest.update(data)
        self.position += len(data)

    def reserve(self) -> int:
        """The number of an object that is written later."""
        self.offsets.append(0)
        return len(self.offsets) - 1

    def write(self, body: bytes | str, number: int = 0) -> int:
        """Write an object; returns its number."""
        number = number or self.reserve()
        data = body.encode("latin-1") if isinstance(body, str) else body
        self.offsets[number] = self.position
        self._put(b"%d 0 obj\n%b\nendobj\n" % (number, data))
        return number

    def stream(self, data: bytes, entries: str | bytes = b"", number: int = 0) -> int:
        """Write a stream object; `data` is stored as it is and `entries` says how to read it."""
        return self.stream_blocks([data], len(data), entries, number)

    def stream_blocks(self, blocks: Iterable[bytes], length: int, entries: str | bytes = b"", number: int = 0) -> int:
        """Write a stream object that comes in blocks, so that it is never whole in memory."""
        number = number or self.reserve()
        extra = entries.encode("latin-1") if isinstance(entries, str) else entries
        self.offsets[number] = self.position
        self._put(b"%d 0 obj\n<< %b /Length %d >>\nstream\n" % (number, extra, length))
        for block in blocks:
            self._put(block)
        self._put(b"\nendstream\nendobj\n")
        return number

    def finish(self, *, root: int, info: int, identity: str) -> str:
        """Write the cross-reference table and trailer; returns the SHA-256 of the file."""
        start = self.position
        rows = b"".join(b"%010d 00000 n \n" % offset for offset in self.offsets[1:])
        self._put(b"xref\n0 %d\n0000000000 65535 f \n%b" % (len(self.offsets), rows))
        self._put(
            b"trailer\n<< /Size %d /Root %d 0 R /Info %d 0 R /ID [<%b> <%b>] >>\nstartxref\n%d\n%%%%EOF\n"
            % (len(self.offsets), root, info, identity.encode(), identity.encode(), start)
        )
        self.file.flush()
        return self.digest.hexdigest()


class Copier:
    """Copies objects of one open file into the writer, each once."""

    def __init__(self, writer: PdfWriter) -> None:
        self.writer = writer
        self.done: dict[tuple[int, int], int] = {}

    def value(self, item: Any) -> bytes:
        """An object as it is written inside another: a reference when it stands on its own in its file."""
        if isinstance(item, pikepdf.Object) and item.is_indirect:
            return b"%d 0 R" % self.reference(item)
        return self._direct(item)

    def reference(self, item: pikepdf.Object) -> int:
        """The number that the object has in the new file."""
        if item.objgen not in self.done:
            number = self.done[item.objgen] = self.writer.reserve()
            if isinstance(item, pikepdf.Stream):
                self.writer.stream(item.read_raw_bytes(), self.entries(item, without={"/Length"}), number)
            else:
                self.writer.write(self._direct(item), number)
        return self.done[item.objgen]

    def _direct(self, item: Any) -> bytes:
        if isinstance(item, pikepdf.Dictionary):
            return b"<< %b >>" % self.entries(item)
        if isinstance(item, pikepdf.Array):
            return b"[%b]" % b" ".join(map(self.value, _array_items(item)))
        return item.unparse() if isinstance(item, pikepdf.Object) else _scalar(item)

    def entries(self, item: pikepdf.Object, without: frozenset[str] | set[str] = frozenset()) -> bytes:
        """The entries of a dictionary or of a stream's dictionary, in a fixed order."""
        source = item.stream_dict if isinstance(item, pikepdf.Stream) else item
        keys = sorted(str(key) for key in source.keys() if key not in without)  # noqa: SIM118 - iterating gives objects
        return b" ".join(b"%b %b" % (pikepdf.Name(key).unparse(), self.value(source.get(key))) for key in keys)


def _scalar(value: object) -> bytes:
    """A number, truth value or nothing, which pikepdf hands over as plain Python."""
    if value is None:
        return b"null"
    if isinstance(value, bool):
        return b"true" if value else b"false"
    return f"{value:f}".encode() if isinstance(value, Decimal) else str(value).encode()


def _array_items(array_object: pikepdf.Array) -> list[pikepdf.Object]:
    return [array_object[index] for index in range(len(array_object))]
