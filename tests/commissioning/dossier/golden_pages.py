"""The golden dossier: small fixed content, its pages as grey pictures, and how far two pictures differ.

Everything that goes in is fixed: the photo and the certificate lie beside the pictures, because another release of an
image library writes other bytes and so another SHA-256 on the page. Pictures are compared after a small blur and with
a tolerance, because releases of poppler smooth edges differently.

Look at what changed, then make the pictures anew: `python -m tests.commissioning.dossier.golden_pages`
"""

from __future__ import annotations

import hashlib
import shutil
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy
from PIL import Image, ImageFilter

from commissioning.dossier.render import build
from tests.commissioning.dossier import sample
from tests.commissioning.dossier.reading import run

FOLDER = Path(__file__).parent / "golden"
FIXED = {"photo": FOLDER / "photo.jpg", "certificate": FOLDER / "certificate.pdf"}
DPI = 45
#: Levels of 255 by which a blurred spot may differ. One digit in the smallest type makes 34, other smoothing under 20.
TOLERANCE = 24
RENEW = "If it should look so, renew the pictures: python -m tests.commissioning.dossier.golden_pages"


def content() -> dict[str, Any]:
    """One system with everything in it, in four scripts, with the fixed photo and certificate."""
    made = sample.content(1, readings=8, punches=6, photos=0, plots=1)
    photo = {**sample.photo(0, 0, made["systems"][0]["tag"]), "sha256": sha256_of("photo"), "width": 320, "height": 240}
    made["systems"][0]["photos"] = [photo]
    made["systems"][0]["equipment"] += sample.SCRIPTS
    for place, instrument in enumerate(made["instruments"]):
        named = {"sha256": sha256_of("certificate"), "name": "DMM-000.pdf"}
        instrument["certificates"] = [named] if place == 0 else []
    return made


def sha256_of(name: str) -> str:
    return hashlib.sha256(FIXED[name].read_bytes()).hexdigest()


def drawn(what: dict[str, Any], folder: Path) -> list[Image.Image]:
    """The pages of that content as pictures of sixteen greys."""
    files = {sha256_of(name): path for name, path in FIXED.items()}
    build(what, files=files.__getitem__, workdir=folder / "work", out=folder / "d.pdf")
    run("pdftoppm", "-r", str(DPI), "-gray", "-png", folder / "d.pdf", folder / "page")
    return [_sixteen_greys(Image.open(path)) for path in sorted(folder.glob("page-*.png"))]


def _sixteen_greys(picture: Image.Image) -> Image.Image:
    return picture.convert("L").point([level // 16 * 17 for level in range(256)])


def kept() -> list[Image.Image]:
    """The golden pages in order."""
    return [Image.open(path).convert("L") for path in sorted(FOLDER.glob("page-*.png"))]


def differences(golden: list[Image.Image], new: list[Image.Image]) -> list[str]:
    """One sentence for each page that does not look as it did."""
    said = [] if len(golden) == len(new) else [f"{len(new)} pages instead of {len(golden)}"]
    for number, (before, after) in enumerate(zip(golden, new, strict=False), 1):
        if words := _difference(before, after):
            said.append(f"page {number} {words}")
    return said


def _difference(before: Image.Image, after: Image.Image) -> str:
    if before.size != after.size:
        return f"is {after.size} pixels large instead of {before.size}"
    apart = numpy.abs(_blurred(before) - _blurred(after))
    if apart.max() <= TOLERANCE:
        return ""
    rows, columns = numpy.nonzero(apart > TOLERANCE)
    left, right, top, bottom = (round(x * 25.4 / DPI) for x in (columns.min(), columns.max(), rows.min(), rows.max()))
    return f"differs between {left} and {right} mm from the left, {top} and {bottom} mm from the top"


def _blurred(picture: Image.Image) -> numpy.ndarray[Any, numpy.dtype[numpy.int16]]:
    return numpy.asarray(picture.filter(ImageFilter.BoxBlur(1)), dtype=numpy.int16)


def renew() -> None:
    """Make the golden pages from what is drawn now."""
    for path in FOLDER.glob("page-*.png"):
        path.unlink()
    with TemporaryDirectory() as folder:
        for number, picture in enumerate(drawn(content(), Path(folder)), 1):
            picture.quantize(16).save(FOLDER / f"page-{number:02}.png", optimize=True)


def fix() -> None:
    """The photo and the certificate, where they are not there yet; never made anew."""
    FOLDER.mkdir(exist_ok=True)
    if not FIXED["photo"].exists():
        FIXED["photo"].write_bytes(sample.jpeg(1, (320, 240)))
    if not FIXED["certificate"].exists():
        FIXED["certificate"].write_bytes(sample.certificate("DMM-000"))


def keep_apart(pictures: list[Image.Image], folder: Path) -> Path:
    """The new pictures, to be looked at beside the golden ones."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    for number, picture in enumerate(pictures, 1):
        picture.save(folder / f"page-{number:02}.png")
    return folder


if __name__ == "__main__":
    fix()
    renew()
