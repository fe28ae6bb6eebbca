"""The typefaces of the dossier: encoding, measuring, shaping and embedding.

Every face comes from a Python package and is embedded as a subset that keeps its glyph numbers, so that sections
drawn apart share one font program in the joined file. Text that the main face can write takes a quick path; anything
else is ordered by the Unicode bidirectional algorithm, given a face per run and shaped by HarfBuzz.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cache, lru_cache
from importlib.resources import files as package_files
from itertools import groupby, pairwise

import uharfbuzz as hb
from bidi.algorithm import (
    explicit_embed_and_overrides,
    get_base_level,
    get_embedding_levels,
    get_empty_storage,
    resolve_implicit_levels,
    resolve_neutral_types,
    resolve_weak_types,
)

REGULAR, BOLD, MONO = "F1", "F2", "F3"
NOTO = "manimgx_fonts"


@dataclass(frozen=True)
class FaceSource:
    """Where a face's file lies in its package, and the weight it is pinned to."""

    package: str
    path: str
    weight: int | None = 400


SOURCES: dict[str, FaceSource] = {
    REGULAR: FaceSource("fontpkg_source_sans_3", "files/SourceSans3[wght].ttf"),
    BOLD: FaceSource("fontpkg_source_sans_3", "files/SourceSans3[wght].ttf", 600),
    MONO: FaceSource("fontpkg_source_code_pro", "files/SourceCodePro[wght].ttf"),
    "F4": FaceSource(NOTO, "NotoSansArabic[wght].ttf"),
    "F5": FaceSource(NOTO, "NotoSansHebrew[wght].ttf"),
    "F6": FaceSource("cvttf_NotoSansCJK_Regular", "NotoSansCJKtc-Regular.otf", None),
    "F7": FaceSource(NOTO, "NotoSansDevanagari[wght].ttf"),
    "F8": FaceSource(NOTO, "NotoSansThai[wght].ttf"),
    "F9": FaceSource(NOTO, "NotoSansSymbols[wght].ttf"),
    "F10": FaceSource(NOTO, "NotoSans[wght].ttf"),
}
FALLBACKS = tuple(name for name in SOURCES if name not in {REGULAR, BOLD, MONO})

# Spellings that every face can write, for the few signs that none of them has.
RESPELT = str.maketrans({"∛": "³√", "✕": "×", "\t": " ", "\r": " ", "\n": " ", "\u00ad": "", "\ufeff": ""})

MIRRORED = {"(": ")", ")": "(", "[": "]", "]": "[", "<": ">", ">": "<", "{": "}", "}": "{"}


@dataclass
class Face:
    """One loaded face: its character map, advances (per mille of an em), and what the section in hand drew with it.

    Only what is drawn is noted, never what is merely measured: measures are kept from one section to the next, and
    what a section embeds must not depend on what this process measured before.
    """

    name: str
    blob: bytes
    hb_face: hb.Face
    hb_font: hb.Font
    scale: float
    glyphs: dict[str, int]
    drawn: set[str] = field(default_factory=set)
    used: dict[int, str] = field(default_factory=dict)
    widths: dict[str, float] = field(default_factory=dict)
    codes: dict[int, str] = field(default_factory=dict)
    seen: set[str] = field(default_factory=set)
    chars: dict[int, str] = field(default_factory=dict)

    def advance(self, glyph: int) -> float:
        """Advance of a glyph in thousandths of an em."""
        return self.hb_font.get_glyph_h_advance(glyph) * self.scale

    def covers(self, text: str) -> bool:
        """True when every character has a glyph here; learns their codes and widths on the way."""
        if self.seen.issuperset(text):
            return True
        for char in set(text) - self.seen:
            glyph = self.glyphs.get(char)
            if glyph is None:
                return False
            self.seen.add(char)
            self.codes[ord(char)] = f"{glyph:04X}"
            self.widths[char] = self.advance(glyph)
        return True

    def note(self, glyph: int, text: str) -> None:
        """Remember that a glyph was drawn and the text it stands for, the same whatever the order of drawing."""
        self.used[glyph] = clearer(self.used.get(glyph, ""), text)

    def all_used(self) -> dict[int, str]:
        """Glyphs drawn since the section was started, with their texts."""
        for char in self.drawn:
            self.note(self.glyphs[char], char)
        return dict(sorted(self.used.items()))


