"""The frozen content as one file: written and read a system at a time, whatever its size. Needs no database."""

from __future__ import annotations

import json
from collections.abc import Iterator
from io import TextIOWrapper
from pathlib import Path
from typing import IO, Any

from commissioning.dossier.canonical import FrozenContent

BLOCK = 1 << 20
#: What stands behind a value in canonical text.
ENDS = frozenset(",:]}")


class NotCanonical(Exception):
    """The text is not frozen content in its canonical spelling."""


class _Text:
    """Canonical JSON text, decoded value by value; only the value at hand is held."""

    def __init__(self, file: IO[bytes]) -> None:
        self.file, self.text, self.at = TextIOWrapper(file, "utf-8"), "", 0
        self.begun = 0  # where the value read last begins
        self.decoder = json.JSONDecoder()

    def spelt(self) -> str:
        """The text of the next value."""
        self.value()
        return self.text[self.begun : self.at]

    def value(self) -> Any:
        """The next value; more text is read, each time twice as much, until it is whole."""
        size = BLOCK
        while True:
            try:
                found, end = self.decoder.raw_decode(self.text, self.at)
                # A number may go on in what was not read yet: "1" of "10.0e3" is a number, too.
                if self.text[end : end + 1] in ENDS or not self._more(size):
                    self.begun, self.at = self.at, end
                    return found
            except json.JSONDecodeError as error:
                if not self._more(size):
                    raise NotCanonical(f"the text ends inside a value: {error}") from error
            size *= 2

    def sign(self) -> str:
        """The next character."""
        if self.at == len(self.text) and not self._more(BLOCK):
            raise NotCanonical("the text ends early")
        self.at += 1
        return self.text[self.at - 1]

    def peek(self) -> str:
        found = self.sign()
        self.at -= 1
        return found

    def _more(self, size: int) -> bool:
        if block := self.file.read(size):
            self.text, self.at = self.text[self.at :] + block, 0
        return bool(block)


def load(file: IO[bytes], folder: Path) -> FrozenContent:
    """Lay the content of a file out in a folder, a system at a time."""
    text, head = _Text(file), dict[str, Any]()
    return FrozenContent.store_texts(folder, head, _systems(text, head))


def _systems(text: _Text, head: dict[str, Any]) -> Iterator[str]:
    """The text of each system; everything else goes to `head` on the way."""
    if text.sign() != "{":
        raise NotCanonical("the text does not begin with an object")
    while True:
        key = text.value()
        if text.sign() != ":":
            raise NotCanonical(f"no value behind {key!r}")
        if key == "systems":
            yield from _items(text)
        else:
            head[key] = text.value()
        if text.sign() == "}":
            return


def _items(text: _Text) -> Iterator[str]:
    text.sign()
    if text.peek() == "]":
        text.sign()
        return
    while True:
        yield text.spelt()
        if text.sign() == "]":
            return
