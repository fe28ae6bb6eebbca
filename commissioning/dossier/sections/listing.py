"""Contents and index of tags: lines that lead to pages."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from commissioning.dossier import fonts
from commissioning.dossier.page import BOLD, HAIR, LEAD, MID, MONO, REGULAR, SMALL, TEXT, Sheet, wrap

PITCH = TEXT * 1.4
HEAD_ROOM = 30.0


def contents_pages(entries: int, height: float) -> int:
    """How many pages the contents take: known before any page number is."""
    a_page = int((height - HEAD_ROOM) // PITCH)
    return max(1, -(-entries // a_page))


def contents(sheet: Sheet, data: Mapping[str, Any]) -> None:
    """The list of sections with page numbers, every line a link."""
    a_page = int((sheet.box.height - HEAD_ROOM) // PITCH)
    for start in range(0, max(len(data["entries"]), 1), a_page):
        if start:
            sheet.new_page()
        sheet.heading(0, "Contents" if not start else "Contents (continued)", listed=not start)
        sheet.ensure(PITCH)
        for level, title, page, target in data["entries"][start : start + a_page]:
            _line(sheet, level, title, page, target)


def _line(sheet: Sheet, level: int, title: str, page: int, target: str) -> None:
    sheet.y -= PITCH
    style = BOLD if level == 0 else REGULAR
    indent = 14.0 * level
    number = str(page)
    room = sheet.box.width - indent - 40
    text = title if fonts.width(title, style, TEXT) <= room else f"{wrap(title, room - 8, style, TEXT)[0]}…"
    sheet.write(sheet.box.left + indent, sheet.y, text, style, TEXT)
    sheet.write_right(sheet.box.right, sheet.y, number, style, TEXT)
    start = sheet.box.left + indent + fonts.width(text, style, TEXT) + 5
    end = sheet.box.right - fonts.width(number, style, TEXT) - 5
    if end > start:
        sheet.code.append(
            f"{HAIR:g} G 0.5 w [0.5 2.5] 0 d {start:.2f} {sheet.y:.2f} m {end:.2f} {sheet.y:.2f} l S [] 0 d"
        )
    sheet.link(sheet.box.left, sheet.y - 2, sheet.box.right, sheet.y + TEXT, target)


def index(sheet: Sheet, entries: Iterable[tuple[str, Sequence[tuple[int, str]]]]) -> None:
    """Index of tags in three columns, every page number a link."""
    sheet.heading(0, "Index of tags", anchor="index")
    sheet.ensure(PITCH)
    width = (sheet.box.width - 24) / 3
    column, top = 0, sheet.y
    drawn = False
    for tag, places in entries:
        lines = _index_lines(tag, places, width)
        if sheet.y - len(lines) * SMALL * LEAD < sheet.box.bottom:
            column += 1
            if column == 3:
                sheet.new_page()
                column, top = 0, sheet.box.top
            sheet.y = top
        _index_entry(sheet, sheet.box.left + column * (width + 12), lines)
        drawn = True
    if not drawn:
        sheet.nothing("No tag is named in this dossier.")


Cell = tuple[str, str, str]


def _index_lines(tag: str, places: Sequence[tuple[int, str]], width: float) -> list[list[Cell]]:
    """Lines of (text, style, target): the tag, then its pages, wrapped."""
    names = wrap(tag, width, MONO, SMALL)
    lines: list[list[Cell]] = [[(name, MONO, "")] for name in names]
    used = fonts.width(names[-1], MONO, SMALL)
    for number, (page, target) in enumerate(places):
        text = f"{page}," if number < len(places) - 1 else str(page)
        step = fonts.width(text, REGULAR, SMALL) + 3
        if used + step > width:
            lines.append([])
            used = 10.0
        lines[-1].append((text, REGULAR, target))
        used += step
    return lines


def _index_entry(sheet: Sheet, left: float, lines: list[list[Cell]]) -> None:
    for cells in lines:
        sheet.y -= SMALL * LEAD
        x = left if cells and cells[0][1] == MONO else left + 10
        for text, style, target in cells:
            sheet.write(x, sheet.y, text, style, SMALL)
            step = fonts.width(text, style, SMALL)
            if target:
                sheet.link(x - 1, sheet.y - 2, x + step + 1, sheet.y + SMALL, target)
            x += step + 3 if style == REGULAR else step + 5


__all__ = ["MID", "contents", "contents_pages", "index"]
