"""Do the counters say what counting the rows says? For the command that audits them, and for tests."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q, QuerySet
from django.utils import timezone

from commissioning.models import COUNTED, Stage, StageCounters, System, SystemCounters
from commissioning.selectors.counted import SYSTEM_FIELDS, whole_counters

BATCH = 200


@dataclass(frozen=True, slots=True)
class Difference:
    """A counter that does not say what its rows say."""

    where: str  # tag of the system, with the stage where it is one's
    name: str
    stored: Any
    counted: Any

    def __str__(self) -> str:
        return f"{self.where}: {self.name} is {self.stored}, counted {self.counted}"


def differences(systems: QuerySet[System]) -> Iterator[Difference]:
    """Every counter of these systems that is wrong. Those that wait to be asked again by the clock are passed over."""
    now = timezone.now()
    due = Q(counters__recheck_at__lte=now)
    ids = list(systems.exclude(due).order_by("pk").values_list("pk", flat=True))
    for start in range(0, len(ids), BATCH):
        yield from _differences(ids[start : start + BATCH], now=now)


def _differences(ids: Sequence[UUID], *, now: datetime) -> Iterator[Difference]:
    stages, systems = whole_counters(ids, now=now)
    stored = SystemCounters.objects.in_bulk(ids)
    names = {row.pk: row.tag for row in systems}
    for row in systems:
        yield from _compare(row.tag, stored.get(row.pk), row, SYSTEM_FIELDS)
    kinds = dict(Stage.objects.filter(system__in=ids).values_list("pk", "kind"))
    of_stages = {row.pk: row for row in StageCounters.objects.filter(system__in=ids)}
    for counted in stages:
        where = f"{names[counted.system_id]} {kinds[counted.pk]}"
        yield from _compare(where, of_stages.get(counted.pk), counted, COUNTED)


def _compare(where: str, stored: Any, counted: Any, names: Sequence[str]) -> Iterator[Difference]:
    if stored is None:
        yield Difference(where, "every counter", "missing", "there")
        return
    for name in names:
        attribute = f"{name}_id" if name in ("project", "site", "hand", "system") else name
        was, now = getattr(stored, attribute), getattr(counted, attribute)
        if was != now:
            yield Difference(where, name, was, now)
