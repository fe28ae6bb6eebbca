"""The punch list as a workbook, written row by row: memory does not grow with the list.

Every text is stored as text and marked so (a leading apostrophe in a spreadsheet's terms): whatever a person typed,
no cell runs as a formula, neither when the file is opened nor when a cell is edited.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime
from typing import IO, Any
from zoneinfo import ZoneInfo

from django.db.models import OuterRef, QuerySet, Subquery
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from punchlist.models import ItemStep, PunchItem

CELL_LIMIT = 32_000
CHUNK = 500
COLUMNS: tuple[tuple[str, int], ...] = (
    ("number", 9),
    ("category", 9),
    ("state", 11),
    ("site", 10),
    ("system", 16),
    ("stage", 22),
    ("tag", 18),
    ("what", 60),
    ("owes", 22),
    ("company", 22),
    ("due", 11),
    ("raised by", 22),
    ("raised at", 17),
    ("rectified by", 22),
    ("rectified at", 17),
    ("closed by", 22),
    ("closed at", 17),
    ("last remark", 40),
    ("photos", 8),
)


def write_workbook(*, items: QuerySet[PunchItem], zone: ZoneInfo, out: IO[bytes]) -> int:
    """Write the items to `out`; times stand in `zone`, which the head names. Answers how many there were."""
    book = Workbook(write_only=True)
    sheet = book.create_sheet("punch list")
    sheet.freeze_panes = "A2"
    for place, (_, width) in enumerate(COLUMNS, start=1):
        sheet.column_dimensions[get_column_letter(place)].width = width
    sheet.append(_head(sheet, zone))
    count = 0
    for item in _loaded(items).iterator(chunk_size=CHUNK):
        sheet.append([_cell(sheet, value) for value in _values(item, zone)])
        count += 1
    sheet.auto_filter.ref = f"A1:{get_column_letter(len(COLUMNS))}{count + 1}"
    book.save(out)
    return count


def _loaded(items: QuerySet[PunchItem]) -> QuerySet[PunchItem]:
    remarks = ItemStep.objects.filter(item=OuterRef("pk")).exclude(remark="").order_by("-recorded_at")
    return items.select_related("rectified_by", "closed_by").annotate(
        last_remark=Subquery(remarks.values("remark")[:1])
    )


def _head(sheet: Any, zone: ZoneInfo) -> Iterable[WriteOnlyCell]:
    for name, _ in COLUMNS:
        cell = _text(sheet, f"{name} ({zone.key})" if name.endswith(" at") else name)
        cell.font = Font(bold=True)
        yield cell


def _values(item: PunchItem, zone: ZoneInfo) -> list[Any]:
    return [
        item.label,
        item.category,
        item.get_state_display(),
        item.system.site.code,
        item.system.tag,
        item.stage.get_kind_display(),
        item.equipment.tag if item.equipment else item.system.tag,
        item.text,
        item.owes,
        item.owes_company,
        item.due_on,
        item.raised_by,
        _local(item.raised_at, zone),
        item.rectified_by,
        _local(item.rectified_at, zone),
        item.closed_by,
        _local(item.closed_at, zone),
        item.last_remark,  # type: ignore[attr-defined]
        item.photo_count,  # type: ignore[attr-defined]
    ]


def _cell(sheet: Any, value: Any) -> WriteOnlyCell | None:
    if value is None or value == "":
        return None
    if isinstance(value, int | date):
        cell = WriteOnlyCell(sheet, value)
        if isinstance(value, datetime):
            cell.number_format = "yyyy-mm-dd hh:mm"
        elif isinstance(value, date):
            cell.number_format = "yyyy-mm-dd"
        return cell
    return _text(sheet, _plain(value))


def _text(sheet: Any, text: str) -> WriteOnlyCell:
    cell = WriteOnlyCell(sheet, text)
    cell.data_type = "s"  # never "f", whatever the first character is
    cell.quotePrefix = True
    return cell


def _plain(value: Any) -> str:
    """Words without the control characters that a workbook cannot hold."""
    text = ILLEGAL_CHARACTERS_RE.sub("", str(value))
    return text if len(text) <= CELL_LIMIT else f"{text[:CELL_LIMIT]} …"


def _local(at: datetime | None, zone: ZoneInfo) -> datetime | None:
    """A workbook knows no zones: the wall clock of the zone that the head names."""
    return at.astimezone(zone).replace(tzinfo=None) if at else None
