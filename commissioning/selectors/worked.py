"""What was done at the gates of a project, and when: the history of a forecast, in a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Any, Protocol
from uuid import UUID

from django.conf import settings
from django.db.models import OuterRef, QuerySet, Subquery
from django.utils.module_loading import import_string

from commissioning.models import Acceptance, CheckLine, Stage, StageDependency, StageState
from commissioning.rules.pace import Worked
from commissioning.selectors.access import Access

#: So many gates that passed last, and so many that are in hand, make the history.
MOST_GATES = 300
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class StandingItems:
    system_id: UUID
    stage_order: int
    category: str
    count: int


@dataclass(frozen=True, slots=True)
class ItemLife:
    system_id: UUID
    stage_order: int
    category: str
    raised_at: datetime
    closed_at: datetime | None


class ItemHistory(Protocol):
    """What a room that keeps items tells; settings name it in ITEM_HISTORIES."""

    def standing(self, system_ids: Collection[UUID]) -> Sequence[StandingItems]: ...

    def lives(self, system_ids: Collection[UUID], since: datetime) -> Iterable[ItemLife]: ...

    def by_week(
        self, *, access: Access, site: UUID | None, bounds: Sequence[datetime]
    ) -> list[tuple[int, int]]: ...  # raised and closed between one bound and the next

    def ages(
        self, *, access: Access, site: UUID | None, bounds: Sequence[datetime]
    ) -> list[dict[str, int]]: ...  # standing by category: younger than the first bound, …, older than the last

    def returns(self, *, access: Access, kind: str) -> list[tuple[str, int, int]]: ...  # company, rectified, came back


@dataclass(slots=True)
class Span:
    """A stage from when nothing else held its gate until it passed."""

    id: UUID
    system_id: UUID
    site_id: UUID
    site: str
    tag: str
    kind: str
    order: int
    is_last: bool
    planned: Any
    started_at: datetime | None
    passed_at: datetime | None
    waits_for: list[UUID] = field(default_factory=list)
    free_at: datetime | None = None  # None: something else holds it still, or its system is not begun

    def holds(self, category: str, stage_order: int, *, b_blocks_stage: bool) -> bool:
        """Whether such an item holds this gate; the rule itself is rule 5 of the gate."""
        here_or_before = stage_order <= self.order
        return (category == "A" and here_or_before) or (
            category == "B" and (self.is_last or (b_blocks_stage and here_or_before))
        )


def item_histories() -> list[ItemHistory]:
    return [import_string(path) for path in settings.ITEM_HISTORIES]


def recent_systems(project: UUID) -> list[UUID]:
    """The systems whose gates make the history: those that passed last, and those in hand."""
    passed = Acceptance.objects.filter(stage__system__project=project, withdrawn_at__isnull=True)
    started = Stage.objects.filter(system__project=project, state=StageState.STARTED)
    ids = [
        *passed.order_by("-signed_at", "pk").values_list("stage__system_id", flat=True)[:MOST_GATES],
        *started.order_by("-started_at", "pk").values_list("system_id", flat=True)[:MOST_GATES],
    ]
    return list(dict.fromkeys(ids))


def spans(system_ids: Collection[UUID]) -> dict[UUID, Span]:
    """Every stage of these systems with its times, in two queries."""
    standing = Acceptance.objects.filter(stage=OuterRef("pk"), withdrawn_at__isnull=True).order_by()
    rows = Stage.objects.filter(system__in=system_ids).order_by("system_id", "order")
    by_system: dict[UUID, list[Span]] = defaultdict(list)
    fields = ("pk", "system_id", "system__site_id", "system__site__code", "system__tag", "kind", "order")
    rows = rows.annotate(signed_at=Subquery(standing.values("signed_at")[:1]))
    for pk, system, site_id, site, tag, kind, order, *rest in rows.values_list(
        *fields, "planned_for", "started_at", "state", "signed_at"
    ):
        planned, started_at, state, signed_at = rest
        passed_at = signed_at if state == StageState.ACCEPTED else None
        one = Span(pk, system, site_id, site, tag, kind, order, False, planned, started_at, passed_at)
        by_system[one.system_id].append(one)
    found = {one.id: one for several in by_system.values() for one in several}
    for several in by_system.values():
        several[-1].is_last = True
        for before, after in pairwise(several):
            after.waits_for.append(before.id)
    _free(found, _needed(StageDependency.objects.filter(stage__system__in=system_ids)))
    return found


def _needed(rows: QuerySet[StageDependency]) -> dict[UUID, list[tuple[UUID, datetime | None]]]:
    """What each stage waits for in other systems, and when that passed."""
    standing = Acceptance.objects.filter(stage=OuterRef("requires"), withdrawn_at__isnull=True).order_by()
    found: dict[UUID, list[tuple[UUID, datetime | None]]] = defaultdict(list)
    for stage, needs, passed_at in rows.annotate(at=Subquery(standing.values("signed_at")[:1])).values_list(
        "stage_id", "requires_id", "at"
    ):
        found[stage].append((needs, passed_at))
    return found


def _free(found: dict[UUID, Span], needed: dict[UUID, list[tuple[UUID, datetime | None]]]) -> None:
    """When nothing else held each gate; what still does stays in `waits_for`."""
    for one in found.values():
        times = [(other, found[other].passed_at) for other in one.waits_for] + needed.get(one.id, [])
        one.waits_for = [other for other, at in times if at is None]
        if one.waits_for and one.passed_at is None:
            continue
        passed = [at for _, at in times if at is not None]
        # A system's first stage is free when somebody starts it: nothing tells since when it could have been.
        one.free_at = max(passed) if passed else one.started_at


def worked(found: Iterable[Span], *, b_blocks_stage: bool, now: datetime) -> dict[UUID, Worked]:
    """The gates that passed or are in hand, with what was done at each: two queries more."""
    sample = [one for one in found if one.free_at and one.free_at < (one.passed_at or now)]
    done = _done_at(sample, b_blocks_stage=b_blocks_stage, now=now) if sample else {}
    return {one.id: _worked(one, *done[one.id], now=now) for one in sample}


def _done_at(
    sample: Sequence[Span], *, b_blocks_stage: bool, now: datetime
) -> dict[UUID, tuple[list[datetime], list[datetime], int]]:
    """For each gate: when its lines were done, when items that hold it were closed, and how many were raised."""
    found: dict[UUID, tuple[list[datetime], list[datetime], int]] = {one.id: ([], [], 0) for one in sample}
    lines = CheckLine.objects.filter(stage__in=list(found), retired_at__isnull=True, done_at__isnull=False).order_by()
    for stage, at in lines.values_list("stage_id", "done_at").iterator(chunk_size=5000):
        if at:
            found[stage][0].append(at)
    by_system: dict[UUID, list[Span]] = defaultdict(list)
    for one in sample:
        by_system[one.system_id].append(one)
    since = min(one.free_at for one in sample if one.free_at) - timedelta(days=365)
    for history in item_histories():
        for item in history.lives(list(by_system), since):
            for one in by_system[item.system_id]:
                if one.free_at and one.holds(item.category, item.stage_order, b_blocks_stage=b_blocks_stage):
                    lines_at, closed_at, raised = found[one.id]
                    end = one.passed_at or now
                    if item.closed_at and one.free_at < item.closed_at <= end:
                        closed_at.append(item.closed_at)
                    raised += one.free_at < item.raised_at <= end
                    found[one.id] = (lines_at, closed_at, raised)
    return found


def _worked(one: Span, lines: list[datetime], closed: list[datetime], raised: int, *, now: datetime) -> Worked:
    end = one.passed_at or now
    start = one.free_at or end
    things = sorted(min(max(at, start), end) for at in (*lines, *closed, *([end] if one.passed_at else [])))
    return Worked(
        site=one.site,
        kind=one.kind,
        days=(end - start) / DAY,
        done=len(things),
        passed=one.passed_at is not None,
        lines=len(lines),
        raised=raised,
        gaps=tuple((later - sooner) / DAY for sooner, later in zip([start, *things], things, strict=False)),
    )
