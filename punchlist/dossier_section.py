"""What the punch list puts into a handover dossier; named in DOSSIER_SECTIONS.

Plain data, frozen as it stood: words, ISO 8601 times in the site's zone, hashes of photos. Nothing here is looked up
again when the dossier is drawn.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Prefetch
from django.utils import timezone

from commissioning.models import StageKind
from punchlist.models import ItemState, ItemStep, Photo, PunchItem
from punchlist.rules.steps import ASSIGN_UNDONE, ASSIGNED
from punchlist.selectors.zones import zone_of

NAME, TITLE = "punch_list", "Punch list"
COLUMNS = (
    {"key": "ref", "title": "No.", "share": 1.0, "kind": "tag"},
    {"key": "category", "title": "Cat.", "share": 0.6, "kind": "text"},
    {"key": "tag", "title": "Tag", "share": 1.9, "kind": "tag"},
    {"key": "text", "title": "What", "share": 4.6, "kind": "text"},
    {"key": "stage", "title": "Stage", "share": 2.1, "kind": "text"},
    {"key": "state", "title": "State", "share": 1.1, "kind": "text"},
    {"key": "owed", "title": "Owes, due", "share": 1.8, "kind": "text"},
    {"key": "story", "title": "What was done", "share": 3.9, "kind": "text"},
)
STEP_WORDS = {"assign_undone": "assignment taken back"}
#: Steps that say who owes an item; the dossier prints who owes it in the end.
NOT_TOLD = frozenset({ASSIGNED, ASSIGN_UNDONE})


def punch_section(
    *, systems: Collection[UUID], at: datetime, kinds: Collection[str] = frozenset(StageKind.values)
) -> dict[str, Any]:
    """The punch list of these systems as it stands, of items raised in these kinds of stage, in four queries.

    `items` is the whole record; `carry_over` and `blocking` are the lists that the front pages need, and `by_system`
    holds, for each system id, the `section` and the `photos` as the dossier's drawing code takes them.
    """
    rows = (
        PunchItem.objects.filter(system__in=systems, stage__kind__in=kinds)
        .select_related(
            "project", "system__site__project", "stage", "equipment", "raised_by", "owes", "rectified_by", "closed_by"
        )
        .prefetch_related(Prefetch("photos", Photo.objects.select_related("taken_by", "withdrawn_by")), "steps__by")
        .order_by("system__tag", "category", "number")
    )
    found = list(rows)
    frozen = {item.pk: _frozen(item, at=at) for item in found}
    own: dict[UUID, list[PunchItem]] = {system: [] for system in systems}
    for item in found:
        own[item.system_id].append(item)
    return {
        "name": NAME,
        "title": TITLE,
        "items": list(frozen.values()),
        "carry_over": [frozen[item.pk] for item in found if _stands(item) and item.category != "A"],
        "blocking": [_missing(item) for item in found if _blocks_handover(item)],
        "by_system": {str(system): _printed(items, frozen) for system, items in own.items()},
    }


def _printed(items: list[PunchItem], frozen: Mapping[UUID, Mapping[str, Any]]) -> dict[str, Any]:
    """What the dossier prints of one system."""
    photos = [photo for item in items for photo in frozen[item.pk]["photos"]]
    return {"section": _section(items, frozen), "photos": photos}


def _stands(item: PunchItem) -> bool:
    return item.state != ItemState.CLOSED


def _blocks_handover(item: PunchItem) -> bool:
    """A and B items must be closed before handover; C items only where the project says so."""
    return _stands(item) and (item.category != "C" or item.project.c_blocks_handover)


def _missing(item: PunchItem) -> dict[str, str]:
    """A line of the page that says what is missing."""
    return {
        "system": str(item.system_id),
        "tag": item.equipment.tag if item.equipment else item.system.tag,
        "where": f"Punch list, {item.stage.get_kind_display()}",
        "text": f"{item.label}, category {item.category}, is {item.get_state_display()}: {_line(item.text)}",
    }


def _frozen(item: PunchItem, *, at: datetime) -> dict[str, Any]:
    zone = zone_of(item.system.site)
    photos = list(enumerate(item.photos.all(), start=1))
    return {
        "id": str(item.pk),
        "number": item.number,
        "label": item.label,
        "site": item.system.site.name,
        "system": item.system.tag,
        "stage": item.stage.get_kind_display(),
        "tag": item.equipment.tag if item.equipment else item.system.tag,
        "category": item.category,
        "state": item.get_state_display(),
        "text": item.text,
        "raised_by": str(item.raised_by),
        "raised_at": _moment(item.raised_at, zone),
        "owes": _owes(item),
        "due_on": _day(item.due_on),
        "overdue": bool(_stands(item) and item.due_on and item.due_on < timezone.localtime(at, zone).date()),
        "rectified_by": str(item.rectified_by or ""),
        "rectified_at": _moment(item.rectified_at, zone),
        "closed_by": str(item.closed_by or ""),
        "closed_at": _moment(item.closed_at, zone),
        "steps": [_step(step, zone) for step in item.steps.all()],
        "photos": [_photo(photo, item, place, zone) for place, photo in photos if not photo.withdrawn_at],
        "withdrawn_photos": [_withdrawn(photo, item, place, zone) for place, photo in photos if photo.withdrawn_at],
    }


def _step(step: ItemStep, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "step": STEP_WORDS.get(step.step, step.step.replace("_", " ")),
        "by": str(step.by),
        "at": _moment(step.at, zone),
        "remark": step.remark,
        "changes": {} if step.step in NOT_TOLD else step.changes,
    }


def _photo(photo: Photo, item: PunchItem, place: int, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "ref": f"{item.label}/{place}",
        "sha256": photo.sha256,
        "caption": photo.caption or _line(item.text),
        "tag": item.equipment.tag if item.equipment else item.system.tag,
        "taken_at": _moment(photo.taken_at, zone),
        "by": str(photo.taken_by),
        "width": photo.width,
        "height": photo.height,
        "path": photo.file.name,
    }


def _withdrawn(photo: Photo, item: PunchItem, place: int, zone: ZoneInfo) -> dict[str, Any]:
    """A photo that is named but not printed."""
    return {
        "ref": f"{item.label}/{place}",
        "sha256": photo.sha256,
        "by": str(photo.withdrawn_by or ""),
        "at": _moment(photo.withdrawn_at, zone),
        "reason": _line(photo.withdrawn_reason),
    }


def _section(items: Iterable[PunchItem], frozen: Mapping[UUID, Mapping[str, Any]]) -> dict[str, Any]:
    """One system's punch list as titled groups of rows under named columns."""
    groups: dict[str, list[dict[str, Any]]] = {"first": [], "carried": [], "closed": []}
    for item in items:
        group = "closed" if not _stands(item) else "first" if item.category == "A" else "carried"
        groups[group].append(_row(frozen[item.pk], strong=group == "first"))
    return {
        "key": "punch",
        "title": TITLE,
        "note": "A holds the stage it was raised in, B holds handover, C is handed over undone, as agreed.",
        "columns": [dict(column) for column in COLUMNS],
        "groups": [
            {"title": "Category A, not closed", "empty": "No category A item stands.", "rows": groups["first"]},
            {"title": "Carried over", "empty": "Nothing is carried over.", "rows": groups["carried"]},
            {"title": "Closed", "empty": "No item was closed.", "rows": groups["closed"]},
        ],
    }


