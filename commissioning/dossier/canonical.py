"""Frozen content as bytes: one spelling for one content, written and read without holding it all in memory."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from commissioning.dossier.packing import Packer


def dumps(value: Any) -> str:
    """The canonical JSON text of a value: sorted keys, no spaces, no NaN."""
    return json.dumps(value, sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False)


def canonical_chunks(content: Mapping[str, Any]) -> Iterator[bytes]:
    """The canonical text of the content, a system at a time; equals `dumps` of the whole."""
    return (chunk for chunk, _ in _placed_chunks(content))


def _placed_chunks(content: Mapping[str, Any]) -> Iterator[tuple[bytes, bool]]:
    """The same, with whether the chunk is the text of a system."""
    lead = "{"
    for key in sorted(content):
        yield f"{lead}{json.dumps(key, ensure_ascii=False)}:".encode(), False
        lead = ","
        if key != "systems":
            yield dumps(content[key]).encode(), False
            continue
        items = content[key]
        for index in range(len(items)):
            yield b"," if index else b"[", False
            yield text_of(items, index), True
        yield b"]" if len(items) else b"[]", False
    yield b"}" if lead == "," else b"{}", False


@dataclass(frozen=True)
class Written:
    """A content file: its hash, and where in it the text of each system begins and how long it is."""

    sha256: str
    systems: tuple[tuple[int, int], ...]


def write_canonical(content: Mapping[str, Any], file: IO[bytes]) -> Written:
    """Write the canonical text of the content."""
    digest, at, places = hashlib.sha256(), 0, list[tuple[int, int]]()
    for chunk, system in _placed_chunks(content):
        digest.update(chunk)
        file.write(chunk)
        if system:
            places.append((at, len(chunk)))
        at += len(chunk)
    return Written(digest.hexdigest(), tuple(places))


def text_of(items: Sequence[Any], index: int) -> bytes:
    """The canonical text of one item; what is stored is spelt so already and is not parsed for it."""
    return items.text(index) if isinstance(items, StoredSystems) else dumps(items[index]).encode()


def text_length(items: Sequence[Any], index: int) -> int:
    """Length of an item's text where it is stored, so that large ones can be begun first; else nothing."""
    return items.path(index).stat().st_size if isinstance(items, StoredSystems) else 0


def content_hash(content: Mapping[str, Any]) -> str:
    """SHA-256 of the canonical text: the name of what was frozen."""
    digest = hashlib.sha256()
    for chunk in canonical_chunks(content):
        digest.update(chunk)
    return digest.hexdigest()


def deflate(chunks: Iterator[bytes], path: Path) -> tuple[str, int]:
    """Write the chunks compressed; returns SHA-256 and length of what was put in."""
    packer, digest, length = Packer(), hashlib.sha256(), 0
    with path.open("wb") as file:
        for chunk in chunks:
            digest.update(chunk)
            length += len(chunk)
            file.writelines(packer.add(chunk))
        file.write(packer.end())
    return digest.hexdigest(), length


class FrozenContent(Mapping[str, Any]):
    """Frozen content kept in a folder: one file for the head and one a system, read when it is asked for."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.head: dict[str, Any] = json.loads((folder / "head.json").read_text("utf-8"))
        self.count = int(self.head.pop("__systems__"))

    @classmethod
    def store(cls, folder: Path, head: Mapping[str, Any], systems: Iterator[Any]) -> FrozenContent:
        """Write content to a folder, a system at a time."""
        return cls.store_texts(folder, head, (dumps(system) for system in systems))

    @classmethod
    def store_texts(cls, folder: Path, head: Mapping[str, Any], systems: Iterator[str]) -> FrozenContent:
        """The same with systems that are canonical text already."""
        folder.mkdir(parents=True, exist_ok=True)
        count = 0
        for count, text in enumerate(systems, 1):
            (folder / f"system-{count - 1:05}.json").write_text(text, "utf-8")
        (folder / "head.json").write_text(dumps({**head, "__systems__": count}), "utf-8")
        return cls(folder)

    def rewrite_head(self, head: Mapping[str, Any]) -> None:
        """Replace everything but the systems, while the content is being put together."""
        (self.folder / "head.json").write_text(dumps({**head, "__systems__": self.count}), "utf-8")
        self.head = dict(head)

    def __getitem__(self, key: str) -> Any:
        return StoredSystems(self.folder, self.count) if key == "systems" else self.head[key]

    def __iter__(self) -> Iterator[str]:
        return iter(["systems", *self.head])

    def __len__(self) -> int:
        return len(self.head) + 1


class StoredSystems(Sequence[Any]):
    """The systems of a stored content, one in memory at a time."""

    def __init__(self, folder: Path, count: int) -> None:
        self.folder, self.size = folder, count

    def __len__(self) -> int:
        return self.size

    def __getitem__(self, index: Any) -> Any:
        if isinstance(index, slice):
            return [self[number] for number in range(*index.indices(self.size))]
        if not -self.size <= index < self.size:
            raise IndexError(index)
        return json.loads(self.text(index % self.size))

    def text(self, index: int) -> bytes:
        """The canonical text of a system, as it is stored."""
        return self.path(index).read_bytes()

    def path(self, index: int) -> Path:
        return self.folder / f"system-{index:05}.json"
