"""Photos and test recordings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from commissioning.dossier.page import LEAD, MID, MONO, REGULAR, SMALL, Sheet, wrap
from commissioning.dossier.sections.marks import draw
from commissioning.dossier.sections.words import quantity, when
from commissioning.dossier.tables import Column, Row, table
from commissioning.drawings.time_series import Level, Plot, Series, time_series

GUTTER = 12.0


def photos(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """Two photos a row, each with caption, tag, time and the hash of its file."""
    sheet.heading(1, "Photos", anchor=f"photos:{data['id']}", keep=200)
    if not data["rows"]:
        sheet.nothing("No photo is recorded.")
    width = (sheet.box.width - GUTTER) / 2
    for start in range(0, len(data["rows"]), 2):
        pair = data["rows"][start : start + 2]
        heights = [min(width * p["height"] / p["width"], 230) for p in pair]
        texts = [wrap(_caption(p), width, REGULAR, SMALL) for p in pair]
        sheet.ensure(max(heights) + (max(map(len, texts)) + 2) * SMALL * LEAD + 8)
        for column, photo in enumerate(pair):
            _photo(sheet, photo, sheet.box.left + column * (width + GUTTER), width, heights[column], texts[column])
        sheet.y -= max(heights) + (max(map(len, texts)) + 2) * SMALL * LEAD + 8


def _caption(photo: Mapping[str, Any]) -> str:
    return f"{photo['ref']}  {photo['caption']}"


def _photo(sheet: Sheet, photo: Mapping[str, Any], x: float, width: float, height: float, text: Any) -> None:
    shown = height * photo["width"] / photo["height"]
    sheet.image(photo["sha256"], x, sheet.y - height, shown, height)
    sheet.tag(photo.get("tag", ""))
    y = sheet.y - height
    for line in text:
        y -= SMALL * LEAD
        sheet.write(x, y, line, REGULAR, SMALL)
    y -= SMALL * LEAD
    sheet.write(x, y, photo.get("tag", ""), MONO, SMALL)
    sheet.write_right(x + width, y, f"{when(photo['taken_at'])}  {photo.get('by', '')}", REGULAR, SMALL)
    sheet.write(x, y - SMALL * LEAD, f"SHA-256 {photo['sha256'][:40]}…", MONO, SMALL, MID)


def recordings(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """Logged tests: what came out, and the plots."""
    sheet.heading(1, "Test recordings", anchor=f"recordings:{data['id']}")
    if not data["rows"]:
        sheet.nothing("No test recording is on file.")
    for recording in data["rows"]:
        _recording(sheet, recording)


def _recording(sheet: Sheet, recording: Mapping[str, Any]) -> None:
    title = f"{recording['ref']}  {recording['title']}"
    sheet.heading(2, title, tag=recording.get("tag", ""), listed=False, keep=170)
    for label, value in (
        ("Started", when(recording["started_at"])),
        ("By, instrument", f"{recording['by']}, {recording.get('instrument', '')}"),
        ("File", f"{recording.get('file_name', '')}, SHA-256 {recording.get('file_sha256', '')}"),
    ):
        sheet.pair(label, value)
    columns = (Column("Result", 4), Column("Value", 1.6, "right"), Column("Verdict", 2.4), Column("Limit, source", 5))
    rows = (
        Row((r["name"], quantity(r["text"], r.get("unit")), r.get("verdict_words", ""), r.get("limit", "")))
        for r in recording.get("results", [])
    )
    table(sheet, columns, rows, empty="No result was calculated.")
    if recording.get("note"):
        sheet.paragraph(recording["note"])
    for plot in recording.get("plots", []):
        _plot(sheet, plot)


def _plot(sheet: Sheet, plot: Mapping[str, Any]) -> None:
    series = [Series(s["name"], s["values"], s.get("weak", False)) for s in plot["series"]]
    levels = [Level(level["value"], level["name"]) for level in plot.get("levels", [])]
    drawing = time_series(
        Plot(plot["title"], plot["unit"], plot["times"], plot["time_unit"], series, levels),
        width=sheet.box.width,
        height=150,
    )
    sheet.ensure(drawing.height + 10)
    draw(sheet, drawing, sheet.box.left, sheet.y - 4)
    sheet.y -= drawing.height + 10
