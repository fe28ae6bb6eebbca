"""Frozen content to PDF: units are drawn apart, in parallel and resumable, then joined. No database is needed."""

from __future__ import annotations

import multiprocessing
import os
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pikepdf

from commissioning.dossier import attachments, fonts, front_matter, units
from commissioning.dossier.assemble import Book, Joiner, Leaf
from commissioning.dossier.canonical import text_length
from commissioning.dossier.furniture import furniture_for
from commissioning.dossier.page import box_for
from commissioning.dossier.units import Unit
from commissioning.dossier.writer import PdfWriter

Progress = Callable[[str, int, int], None]
Told = Progress


@dataclass(frozen=True)
class BuildReport:
    """What was built: number of pages, SHA-256 of the unsigned file, number of units."""

    pages: int
    sha256: str
    sections: int
    content_sha256: str = ""
    reused: int = 0


class BuildCancelled(Exception):
    """The build was told to stop; finished sections stay in the work folder."""


@dataclass
class _Watch:
    progress: Progress | None
    cancelled: Callable[[], bool] | None

    def step(self, phase: str, done: int, total: int) -> None:
        if self.cancelled and self.cancelled():
            raise BuildCancelled(f"stopped while {phase}, {done} of {total} done")
        if self.progress:
            self.progress(phase, done, total)


Paths = Sequence[Path]


def build(
    content: Mapping[str, Any],
    *,
    files: Callable[[str], Path],
    workdir: Path,
    out: Path,
    processes: int = 1,
    shared: Callable[[Paths, Told], None] | None = None,
    progress: Progress | None = None,
    cancelled: Callable[[], bool] | None = None,
) -> BuildReport:
    """Build the dossier of `content` at `out`.

    `files` gives the path of a photo or certificate by its SHA-256. Drawn units stay in `workdir`: a build that died
    goes on from the last one. `shared` puts there what others draw or have drawn; it is given the path of every unit in
    order, the annexes last, and what it leaves out is drawn here. The bytes depend on the content and the tools alone.
    """
    watch = _Watch(progress, cancelled)
    folder = workdir / "sections"
    folder.mkdir(parents=True, exist_ok=True)
    before = {path.name for path in folder.iterdir()}
    twin = attachments.Twin(content, workdir)
    if shared is not None:
        paths = [folder / unit.key for unit, _ in _passed_by(content, twin)]
        shared(paths, watch.step)
        processes = 1
    if processes > 1:
        paths = _with_a_pool(content, twin, folder, processes, watch)
    elif shared is None:
        paths = _one_by_one(_passed_by(content, twin), content, folder, watch)
    else:
        _one_by_one(_left_out(content, paths), content, folder, watch)
    book = _book(content, twin, paths, files, workdir)
    half = out.with_name(f"{out.name}.{os.getpid()}.part")
    try:
        with PdfWriter(half) as writer:
            digest = Joiner(book, writer).join(lambda at, total: watch.step("joining pages", at, total))
        os.replace(half, out)
    finally:
        half.unlink(missing_ok=True)
    reused = sum(path.name in before for path in paths)
    return BuildReport(book.pages, digest, len(paths), twin.content_sha256, reused)


def _passed_by(content: Mapping[str, Any], twin: attachments.Twin) -> Iterator[tuple[Unit, Any]]:
    """Every unit with its parsed content, one at a time; the twin is written and packed on the way."""
    size = units.size_of(content)
    for number, system, text in twin.systems():
        yield Unit(number, size, text), system
    yield units.unit_of(content, -1), content
    twin.finish()


def _left_out(content: Mapping[str, Any], paths: Paths) -> Iterator[tuple[Unit, Any]]:
    numbers = [*range(len(paths) - 1), -1]
    missing = (number for number, path in zip(numbers, paths, strict=True) if not path.exists())
    return ((units.unit_of(content, number), None) for number in missing)


def _one_by_one(
    wanted: Iterable[tuple[Unit, Any]], content: Mapping[str, Any], folder: Path, watch: _Watch
) -> list[Path]:
    count, paths = len(content["systems"]) + 1, list[Path]()
    for unit, data in wanted:
        paths.append(units.draw(unit, folder, data=data, told=_section_told(watch, unit.number, len(paths), count)))
    return paths


