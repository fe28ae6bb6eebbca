"""Looking at a file of any size a block at a time: its hash, what stands in it, where it differs from another."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path

BLOCK = 1 << 20


def blocks(path: Path, length: int | None = None) -> Iterator[bytes]:
    """The file in blocks, or its first `length` bytes."""
    left = path.stat().st_size if length is None else length
    with path.open("rb") as file:
        while left > 0 and (block := file.read(min(BLOCK, left))):
            left -= len(block)
            yield block


def sha256_of(path: Path, length: int | None = None) -> str:
    """SHA-256 of the file, or of its first `length` bytes."""
    digest = hashlib.sha256()
    for block in blocks(path, length):
        digest.update(block)
    return digest.hexdigest()


def found_in(path: Path, pattern: re.Pattern[bytes], longest: int) -> set[bytes]:
    """What the pattern's group finds anywhere in the file; no find may be longer than `longest`."""
    found: set[bytes] = set()
    rest = b""
    for block in blocks(path):
        text = rest + block
        found.update(pattern.findall(text))
        rest = text[-longest:]
    return found


def differences(one: Path, other: Path, length: int, most: int = 1000) -> Iterator[int]:
    """Offsets below `length` at which two files differ, up to `most`."""
    at = count = 0
    for left, right in zip_longest(blocks(one, length), blocks(other, length), fillvalue=b""):
        if left != right:
            for offset in _differing(left, right):
                yield at + offset
                count += 1
                if count >= most:
                    return
        at += max(len(left), len(right))


def _differing(left: bytes, right: bytes, step: int = 4096) -> Iterator[int]:
    for start in range(0, max(len(left), len(right)), step):
        if left[start : start + step] == right[start : start + step]:
            continue
        for offset in range(start, min(start + step, max(len(left), len(right)))):
            if left[offset : offset + 1] != right[offset : offset + 1]:
                yield offset