def _row(item: Mapping[str, Any], *, strong: bool) -> dict[str, Any]:
    told = [step for step in item["steps"] if step["step"] not in ("assigned", "assignment taken back")]
    due = f"due {item['due_on']}" + (", overdue" if item["overdue"] else "") if item["due_on"] else ""
    return {
        "ref": item["label"],
        "category": item["category"],
        "tag": item["tag"],
        "text": item["text"],
        "stage": item["stage"],
        "state": item["state"],
        "owed": "\n".join(part for part in (item["owes"], due) if part),
        "story": "\n".join([*(_told(step) for step in told), *map(_photo_told, item["withdrawn_photos"])]),
        "strong": strong,
    }


def _told(step: Mapping[str, Any]) -> str:
    """'2026-03-02 14:05 rectified, Tobin Ashgrove: plate fitted'."""
    changed = ", ".join(f"{name.replace('_', ' ')} was {pair[0] or 'empty'}" for name, pair in _pairs(step["changes"]))
    words = ": ".join(part for part in (step["remark"], changed) if part)
    return f"{step['at'][:16].replace('T', ' ')} {step['step']}, {step['by']}" + (f": {words}" if words else "")


def _photo_told(photo: Mapping[str, Any]) -> str:
    """'2026-03-02 14:05 photo P-4/2 withdrawn, Tobin Ashgrove: other room (SHA-256 0d4a…)'."""
    at = photo["at"][:16].replace("T", " ")
    return f"{at} photo {photo['ref']} withdrawn, {photo['by']}: {photo['reason']} (SHA-256 {photo['sha256'][:16]}…)"


def _pairs(changes: Mapping[str, Any]) -> list[tuple[str, list[str]]]:
    return [(name, pair) for name, pair in changes.items() if isinstance(pair, list) and name != "text"]


def _owes(item: PunchItem) -> str:
    return ", ".join(part for part in (str(item.owes or ""), item.owes_company) if part)


def _line(text: str) -> str:
    return " ".join(text.split())


def _moment(at: datetime | None, zone: ZoneInfo) -> str:
    return timezone.localtime(at, zone).isoformat(timespec="seconds") if at else ""


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""
