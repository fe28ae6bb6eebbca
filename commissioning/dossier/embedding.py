"""Font programs in the joined file: one subset a face, shared by all pages."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping

import uharfbuzz as hb
from fontTools.ttLib import TTFont

from commissioning.dossier import fonts
from commissioning.dossier.packing import packed
from commissioning.dossier.writer import PdfWriter

Glyphs = Mapping[str, Mapping[int, str]]


def merge(into: dict[str, dict[int, str]], part: Glyphs) -> None:
    """Add the glyphs of a section to those of the sections before it."""
    for name, used in part.items():
        known = into.setdefault(name, {})
        for glyph, text in used.items():
            known[glyph] = fonts.clearer(known.get(glyph, ""), text)


def merged(one: Glyphs, other: Glyphs) -> dict[str, dict[int, str]]:
    """All glyphs drawn, in one order whichever section drew them first."""
    total: dict[str, dict[int, str]] = {}
    for part in (one, other):
        merge(total, part)
    return {name: dict(sorted(total[name].items())) for name in sorted(total)}


def embed(writer: PdfWriter, glyphs: Glyphs, number: int) -> None:
    """Write the font resources of every page as object `number`."""
    entries = " ".join(f"/{name} {_font(writer, name, used)} 0 R" for name, used in glyphs.items())
    writer.write(f"<< {entries} >>", number)


def _subset(name: str, glyphs: Iterable[int]) -> bytes:
    wanted = hb.SubsetInput()
    wanted.glyph_set.update({0, *glyphs})
    wanted.flags = hb.SubsetFlags.RETAIN_GIDS | hb.SubsetFlags.NO_HINTING | hb.SubsetFlags.NO_LAYOUT_CLOSURE
    return bytes(hb.subset(fonts.face(name).hb_face, wanted).blob.data)


def _font(writer: PdfWriter, name: str, used: Mapping[int, str]) -> int:
    face, program = fonts.face(name), _subset(name, used)
    parsed = TTFont(_buffer(program), lazy=True)
    letters = hashlib.sha256(program).digest()
    prefix = "".join(chr(65 + byte % 26) for byte in letters[:6])
    family = fonts.SOURCES[name].path.rpartition("/")[2].partition("[")[0].partition(".")[0]
    weight = fonts.SOURCES[name].weight or 400
    title = f"{prefix}+{family}-{weight}"
    outlines = "CFF " in parsed
    data = parsed.reader["CFF "] if outlines else program
    kind = "/Subtype /CIDFontType0C" if outlines else f"/Length1 {len(data)}"
    file = writer.stream(packed(data), f"{kind} /Filter /FlateDecode")
    descriptor = writer.write(_descriptor(title, parsed, face.scale, file, outlines))
    widths = " ".join(f"{glyph} [{face.advance(glyph):.0f}]" for glyph in used)
    mapping = "" if outlines else " /CIDToGIDMap /Identity"
    below = writer.write(
        f"<< /Type /Font /Subtype /{'CIDFontType0' if outlines else 'CIDFontType2'} /BaseFont /{title} "
        f"/CIDSystemInfo << /Registry (Adobe) /Ordering (Identity) /Supplement 0 >> /FontDescriptor {descriptor} 0 R "
        f"/DW 1000 /W [{widths}]{mapping} >>"
    )
    unicode_map = writer.stream(packed(_to_unicode(used).encode()), "/Filter /FlateDecode")
    return writer.write(
        f"<< /Type /Font /Subtype /Type0 /BaseFont /{title} /Encoding /Identity-H /DescendantFonts [{below} 0 R] "
        f"/ToUnicode {unicode_map} 0 R >>"
    )


def _buffer(program: bytes):  # type: ignore[no-untyped-def]
    from io import BytesIO

    return BytesIO(program)


def _descriptor(title: str, font: TTFont, scale: float, file: int, outlines: bool) -> str:
    head, above = font["head"], font["hhea"]
    box = " ".join(f"{value * scale:.0f}" for value in (head.xMin, head.yMin, head.xMax, head.yMax))
    return (
        f"<< /Type /FontDescriptor /FontName /{title} /Flags 4 /FontBBox [{box}] /ItalicAngle 0 "
        f"/Ascent {above.ascent * scale:.0f} /Descent {above.descent * scale:.0f} /CapHeight 700 /StemV 80 "
        f"/{'FontFile3' if outlines else 'FontFile2'} {file} 0 R >>"
    )


def _to_unicode(used: Mapping[int, str]) -> str:
    rows = [f"<{glyph:04X}> <{text.encode('utf-16-be').hex().upper()}>" for glyph, text in used.items() if text]
    blocks = []
    for start in range(0, len(rows), 100):
        block = rows[start : start + 100]
        blocks.append(f"{len(block)} beginbfchar\n" + "\n".join(block) + "\nendbfchar")
    return (
        "/CIDInit /ProcSet findresource begin\n12 dict begin\nbegincmap\n"
        "/CIDSystemInfo << /Registry (Adobe) /Ordering (UCS) /Supplement 0 >> def\n"
        "/CMapName /Adobe-Identity-UCS def\n/CMapType 2 def\n"
        "1 begincodespacerange\n<0000> <FFFF>\nendcodespacerange\n"
        + "\n".join(blocks)
        + "\nendcmap\nCMapName currentdict /CMap defineresource pop\nend\nend"
    )
