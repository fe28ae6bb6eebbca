"""Readings with verdict bars, and the annex with their full working."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from commissioning.dossier import fonts
from commissioning.dossier.page import BOLD, LEAD, MID, MONO, REGULAR, SMALL, Sheet, wrap
from commissioning.dossier.sections.marks import draw
from commissioning.dossier.sections.words import limits, quantity, when
from commissioning.dossier.tables import Column, Row, table
from commissioning.drawings.verdict_bar import WORDS, Judged, verdict_bar


def _bar(sheet: Sheet, x: float, y: float, width: float, reading: Mapping[str, Any]) -> None:
    judged = judged_of(reading)
    if judged:
        draw(sheet, verdict_bar(judged, width=width), x, y - 1.2)


def judged_of(reading: Mapping[str, Any]) -> Judged | None:
    """What the bar shows, or nothing when no number was judged."""
    if reading.get("value") is None or not reading.get("verdict"):
        return None
    bounds = reading.get("limits") or {}
    return Judged(
        value=reading["value"],
        verdict=reading["verdict"],
        lower=bounds.get("lower"),
        upper=bounds.get("upper"),
        uncertainty=reading.get("expanded_uncertainty") or 0.0,
        unit=reading.get("unit", ""),
        guard_factor=reading.get("guard_factor", 1.0),
    )


COLUMNS = (
    Column("Reading", 1.7, style=MONO),
    Column("What, where", 3.4),
    Column("Result", 1.25, "right"),
    Column("U (k=2)", 1.05, "right"),
    Column("Limits", 2.35, "right"),
    Column("", 2.0, drawer=_bar),
    Column("Verdict", 1.75),
    Column("P conf.", 1.0, "right"),
    Column("Instrument", 1.5, style=MONO),
    Column("At, by", 2.35),
)


def readings(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """The table of readings; each row leads to its working in the annex."""
    sheet.heading(1, "Readings", anchor=f"readings:{data['id']}")
    table(sheet, COLUMNS, map(_row, data["readings"]), empty="No reading was asked for.")


def _row(reading: Mapping[str, Any]) -> Row:
    verdict = WORDS[reading["verdict"]] if reading.get("verdict") else "not judged"
    superseded = reading.get("superseded")
    if superseded:
        verdict = f"superseded by {superseded['by_ref']}: {superseded['reason']}"
    probability = reading.get("conformity_probability")
    return Row(
        (
            reading["ref"],
            "\n".join(filter(None, (_what(reading), reading.get("short")))),
            quantity(reading.get("text", ""), reading.get("unit")),
            reading.get("uncertainty_text", ""),
            limits(reading),
            reading,
            verdict,
            "" if probability is None else f"{probability:.4f}",
            reading.get("instrument", ""),
            f"{when(reading['taken_at'])}\n{reading['by']}",
        ),
        anchor=f"reading:{reading['ref']}",
        tag=reading.get("tag", ""),
        link=f"working:{reading['ref']}" if reading.get("has_working") else "",
        strong=bool(reading.get("verdict", "").startswith("reject") and not superseded),
    )


def _what(reading: Mapping[str, Any]) -> str:
    where = f"{reading['tag']}: " if reading.get("tag") else ""
    return f"{where}{reading['label']}"


def working(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """Formula, substituted numbers, result, limit and source of every reading of the system."""
    if data["first"]:
        sheet.heading(0, f"Annex: working of readings, {data['tag']}", anchor=f"workings:{data['id']}")
    for reading in data["readings"]:
        _one(sheet, reading)


def _one(sheet: Sheet, reading: Mapping[str, Any]) -> None:
    lines = list(_lines(reading))
    sheet.ensure(SMALL * LEAD * min(len(lines) + 2, 12))
    sheet.y -= SMALL + 3
    sheet.row_anchor(f"working:{reading['ref']}")
    sheet.write(sheet.box.left, sheet.y, reading["ref"], MONO, SMALL)
    sheet.write(sheet.box.left + 62, sheet.y, wrap(_what(reading), 300, BOLD, SMALL)[0], BOLD, SMALL)
    sheet.write_right(sheet.box.right, sheet.y, f"{reading['calculation']} @ {reading['edition']}", MONO, SMALL, MID)
    bottom, top = sheet.y - 2, sheet.y + SMALL
    sheet.link(sheet.box.left, bottom, sheet.box.left + 60, top, f"reading:{reading['ref']}")
    sheet.link(sheet.box.right - 120, bottom, sheet.box.right, top, f"source:{reading['calculation']}")
    for label, text in lines:
        for number, line in enumerate(wrap(text, sheet.box.width - 62, REGULAR, SMALL)):
            sheet.ensure(SMALL * LEAD)
            sheet.y -= SMALL * LEAD
            if not number:
                sheet.write(sheet.box.left, sheet.y, label, REGULAR, SMALL, MID)
            if label:
                sheet.write(sheet.box.left + 62, sheet.y, line, REGULAR, SMALL)
            else:
                _write_formula(sheet, sheet.box.left + 62, line)
    sheet.y -= 3
    sheet.rule(sheet.y, 0.3)


#: A symbol with its index, as the working writes them: U_ref, t_(i+1).
_INDEX = re.compile(r"(?<=\w)_(\([^()]*\)|[^\W_]+)")


def _write_formula(sheet: Sheet, x: float, line: str) -> None:
    """A line of working as it is set by hand: indices small and below the line instead of behind an underscore."""
    place = 0
    for found in _INDEX.finditer(line):
        x = _write_on(sheet, x, sheet.y, line[place : found.start()], SMALL)
        x = _write_on(sheet, x, sheet.y - SMALL * 0.18, found[1].strip("()"), SMALL * 0.72)
        place = found.end()
    _write_on(sheet, x, sheet.y, line[place:], SMALL)


def _write_on(sheet: Sheet, x: float, y: float, text: str, size: float) -> float:
    """Write and answer where the next piece begins."""
    sheet.write(x, y, text, REGULAR, size)
    return x + fonts.width(text, REGULAR, size)


def _lines(reading: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    inputs = "; ".join(f"{i['name']} = {quantity(i['text'], i.get('unit'))}" for i in reading.get("inputs", []))
    if inputs:
        yield "Measured", inputs
    for step in reading["working"]:
        yield "", f"{step['formula']}  =  {step['substituted']}  =  {step['result']}"
    bounds = reading.get("limits") or {}
    if limits(reading):
        yield "Limit", f"{limits(reading)} ({bounds.get('source', 'no source')})"
    for caution in reading.get("cautions", []):
        yield "Caution", caution
