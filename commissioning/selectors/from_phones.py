"""What phones have sent, newest first: what arrived, what was refused, and both records where two met on a line."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from commissioning.models import CheckLine, CheckResult, OutboxItem, OutboxState, Reading
from commissioning.selectors.access import Access
from commissioning.selectors.outbox import items_for

ANSWERS = {Reading._meta.label_lower, CheckResult._meta.label_lower}
#: What can be asked for, by its name in the address.
TOLD = "told"
WANTED = (*OutboxState.values, TOLD)


def from_phones(access: Access, wanted: str = "") -> QuerySet[OutboxItem]:
    """One's own, and for a manager everybody's; of one state, or those whose person was told something."""
    rows = items_for(access).order_by("-received_at", "-place", "pk")
    if wanted == TOLD:
        return rows.filter(state=OutboxState.ARRIVED).exclude(sentences=[])
    return rows.filter(state=wanted) if wanted in OutboxState.values else rows


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer on a line, as it stands on record."""

    words: str
    remark: str
    by: str
    at: datetime
    superseded_at: datetime | None


@dataclass(frozen=True, slots=True)
class Meeting:
    """The line that an item answers, what it became there, and what somebody else had answered when it came."""

    line: CheckLine | None = None
    mine: Answer | None = None
    theirs: Answer | None = None


def meetings(items: Sequence[OutboxItem], access: Access) -> dict[UUID, Meeting]:
    """By item, in three queries however many there are."""
    named = {item.pk: key for item in items if (key := _line_id(item)) is not None}
    if not named:
        return {}
    rows = CheckLine.objects.filter(access.limit("stage__system__site"), stage__system__project=access.project)
    lines = {line.pk: line for line in rows.filter(pk__in=set(named.values()))}
    answers = _answers(lines)
    found = {}
    for item in items:
        line = lines.get(named[item.pk]) if item.pk in named else None
        if line is not None:
            found[item.pk] = Meeting(line, *_both(item, answers.get(line.pk, ())))
    return found


def _line_id(item: OutboxItem) -> UUID | None:
    try:
        return UUID(str(item.body.get("line")))
    except ValueError:
        return None


def _answers(lines: Iterable[UUID]) -> Mapping[UUID, list[Any]]:
    """Every answer on these lines in the order in which the server had them."""
    found: dict[UUID, list[Any]] = defaultdict(list)
    results = CheckResult.objects.filter(line__in=list(lines)).select_related("by")
    readings = Reading.objects.filter(line__in=list(lines)).select_related("by").defer("result", "inputs")
    both: list[Any] = [*results, *readings]
    for one in sorted(both, key=lambda answer: answer.recorded_at):
        found[one.line_id].append(one)
    return found


def _both(item: OutboxItem, answers: Sequence[Any]) -> tuple[Answer | None, Answer | None]:
    """What the item became, and what of somebody else's held when it came."""
    if item.state != OutboxState.ARRIVED or item.record_kind not in ANSWERS or not item.sentences:
        return None, None
    mine = next((one for one in answers if one.pk == item.record_id), None)
    if mine is None:
        return None, None
    held = [one for one in answers if one.by_id != mine.by_id and one.recorded_at < mine.recorded_at
            and (one.superseded_at is None or one.superseded_at >= item.received_at)]  # fmt: skip
    return (_said(mine), _said(held[-1])) if held else (None, None)


def _said(one: Reading | CheckResult) -> Answer:
    reading = isinstance(one, Reading)
    words = one.get_verdict_display() if isinstance(one, Reading) else one.get_outcome_display()
    at = one.taken_at if isinstance(one, Reading) else one.at
    return Answer(f"measured: {words}" if reading else words, one.remark, str(one.by), at, one.superseded_at)
