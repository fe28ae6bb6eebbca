"""The files of the phone's app, as one set with one version: the hash of all that is in them.

The app's modules import each other by relative address, so the version stands in the folder: /phone/<version>/…. A page
never mixes modules of two versions, the files may be kept by browsers for ever, and the service worker's cache is named
after the same hash.
"""

from __future__ import annotations

import gzip
import hashlib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from django.conf import settings
from django.template.loader import render_to_string

from commissioning import phone_formulas

STATIC = Path(__file__).resolve().parent / "static" / "commissioning"
#: Sheets that the app shares with the pages, in their order, and its own.
SHEETS = ("css/tokens.css", "css/base.css", "css/controls.css", "css/states.css", "css/pieces.css", "css/phone.css")
PICTURES = ("mark.svg", "phone/icons/icon-192.png", "phone/icons/icon-512.png", "phone/icons/maskable-512.png")
TYPES = {".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8", ".svg": "image/svg+xml",
         ".png": "image/png"}  # fmt: skip
#: The service worker has an address of its own: its scope is the whole product.
WORKER = STATIC / "phone" / "worker.js"


@dataclass(frozen=True, slots=True)
class PhoneFile:
    """A file of the app, packed once."""

    body: bytes
    packed: bytes
    type: str


@dataclass(frozen=True, slots=True)
class PhoneFiles:
    version: str
    files: dict[str, PhoneFile]

    def address(self, name: str) -> str:
        return f"/phone/{self.version}/{name}"

    @property
    def modules(self) -> list[str]:
        """Every module's address, so that the page asks for all of them at once."""
        return [self.address(name) for name in self.files if name.endswith(".js")]

    @property
    def sheets(self) -> list[str]:
        return [self.address(name) for name in SHEETS]


def phone_files() -> PhoneFiles:
    """The set as it is on the disk now; read once, unless somebody is working on it."""
    if settings.DEBUG:
        _read.cache_clear()
    return _read()


def version() -> str:
    return phone_files().version


@lru_cache(maxsize=1)
def _read() -> PhoneFiles:
    modules = sorted(path for path in (STATIC / "phone").rglob("*.js") if path != WORKER)
    names = [*(str(path.relative_to(STATIC)) for path in modules), *SHEETS, *PICTURES]
    bodies = {name: (STATIC / name).read_bytes() for name in names}
    parts = [*bodies.values(), WORKER.read_bytes(), render_to_string("commissioning/phone/shell.html").encode()]
    parts.append(phone_formulas.script().body)
    found = hashlib.sha256(b"".join(hashlib.sha256(part).digest() for part in parts)).hexdigest()[:16]
    packed = {
        name: PhoneFile(body, gzip.compress(body, 9, mtime=0), TYPES[Path(name).suffix])
        for name, body in bodies.items()
    }
    return PhoneFiles(found, packed)
