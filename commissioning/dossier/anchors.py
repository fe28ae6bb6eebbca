"""Places that links point at, kept in few bytes each: a dossier of many thousand readings has twice as many."""

from __future__ import annotations

from array import array
from bisect import bisect_left
from hashlib import blake2b


class Anchors:
    """Names of places with page and height; a name keeps the place that it was given first."""

    def __init__(self) -> None:
        self._keys, self._places = array("Q"), array("Q")
        self._sorted = 0

    def add(self, name: str, page: int, y: float) -> None:
        """Give a name its place: page from 0, height in points."""
        self._keys.append(_key(name))
        self._places.append(page << 24 | max(0, round(y * 100)))

    def find(self, name: str) -> tuple[int, float] | None:
        """The place of a name, or nothing."""
        if self._sorted != len(self._keys):
            self._sort()
        key = _key(name)
        index = bisect_left(self._keys, key)
        if index == len(self._keys) or self._keys[index] != key:
            return None
        return self._places[index] >> 24, (self._places[index] & 0xFFFFFF) / 100

    def _sort(self) -> None:
        order = sorted(range(len(self._keys)), key=self._keys.__getitem__)
        self._keys = array("Q", (self._keys[index] for index in order))
        self._places = array("Q", (self._places[index] for index in order))
        self._sorted = len(order)


def _key(name: str) -> int:
    return int.from_bytes(blake2b(name.encode(), digest_size=8).digest())