def clearer(one: str, other: str) -> str:
    """Of two readings of a glyph the one kept: any before none, then the lower."""
    return min(filter(None, (one, other)), default="")


def _read(source: FaceSource) -> bytes:
    return (package_files(source.package) / source.path).read_bytes()


@cache
def _pinned(package: str, path: str, weight: int | None) -> bytes:
    raw = _read(FaceSource(package, path, weight))
    if weight is None:
        return raw
    face = hb.Face(raw)
    wanted = hb.SubsetInput()
    wanted.keep_everything()
    wanted.pin_axis_location(face, "wght", weight)
    return bytes(hb.subset(face, wanted).blob.data)


_LOADED: dict[str, Face] = {}


def face(name: str) -> Face:
    """The face of that resource name, loaded once a process."""
    if name not in _LOADED:
        _LOADED[name] = _load(name)
    return _LOADED[name]


def _load(name: str) -> Face:
    source = SOURCES[name]
    blob = _pinned(source.package, source.path, source.weight)
    hb_face = hb.Face(blob)
    font = hb.Font(hb_face)
    glyphs = _character_map(hb_face, font)
    chars: dict[int, str] = {}
    for char, glyph in ((char, glyph) for char, glyph in glyphs.items() if char >= " "):
        chars[glyph] = clearer(chars.get(glyph, ""), char)
    scale = 1000 / hb_face.upem
    return Face(name=name, blob=blob, hb_face=hb_face, hb_font=font, scale=scale, glyphs=glyphs, chars=chars)


def _character_map(hb_face: hb.Face, font: hb.Font) -> dict[str, int]:
    pairs = ((chr(code), font.get_nominal_glyph(code)) for code in hb_face.unicodes)
    return {char: glyph for char, glyph in pairs if glyph}


@dataclass(frozen=True)
class Run:
    """A stretch of text in one face: operators that show it, width per mille of an em, glyphs with their texts."""

    face: str
    shown: str
    width: float
    glyphs: tuple[tuple[int, str], ...] = ()


@lru_cache(maxsize=4096)
def runs(text: str, style: str) -> tuple[Run, ...]:
    """The runs that draw a text which the main face cannot write alone, from left to right."""
    return tuple(_shaped_runs(text.translate(RESPELT), style))


def width(text: str, style: str, size: float) -> float:
    """Width of `text` in points."""
    main = face(style)
    if main.covers(text):
        return sum(map(main.widths.__getitem__, text)) * size / 1000
    return sum(run.width for run in runs(text, style)) * size / 1000


def _shaped_runs(text: str, style: str) -> Iterator[Run]:
    for level, part in _visual_order(_spelt_out(text, style)):
        pieces = [("".join(chars), name) for name, chars in _itemised(part, style)]
        for piece, name in reversed(pieces) if level % 2 else pieces:
            yield _shape(piece, face(name), rtl=bool(level % 2))


def _spelt_out(text: str, style: str) -> str:
    """Text in which a character that no face has is named by its code point instead of drawn as a box."""
    return "".join(char if _face_for(char, style) else f"[U+{ord(char):04X}]" for char in _visible(text))


def _visible(text: str) -> Iterator[str]:
    return (char for char in text if unicodedata.category(char) not in {"Cf", "Cc", "Cn", "Cs"})


@lru_cache(maxsize=8192)
def _face_for(char: str, style: str) -> str | None:
    return next((name for name in (style, *FALLBACKS) if char in face(name).glyphs), None)


def _itemised(text: str, style: str) -> Iterator[tuple[str, Iterable[str]]]:
    """Text cut where the face changes; marks and spaces stay with what they follow where that face has them."""
    chosen: list[tuple[str, str]] = []
    for char in text:
        name = _face_for(char, style) or style
        if chosen and (char == " " or unicodedata.combining(char)) and char in face(chosen[-1][0]).glyphs:
            name = chosen[-1][0]
        chosen.append((name, char))
    for name, group in groupby(chosen, key=lambda pair: pair[0]):
        yield name, [char for _, char in group]