def _section_told(watch: _Watch, number: int, done: int, count: int) -> Callable[[str], None]:
    words = "drawing annexes" if number < 0 else f"drawing system {number + 1} of {count - 1}"
    return lambda section: watch.step(f"{words}: {section.replace('_', ' ')}", done, count)


def _with_a_pool(
    content: Mapping[str, Any], twin: attachments.Twin, folder: Path, processes: int, watch: _Watch
) -> list[Path]:
    """The largest units first go to other processes; this one writes the twin, then takes units from the other end."""
    for name in (fonts.REGULAR, fonts.BOLD, fonts.MONO):
        fonts.face(name)  # loaded once, before the processes part
    order = [-1, *sorted(range(len(content["systems"])), key=lambda n: -text_length(content["systems"], n))]
    with ProcessPoolExecutor(
        processes - 1, mp_context=_context(), initializer=_adopt, initargs=(content, folder)
    ) as pool:
        try:
            flying = {number: pool.submit(_draw_number, number) for number in order}
            paths = []
            for unit, _ in _passed_by(content, twin):
                paths.append(folder / unit.key)
                watch.step("drawing sections", sum(map(Future.done, flying.values())), len(order))
            for count, number in enumerate(reversed(order), 1):
                if flying[number].cancel():
                    units.draw(units.unit_of(content, number), folder)
                else:
                    flying[number].result()
                watch.step("drawing sections", count, len(order))
        except BaseException:
            pool.shutdown(wait=True, cancel_futures=True)
            raise
    return paths


_ADOPTED: list[Any] = []


def _adopt(content: Mapping[str, Any], folder: Path) -> None:
    _ADOPTED[:] = [content, folder]


def _draw_number(number: int) -> None:
    content, folder = _ADOPTED
    units.draw(units.unit_of(content, number), folder)


def _context() -> multiprocessing.context.BaseContext:
    """A quick start where it is safe: forking a process that runs threads is not."""
    alone = threading.active_count() == 1 and sys.platform == "linux"
    return multiprocessing.get_context("fork" if alone else "spawn")


def _certificates(content: Mapping[str, Any], files: Callable[[str], Path]) -> Iterator[tuple[Leaf, str, str]]:
    seen: set[str] = set()
    for instrument in content.get("instruments", []):
        for certificate in instrument.get("certificates", []):
            if certificate["sha256"] in seen:
                continue
            seen.add(certificate["sha256"])
            path = attachments.proved_path(files(certificate["sha256"]), certificate["sha256"])
            with pikepdf.open(path) as source:
                pages = len(source.pages)
            title = f"Certificate {instrument.get('certificate_number', '')} of {instrument['serial']}"
            yield Leaf(path, pages, title), title, certificate["sha256"]


def _book(
    content: Mapping[str, Any],
    twin: attachments.Twin,
    paths: Paths,
    files: Callable[[str], Path],
    workdir: Path,
) -> Book:
    """Order the leaves, number the pages and draw what needs page numbers."""
    certificates = list(_certificates(content, files))
    by_kind: dict[str, list[Leaf]] = {"body": [], "working": [], "annex": []}
    for path in paths:
        for drawn in units.drawn_in(path):
            by_kind[drawn.kind].append(Leaf.of(drawn))
    instruments, *annexes = by_kind["annex"]
    leaves = [*by_kind["body"], *by_kind["working"], instruments]
    titled: dict[int, tuple[str, str]] = {}
    for leaf, title, digest in certificates:
        titled[len(leaves)] = (title, digest)
        leaves.append(leaf)
    leaves += annexes
    maker = front_matter.FrontMatter(content, twin.overview, twin.content_sha256, twin.inside, workdir / "front")
    placed = maker.arrange(leaves, titled)
    interim = front_matter.is_interim(content)
    furniture = furniture_for(content, box_for(units.size_of(content)), twin.content_sha256, interim=interim)
    return Book(
        leaves=placed.leaves,
        anchors=placed.anchors,
        outline=placed.outline,
        furniture=furniture,
        attachments=twin.inside,
        info=front_matter.info(content),
        identity=twin.content_sha256[:32],
        pages=placed.pages,
        language=content.get("language", "en-GB"),
        files=files,
        glyphs=placed.glyphs,
    )
