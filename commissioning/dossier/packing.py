"""Compression whose bytes depend on the input alone: not on the machine, nor on the zlib that its system carries.

Systems ship zlib of several makes, and each packs the same text into other bytes. zlib-ng comes inside a wheel that is
pinned to one release, and chooses its matches in the same way with and without the special instructions of a processor.
How input is cut into calls does matter to it, so a stream is fed in blocks of one size.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator

from zlib_ng import zlib_ng

NAME = f"zlib-ng {zlib_ng.ZLIBNG_RUNTIME_VERSION}"
LEVEL = 6
BLOCK = 1 << 16


def packed(data: bytes) -> bytes:
    """A zlib stream of what is whole in memory."""
    return zlib_ng.compress(data, LEVEL)


class Packer:
    """A zlib stream, or a bare deflate stream, of what comes in pieces of any size."""

    def __init__(self, *, bare: bool = False) -> None:
        self._packer = zlib_ng.compressobj(LEVEL, zlib_ng.DEFLATED, -zlib.MAX_WBITS if bare else zlib.MAX_WBITS)
        self._waiting = bytearray()

    def add(self, data: bytes) -> Iterator[bytes]:
        """What can be written by now."""
        self._waiting += data
        whole = len(self._waiting) // BLOCK * BLOCK
        with memoryview(self._waiting) as view:
            done = [self._packer.compress(view[at : at + BLOCK]) for at in range(0, whole, BLOCK)]
        del self._waiting[:whole]
        return filter(None, done)

    def end(self) -> bytes:
        """The rest."""
        return self._packer.compress(bytes(self._waiting)) + self._packer.flush()