def _visual_order(text: str) -> list[tuple[int, str]]:
    """Runs of one embedding level in the order they stand on paper (UAX 9, rule L2); characters stay logical."""
    storage = get_empty_storage()
    storage["base_level"] = get_base_level(text)
    storage["base_dir"] = ("L", "R")[storage["base_level"]]
    get_embedding_levels(text, storage)
    for step in (explicit_embed_and_overrides, resolve_weak_types):
        step(storage)
    resolve_neutral_types(storage, False)
    resolve_implicit_levels(storage, False)
    cut = [(level, "".join(c["ch"] for c in chars)) for level, chars in groupby(storage["chars"], lambda c: c["level"])]
    for level in range(max((item[0] for item in cut), default=0), 0, -1):
        cut = list(_reversed_at(cut, level))
    return cut


def _reversed_at(cut: list[tuple[int, str]], level: int) -> Iterator[tuple[int, str]]:
    for high, group in groupby(cut, lambda item: item[0] >= level):
        members = list(group)
        yield from reversed(members) if high else members


def _shape(text: str, into: Face, *, rtl: bool) -> Run:
    buffer = hb.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    buffer.direction = "rtl" if rtl else "ltr"
    hb.shape(into.hb_font, buffer, {"liga": False} if into.name in {REGULAR, BOLD, MONO} else None)
    placed = list(zip(buffer.glyph_infos, buffer.glyph_positions, strict=True))
    ends = dict(pairwise([*sorted({info.cluster for info, _ in placed}), len(text)]))
    parts, drawn = [], list[tuple[int, str]]()
    for cluster, group in groupby(placed, key=lambda pair: pair[0].cluster):
        glyphs = [(info.codepoint, position) for info, position in group]
        part = text[cluster : ends[cluster]]
        parts.append(_cluster(glyphs, part, into))
        drawn += [(glyph, into.chars.get(glyph) or part) for glyph, _ in glyphs]
    width = sum(position.x_advance for _, position in placed) * into.scale
    return Run(into.name, " ".join(parts), width, tuple(drawn))


def _cluster(glyphs: list[tuple[int, hb.GlyphPosition]], text: str, into: Face) -> str:
    """The glyphs of one cluster; they carry the text itself where they do not give it back one by one."""
    shown = f"[{' '.join(_placed(glyph, position, into) for glyph, position in glyphs)}] TJ"
    if "".join(into.chars.get(glyph, "") for glyph, _ in glyphs) in {text, MIRRORED.get(text)}:
        return shown
    return f"/Span << /ActualText <FEFF{text.encode('utf-16-be').hex().upper()}> >> BDC {shown} EMC"


def _placed(glyph: int, position: hb.GlyphPosition, into: Face) -> str:
    shift = position.x_offset * into.scale
    extra = into.advance(glyph) + shift - position.x_advance * into.scale
    before = f"{-shift:.0f} " if abs(shift) >= 0.5 else ""
    after = f" {extra:.0f}" if abs(extra) >= 0.5 else ""
    return f"{before}<{glyph:04X}>{after}"


def operators(text: str, style: str, size: float) -> str:
    """Content-stream operators that show `text` at the current text position."""
    main = face(style)
    if main.covers(text):
        main.drawn.update(text)
        return f"/{style} {size:g} Tf <{text.translate(main.codes)}> Tj"
    shown = []
    for run in runs(text, style):
        for glyph, stands_for in run.glyphs:
            face(run.face).note(glyph, stands_for)
        shown.append(f"/{run.face} {size:g} Tf {run.shown}")
    return " ".join(shown)


def start_section() -> None:
    """Forget what was drawn before: what a section uses must not depend on what this process drew earlier."""
    for loaded in _LOADED.values():
        loaded.used.clear()
        loaded.drawn.clear()


def used_glyphs() -> dict[str, dict[int, str]]:
    """Glyphs drawn since the section was started, by face, with the text each stands for."""
    return {name: used for name, loaded in sorted(_LOADED.items()) if (used := loaded.all_used())}


def fingerprint() -> str:
    """What the glyph shapes depend on: enough to tell two machines' dossiers apart by their tools."""
    return f"harfbuzz {hb.version_string()}"
