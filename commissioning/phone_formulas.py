"""The calculations as one script for the phone, made once a process and named by its content."""

from __future__ import annotations

import gzip
from dataclasses import dataclass
from functools import lru_cache
from hashlib import sha256

from django.urls import reverse

from calcs import javascript


@dataclass(frozen=True, slots=True)
class Script:
    """The script as it is sent, plain and packed, and the digest that names it."""

    body: bytes
    packed: bytes
    digest: str


@lru_cache(maxsize=1)
def script() -> Script:
    """Built on first use; the same calculations give the same octets, so that every process names it alike."""
    body = javascript.build().encode()
    return Script(body, gzip.compress(body, 9, mtime=0), sha256(body).hexdigest()[:16])


def url() -> str:
    """Where the phone finds the calculations as they are now."""
    return reverse("phone-formulas", args=[script().digest])
