"""Photos as image objects: a JPEG goes in as it is, undecoded; anything else is decoded once."""

from __future__ import annotations

import hashlib
from pathlib import Path

from PIL import Image

from commissioning.dossier.packing import packed
from commissioning.dossier.writer import PdfWriter


class FileDiffers(Exception):
    """A file is not what the content says: it is missing, or its hash differs."""


def write_image(writer: PdfWriter, path: Path, digest: str) -> int:
    """Write the image object of a photo after proving that the file is the one that was frozen."""
    data = proved(path, digest)
    with Image.open(path) as image:
        width, height = image.size
        if image.format == "JPEG":
            space = {"L": "/DeviceGray", "CMYK": "/DeviceCMYK"}.get(image.mode, "/DeviceRGB")
            flip = " /Decode [1 0 1 0 1 0 1 0]" if image.mode == "CMYK" and "adobe" in image.info else ""
            coding = f"{flip} /Filter /DCTDecode"
        else:
            data, space, coding = packed(_flat(image).tobytes()), "/DeviceRGB", " /Filter /FlateDecode"
    return writer.stream(
        data,
        f"/Type /XObject /Subtype /Image /Width {width} /Height {height} /ColorSpace {space} "
        f"/BitsPerComponent 8{coding}",
    )


def proved(path: Path, digest: str) -> bytes:
    """The bytes of a file whose SHA-256 is `digest`."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise FileDiffers(f"the file {digest} cannot be read: {error.strerror}") from error
    if hashlib.sha256(data).hexdigest() != digest:
        raise FileDiffers(f"the file {digest} is not what was frozen: its SHA-256 differs")
    return data


def _flat(image: Image.Image) -> Image.Image:
    """The image without transparency, on white."""
    if "A" not in image.getbands() and "transparency" not in image.info:
        return image.convert("RGB")
    layer = image.convert("RGBA")
    ground = Image.new("RGB", image.size, "white")
    ground.paste(layer, mask=layer.getchannel("A"))
    return ground
