"""Naming the parts of a dossier file: which page, attachment or typeface an object or a byte belongs to."""

from __future__ import annotations

import hashlib
import re
import zlib
from bisect import bisect_right
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pikepdf

from commissioning.dossier.filebytes import differences

STRUCTURE = "file structure"
# Not followed: the way back up, and how a stream happens to be packed (what it holds is compared unpacked).
SKIPPED = frozenset({"/Parent", "/P", "/Dest", "/Prev", "/Next", "/Length", "/Filter", "/DecodeParms"})


UNPACKED = 1 << 20


def page_prints(pdf: pikepdf.Pdf) -> list[str]:
    """A fingerprint a page: what it draws, with its fonts and images."""
    return [_page_print(page) for page in pdf.pages]


def _page_print(page: pikepdf.Page) -> str:
    digest = hashlib.sha256()
    entries = page.obj
    for item in _listed(entries.get("/Contents")):
        _put(item, digest)
    digest.update(_deep(entries.get("/Resources"), {}).encode())
    digest.update(_deep(entries.get("/MediaBox"), {}).encode())
    return digest.hexdigest()


def link_prints(pdf: pikepdf.Pdf) -> list[str]:
    """A fingerprint a page of where its links lie and lead; signature fields are left out."""
    numbers = {page.obj.objgen: index for index, page in enumerate(pdf.pages)}
    return [" ".join(_link_print(link, numbers) for link in _listed(page.obj.get("/Annots"))) for page in pdf.pages]


def _link_print(link: Any, numbers: Mapping[tuple[int, int], int]) -> str:
    if str(link.get("/Subtype")) == "/Widget":
        return ""
    target = numbers.get(link.Dest[0].objgen) if "/Dest" in link else None
    return f"{_deep(link.get('/Rect'), {})} {target} {_deep(link.get('/A'), {})}".strip()


def _listed(item: Any) -> list[Any]:
    if item is None:
        return []
    return list(item) if isinstance(item, pikepdf.Array) else [item]


def _put(stream: Any, digest: Any) -> None:
    """Hash what a stream holds, unpacked a block at a time: a small stream may unpack to more than the memory holds."""
    if not isinstance(stream, pikepdf.Stream):
        digest.update(b"unreadable")
        return
    raw, entries = bytes(stream.read_raw_bytes()), stream.stream_dict
    if [str(name) for name in _listed(entries.get("/Filter"))] != ["/FlateDecode"] or "/DecodeParms" in entries:
        digest.update(raw)
        return
    packer, rest = zlib.decompressobj(), raw
    try:
        while rest and not packer.eof:
            digest.update(packer.decompress(rest, UNPACKED))
            rest = packer.unconsumed_tail
    except zlib.error:
        digest.update(b"unreadable")


def _hash_of(stream: Any) -> str:
    digest = hashlib.sha256()
    _put(stream, digest)
    return digest.hexdigest()


def _deep(item: Any, seen: dict[tuple[int, int], str]) -> str:
    """An object with all it refers to, as a text that does not depend on object numbers."""
    if isinstance(item, pikepdf.Object) and item.is_indirect:
        if item.objgen in seen:
            return "seen"
        seen[item.objgen] = ""
    if isinstance(item, pikepdf.Stream):
        return f"{_entries(item.stream_dict, seen)}{_hash_of(item)}"
    if isinstance(item, pikepdf.Dictionary):
        return _entries(item, seen)
    if isinstance(item, pikepdf.Array):
        return f"[{' '.join(_deep(one, seen) for one in item)}]"
    return str(item)


def _entries(item: pikepdf.Dictionary, seen: dict[tuple[int, int], str]) -> str:
    keys = sorted(str(key) for key in item.keys() if key not in SKIPPED)  # noqa: SIM118 - iterating gives objects
    return f"<{' '.join(f'{key}={_deep(item.get(key), seen)}' for key in keys)}>"


def attachment_hashes(pdf: pikepdf.Pdf) -> dict[str, str]:
    """SHA-256 of every attached file by name; 'unreadable' when it cannot be unpacked."""
    return {name: _attached(spec) for name, spec in _attached_specs(pdf)}


def _attached(spec: Any) -> str:
    try:
        return _hash_of(spec.EF.F)
    except (pikepdf.PdfError, AttributeError, RuntimeError):
        return "unreadable"


def _attached_specs(pdf: pikepdf.Pdf) -> Iterator[tuple[str, Any]]:
    """The attached files of the name tree as it is written: our files keep it flat, and a stranger's may not."""
    names = pdf.Root.get("/Names")
    waiting = [names.get("/EmbeddedFiles")] if names is not None else []
    while waiting:
        node = waiting.pop()
        if node is None:
            continue
        waiting += _listed(node.get("/Kids"))
        pairs = _listed(node.get("/Names"))
        yield from ((str(name), spec) for name, spec in zip(pairs[::2], pairs[1::2], strict=False))


def owners(pdf: pikepdf.Pdf) -> dict[int, str]:
    """The part that each object of one of our files belongs to, by object number."""
    found: dict[int, str] = {}
    for face in _listed_values(pdf.pages[0].obj.Resources.get("/Font")):
        _claim(face, "typeface", found)
    for number, page in enumerate(pdf.pages, 1):
        _claim(page.obj, f"page {number}", found)
    for name, spec in _attached_specs(pdf):
        _claim(spec, f"attachment {name}", found)
    _claim(pdf.Root.get("/Outlines"), "outline", found, frozenset())
    return found


def _listed_values(item: Any) -> list[Any]:
    return [item.get(key) for key in item.keys()] if item is not None else []  # noqa: SIM118


def _claim(item: Any, name: str, found: dict[int, str], skipped: frozenset[str] = SKIPPED) -> None:
    waiting = [item]
    while waiting:
        one = waiting.pop()
        if isinstance(one, pikepdf.Object) and one.is_indirect:
            if one.objgen[0] in found:
                continue
            found[one.objgen[0]] = name
        if isinstance(one, pikepdf.Array):
            waiting += list(one)
        elif isinstance(one, pikepdf.Dictionary | pikepdf.Stream):
            waiting += [one.get(key) for key in one.keys() if key not in skipped and key != "/Parent"]  # noqa: SIM118


def differing_parts(original: Path, found: Path, names: Mapping[int, str]) -> list[str]:
    """Parts in which a file differs from one of ours byte by byte, as far as ours goes."""
    starts, numbers = _places(original)
    parts: dict[str, None] = {}
    for offset in differences(original, found, original.stat().st_size):
        index = bisect_right(starts, offset) - 1
        number = numbers[index] if index >= 0 else 0
        parts.setdefault(names.get(number, f"{STRUCTURE} at byte {offset}"))
    return list(parts)


def _places(original: Path) -> tuple[list[int], list[int]]:
    """Offsets of the objects by the file's own table, sorted, with their numbers; the table itself is number 0."""
    with original.open("rb") as file:
        file.seek(max(0, original.stat().st_size - 1024))
        start = int(re.findall(rb"startxref\s+(\d+)", file.read())[-1])
        file.seek(start)
        table = file.read()
    head = re.compile(rb"xref\s+0 (\d+)\s+").match(table)
    if head is None:
        return [], []
    base = head.end()
    pairs = [(int(table[base + 20 * n : base + 20 * n + 10]), n) for n in range(1, int(head.group(1)))]
    pairs = sorted([*pairs, (start, 0)])
    return [offset for offset, _ in pairs], [number for _, number in pairs]
