"""Four ways to put the same record on paper, each in a process of its own: ours, a bare canvas, platypus twice.

Run as a program: way, folder of the stored content, folder of the files, output, number of processes.
It prints seconds and peak memory. The bare canvas is the floor: it draws the same rows, plots and photos with the same
face by `drawString`, with no wrapping, bars, links, furniture, index, attachments or signature.
"""

from __future__ import annotations

import io
import json
import re
import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from reportlab import rl_config
from reportlab.lib.pagesizes import A4
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from commissioning.dossier import fonts
from commissioning.dossier.canonical import FrozenContent

Cells = tuple[str, ...]
#: Rows of a table that platypus is given at a time: about a page of them.
CHUNK = 50


def readings_of(system: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Readings of a system in order."""
    for stage in system["stages"]:
        for record in stage["check_records"]:
            yield from record["readings"]


def reading_cells(r: dict[str, Any]) -> Cells:
    """The cells that a row of readings prints."""
    bounds = r["limits"]
    return (
        r["ref"], f"{r['tag']}: {r['label']}", f"{r['text']} {r['unit']}", r["uncertainty_text"],
        f"{bounds['lower_text']} … {bounds['upper_text']} {r['unit']}", r["verdict"],
        f"{r['conformity_probability']:.4f}", r["instrument"], r["taken_at"], r["by"],
    )  # fmt: skip


def working_cells(r: dict[str, Any]) -> Iterator[Cells]:
    """The lines of a reading's working."""
    yield r["ref"], f"{r['tag']}: {r['label']}", f"{r['calculation']} @ {r['edition']}"
    yield "Measured", "; ".join(f"{i['name']} = {i['text']} {i['unit']}" for i in r["inputs"])
    for step in r["working"]:
        yield "", f"{step['formula']} = {step['substituted']} = {step['result']}"
    yield "Limit", f"{r['limits']['lower_text']} … {r['limits']['upper_text']} V ({r['limits']['source']})"


def punch_cells(section: dict[str, Any]) -> Iterator[Cells]:
    """The rows of the punch list."""
    for group in section["groups"]:
        for row in group["rows"]:
            yield tuple(str(row[column["key"]]) for column in section["columns"])


def rows_of(system: dict[str, Any]) -> Iterator[Cells]:
    """All rows of a system: check records, readings with working, punch items."""
    for stage in system["stages"]:
        for c in stage["check_records"]:
            yield (
                str(c["order"]),
                c["key"],
                f"{c['tag']}: {c['title']}",
                c["point"],
                c["result"],
                c["by"]["name"],
                c["at"],
            )
    for reading in readings_of(system):
        yield reading_cells(reading)
    yield from punch_cells(system["sections"]["punch_list"])
    for reading in readings_of(system):
        yield from working_cells(reading)


#: Processor seconds of this process when the last section was drawn: what comes after is done by one process alone.
DRAWN_AT = [0.0]


def ours(content: FrozenContent, files: Path, out: Path, processes: int) -> None:
    """The product."""
    from commissioning.dossier.render import build

    def progress(phase: str, done: int, total: int) -> None:
        if phase != "joining pages":
            DRAWN_AT[0] = time.process_time()

    with tempfile.TemporaryDirectory() as work:
        find = {"files": lambda digest: files / digest, "workdir": Path(work)}
        build(content, **find, out=out, processes=processes, progress=progress)


def register_face() -> str:
    """The same face for every way."""
    pdfmetrics.registerFont(TTFont("Face", io.BytesIO(fonts.face(fonts.REGULAR).blob)))
    return "Face"


def floor(content: FrozenContent, files: Path, out: Path, processes: int) -> None:
    """The bare canvas."""
    rl_config.useA85 = 0
    canvas, face = Canvas(str(out), pagesize=A4, invariant=1, pageCompression=1), register_face()
    y = 800.0
    canvas.setFont(face, 7)
    for system in content["systems"]:
        for cells in rows_of(system):
            if y < 50:
                canvas.showPage()
                canvas.setFont(face, 7)
                y = 800.0
            for column, text in enumerate(cells):
                canvas.drawString(40 + column * 52, y, text)
            y -= 11
        for recording in system["recordings"]:
            for plot in recording["plots"]:
                _lines(canvas, plot)
        for photo in system["photos"]:
            canvas.drawImage(str(files / f"{photo['sha256']}.jpg"), 40, 40, 240, 180)
    canvas.save()


def _lines(canvas: Canvas, plot: dict[str, Any]) -> None:
    for series in plot["series"]:
        low, high = min(series["values"]), max(series["values"])
        path = canvas.beginPath()
        for number, (at, value) in enumerate(zip(plot["times"], series["values"], strict=True)):
            x, y = 40 + at, 40 + 100 * (value - low) / (high - low or 1)
            path.lineTo(x, y) if number else path.moveTo(x, y)
        canvas.drawPath(path)


def platypus(content: FrozenContent, files: Path, out: Path, processes: int) -> None:
    """What a first attempt does: a paragraph in every cell of long tables, and contents found in a second pass."""
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import BaseDocTemplate, Frame, Image, LongTable, PageTemplate, Paragraph
    from reportlab.platypus.tableofcontents import TableOfContents

    class Document(BaseDocTemplate):
        def afterFlowable(self, flowable: Any) -> None:
            if getattr(flowable, "title", ""):
                self.notify("TOCEntry", (0, flowable.title, self.page))

    style = ParagraphStyle("cell", fontName=register_face(), fontSize=7, leading=9)
    contents = TableOfContents(levelStyles=[style])
    story: list[Any] = [contents]
    for system in content["systems"]:
        heading = Paragraph(system["name"], style)
        heading.title = system["name"]
        story.append(heading)
        grouped: dict[int, list[Cells]] = {}
        for cells in rows_of(system):
            grouped.setdefault(len(cells), []).append(cells)
        for width, rows in grouped.items():
            data = [[Paragraph(text.replace("&", "&amp;").replace("<", "&lt;"), style) for text in row] for row in rows]
            story.append(LongTable(data, colWidths=[500 / width] * width, repeatRows=1))
        story += [_drawing(plot) for recording in system["recordings"] for plot in recording["plots"]]
        story += [Image(str(files / f"{photo['sha256']}.jpg"), 240, 180) for photo in system["photos"]]
    document = Document(str(out), pagesize=A4, invariant=1)
    document.addPageTemplates(PageTemplate(frames=[Frame(40, 40, 520, 760)]))
    document.multiBuild(story)


def chunks(content: FrozenContent, files: Path, out: Path, processes: int) -> None:
    """Platypus as somebody uses it who has measured: plain strings in short tables, one pass, nothing wraps."""
    from reportlab.platypus import Image, SimpleDocTemplate, Table

    style = [("FONT", (0, 0), (-1, -1), register_face(), 7, 9), ("TOPPADDING", (0, 0), (-1, -1), 0)]
    story: list[Any] = []
    for system in content["systems"]:
        grouped: dict[int, list[Cells]] = {}
        for cells in rows_of(system):
            grouped.setdefault(len(cells), []).append(cells)
        for width, rows in grouped.items():
            for start in range(0, len(rows), CHUNK):
                some = rows[start : start + CHUNK]
                story.append(Table(some, [500 / width] * width, [11] * len(some), style=style))
        story += [_drawing(plot) for recording in system["recordings"] for plot in recording["plots"]]
        story += [Image(str(files / f"{photo['sha256']}.jpg"), 240, 180) for photo in system["photos"]]
    SimpleDocTemplate(str(out), pagesize=A4, invariant=1).build(story)


def _drawing(plot: dict[str, Any]) -> Any:
    from reportlab.graphics.shapes import Drawing, PolyLine

    drawing = Drawing(400, 140)
    for series in plot["series"]:
        low, high = min(series["values"]), max(series["values"])
        pairs = zip(plot["times"], series["values"], strict=True)
        drawing.add(PolyLine([(at, 100 * (value - low) / (high - low or 1)) for at, value in pairs]))
    return drawing


def main() -> None:
    """Run one way and say what it took."""
    way, stored, files, out, processes = sys.argv[1:]
    content = FrozenContent(Path(stored))
    fonts.face(fonts.REGULAR)
    start, before = time.perf_counter(), time.process_time()
    {"ours": ours, "floor": floor, "platypus": platypus, "chunks": chunks}[way](
        content, Path(files), Path(out), int(processes)
    )
    seconds, after = time.perf_counter() - start, time.process_time()
    # The peak of this program alone (the kernel's other count starts from its parent's), and of a worker.
    own = int(re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text())[1])  # type: ignore[index]
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after - before + children.ru_utime + children.ru_stime
    alone = after - DRAWN_AT[0] if way == "ours" else processor
    peak = max(own, children.ru_maxrss) / 1024
    print(json.dumps({"seconds": seconds, "peak": peak, "processor": processor, "alone": alone}))


if __name__ == "__main__":
    main()
