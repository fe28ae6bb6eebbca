"""Turning a picture as it came from a phone into the picture that is kept. No database here.

What is kept is drawn anew from the pixels: upright, at most 1600 px on its longer side, JPEG, without metadata. Nothing
that was hidden in or behind the picture survives that.
"""

from __future__ import annotations

import hashlib
import io
import struct
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from PIL import ExifTags, Image, ImageOps

from commissioning.errors import InvalidInput
from punchlist.services.marks import Mark, drawn

FORMATS = ("JPEG", "PNG", "WEBP")
BYTES_LIMIT = 15 * 1024 * 1024
#: A JPEG is read at a fraction of its size, so a large one costs little; other kinds are read whole.
PIXEL_LIMITS = {"JPEG": 64_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
LONGEST_SIDE = 1600
#: A grid of pictures on a phone asks for no more than this.
SMALL_SIDE = 320
QUALITY = 82
#: Words that no picture needs; a file that carries them wants to be read as something else as well.
FOREIGN_MARKS = (b"<script", b"<html", b"<svg", b"<!doctype", b"<?php")


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture ready to be kept."""

    data: bytes
    sha256: str
    width: int
    height: int
    small: bytes
    small_size: tuple[int, int]
    taken_at: str  # as the camera wrote it: local time, with its offset where it says so; empty when it does not


def prepare(data: bytes, *, keep_position: bool = False, marks: Sequence[Mark] = ()) -> Picture:
    """Check a picture by its content and draw it anew; InvalidInput for `file` says why it cannot be kept."""
    if len(data) > BYTES_LIMIT:
        raise refusal(f"The picture is larger than {BYTES_LIMIT // 1024 // 1024} MB. Take it with a smaller size.")
    if _wants_to_be_something_else(data):
        raise refusal("The file holds more than a picture. Take the photo again with the camera.")
    try:
        with Image.open(io.BytesIO(data), formats=FORMATS) as opened:
            _check_size(opened)
            exif = opened.getexif()
            taken_at, position = _taken_at(exif), _position(exif) if keep_position else {}
            upright = drawn(_upright(opened), marks)
    except (Image.DecompressionBombError, MemoryError) as error:
        raise refusal("The picture unpacks to too many pixels. Take it with a smaller size.") from error
    except (OSError, ValueError, SyntaxError, EOFError, TypeError, KeyError, IndexError, struct.error) as error:
        raise refusal("This cannot be read as a JPEG, PNG or WebP picture. Take the photo again.") from error
    kept = _jpeg(upright, position)
    small = upright.copy()
    small.thumbnail((SMALL_SIDE, SMALL_SIDE), Image.Resampling.LANCZOS)
    return Picture(
        data=kept,
        sha256=hashlib.sha256(kept).hexdigest(),
        width=upright.width,
        height=upright.height,
        small=_jpeg(small, {}),
        small_size=small.size,
        taken_at=taken_at,
    )


def refusal(words: str) -> InvalidInput:
    return InvalidInput({"file": words})


def _wants_to_be_something_else(data: bytes) -> bool:
    """True for a file that is a picture and an archive, a web page or a script at once."""
    lowered = data.lower()
    return any(mark in lowered for mark in FOREIGN_MARKS) or zipfile.is_zipfile(io.BytesIO(data))


def _check_size(opened: Image.Image) -> None:
    """Refuse a bomb by what its head declares, before a pixel is unpacked."""
    limit = PIXEL_LIMITS[opened.format or ""]
    if opened.width * opened.height > limit:
        raise Image.DecompressionBombError(f"{opened.width} × {opened.height} pixels")


def _upright(opened: Image.Image) -> Image.Image:
    """Reduced, turned as the camera was held, and on white where it was transparent."""
    if opened.format == "JPEG":
        opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
    turned = ImageOps.exif_transpose(opened)
    if turned.mode in ("RGBA", "LA", "PA") or "transparency" in turned.info:
        layer = turned.convert("RGBA")
        turned = Image.new("RGB", layer.size, "white")
        turned.paste(layer, mask=layer.getchannel("A"))
    plain = turned.convert("RGB")
    plain.thumbnail((LONGEST_SIDE, LONGEST_SIDE), Image.Resampling.LANCZOS)
    return plain


def _jpeg(picture: Image.Image, position: dict[int, Any]) -> bytes:
    clean = Image.new("RGB", picture.size)  # carries nothing over but pixels
    clean.paste(picture)
    exif = Image.Exif()
    if position:
        exif[ExifTags.IFD.GPSInfo] = position
    out = io.BytesIO()
    clean.save(out, "JPEG", quality=QUALITY, optimize=True, exif=exif.tobytes() if position else b"")
    return out.getvalue()


def _position(exif: Image.Exif) -> dict[int, Any]:
    return dict(exif.get_ifd(ExifTags.IFD.GPSInfo))


def _taken_at(exif: Image.Exif) -> str:
    """'2026-03-02T14:05:33' or with its offset, from the camera's own note; empty when there is none that reads."""
    detail = exif.get_ifd(ExifTags.IFD.Exif)
    noted = str(detail.get(ExifTags.Base.DateTimeOriginal, "")).strip("\x00 ")
    offset = str(detail.get(ExifTags.Base.OffsetTimeOriginal, "")).strip("\x00 ")
    try:
        local = datetime.strptime(noted, "%Y:%m:%d %H:%M:%S")
        return datetime.fromisoformat(f"{local.isoformat()}{offset}").isoformat()
    except ValueError:
        return ""
