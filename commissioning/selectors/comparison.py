"""The same kind of system over all sites: readings outside the pack, stages that take longest, items that come back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import median
from typing import Any
from uuid import UUID

from django.db.models import Count
from django.utils import timezone

from commissioning.models import CheckLine, Reading
from commissioning.rules.comparison import OUTSIDE, Share, pack, share
from commissioning.rules.stages import STAGE_WORDS
from commissioning.selectors.access import Access, systems_for
from commissioning.selectors.freeing import MOST_SYSTEMS
from commissioning.selectors.worked import DAY, Span, item_histories, spans

LISTED = 12
#: Lines that fewer systems have done are not compared.
FEWEST_LINES = 3


@dataclass(frozen=True, slots=True)
class Compared:
    """A value of one reading within its pack."""

    reading: UUID
    line: UUID
    site: str
    tag: str  # of the equipment, or the system's
    value: float
    z: float


@dataclass(frozen=True, slots=True)
class PackOfReadings:
    """The same output of the same line on like systems."""

    title: str
    calculation: str
    output: str
    unit: str
    nominal: float | None  # volts; systems of another nominal voltage are another pack
    middle: float
    values: tuple[Compared, ...]

    @property
    def outside(self) -> list[Compared]:
        return sorted((one for one in self.values if abs(one.z) > OUTSIDE), key=lambda one: -abs(one.z))


@dataclass(frozen=True, slots=True)
class Slow:
    """Days that something took, over all systems of the kind, and where it took longest."""

    words: str
    days: float  # median
    count: int
    longest_site: str
    longest_days: float
    longest_count: int


@dataclass(frozen=True, slots=True)
class Comparison:
    systems: int
    left_out: int
    sites: int
    packs: int
    outside: tuple[PackOfReadings, ...]  # the packs with a value outside, the farthest first
    stages: tuple[Slow, ...]
    lines: tuple[Slow, ...]
    companies: tuple[tuple[str, Share], ...]


def kinds(access: Access) -> list[tuple[str, int]]:
    """The kinds of system that the person sees, the most frequent first."""
    rows = systems_for(access).order_by().values_list("kind").annotate(count=Count("pk"))
    return sorted(rows, key=lambda one: (-one[1], one[0]))


def comparison(*, access: Access, kind: str, now: datetime | None = None) -> Comparison:
    """What the person may see of systems of one kind, side by side."""
    now = now or timezone.now()
    wanted = systems_for(access).filter(kind=kind).order_by("site__code", "tag", "pk")
    rows = list(wanted.values_list("pk", "site__code", "tag", "nameplate")[: MOST_SYSTEMS + 1])
    left_out = wanted.count() - MOST_SYSTEMS if len(rows) > MOST_SYSTEMS else 0
    systems = {pk: _System(site, tag, _number((plate or {}).get("nominal_voltage"))) for pk, site, tag, plate in rows}
    systems = dict(list(systems.items())[:MOST_SYSTEMS])
    packs = _packs(systems)
    outside = [one for one in packs if one.outside]
    stages, lines = _slow(list(systems))
    return Comparison(
        systems=len(systems),
        left_out=left_out,
        sites=len({one.site for one in systems.values()}),
        packs=len(packs),
        outside=tuple(sorted(outside, key=lambda one: -abs(one.outside[0].z))[:LISTED]),
        stages=stages,
        lines=lines,
        companies=_companies(access, kind),
    )


@dataclass(frozen=True, slots=True)
class _System:
    site: str
    tag: str
    nominal: float | None


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else None


def _packs(systems: Mapping[UUID, _System]) -> list[PackOfReadings]:
    """Standing readings by line, calculation, edition, output and nominal voltage: one query."""
    rows = Reading.objects.filter(system__in=list(systems), superseded_at__isnull=True, line__retired_at__isnull=True)
    found: dict[tuple[Any, ...], list[tuple[Any, ...]]] = defaultdict(list)
    titles: dict[str, str] = {}
    fields = ("pk", "line_id", "line__key", "line__title", "system_id", "equipment__tag", "calculation", "edition")
    for pk, line, key, title, system, tag, calculation, edition, outputs, limits in rows.order_by(
        "system__tag", "taken_at", "pk"
    ).values_list(*fields, "result__outputs", "result__limits"):
        place = systems[system]
        if not line:
            continue
        titles[key] = title
        judged = dict.fromkeys(limit.get("output") for limit in limits or ()) or dict.fromkeys(list(outputs or ())[:1])
        for output in judged:
            entry = (outputs or {}).get(output) or {}
            value = _number(entry.get("value"))
            if value is not None:
                group = (key, calculation, edition, output, entry.get("unit") or "", place.nominal)
                found[group].append((pk, line, place.site, tag or place.tag, value))
    return [one for group, values in found.items() if (one := _pack(titles[group[0]], group, values))]


def _pack(title: str, group: tuple[Any, ...], values: Sequence[tuple[Any, ...]]) -> PackOfReadings | None:
    _, calculation, _, output, unit, nominal = group
    seen = pack([one[-1] for one in values])
    if seen is None:
        return None
    compared = tuple(
        Compared(pk, line, site, tag, value, z) for (pk, line, site, tag, value), z in zip(values, seen.z, strict=True)
    )
    return PackOfReadings(title, calculation, output, unit, nominal, seen.middle, compared)


def _slow(systems: Sequence[UUID]) -> tuple[tuple[Slow, ...], tuple[Slow, ...]]:
    """Stages by the days from free to passed; lines by the days that passed before each was done."""
    found = {pk: one for pk, one in spans(systems).items() if one.free_at}
    stages: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for one in found.values():
        if one.passed_at and one.free_at and one.passed_at > one.free_at:
            stages[STAGE_WORDS[one.kind]].append((one.site, (one.passed_at - one.free_at) / DAY))
    return _slowest(stages, fewest=1), _slowest(_waits(found), fewest=FEWEST_LINES)


def _waits(found: Mapping[UUID, Span]) -> dict[str, list[tuple[str, float]]]:
    rows = CheckLine.objects.filter(stage__in=list(found), retired_at__isnull=True, done_at__isnull=False)
    before: dict[UUID, datetime] = {}
    waits: dict[tuple[str, str], list[tuple[str, float]]] = defaultdict(list)
    titles: dict[tuple[str, str], str] = {}
    for stage, key, title, at in rows.order_by("stage_id", "done_at", "order").values_list(
        "stage_id", "key", "title", "done_at"
    ):
        span = found[stage]
        since = before.get(stage, span.free_at)
        if at and since:
            titles[span.kind, key] = f"{title} ({STAGE_WORDS[span.kind]})"
            waits[span.kind, key].append((span.site, max((at - since) / DAY, 0.0)))
            before[stage] = at
    return {titles[name]: values for name, values in waits.items()}


def _slowest(found: Mapping[str, list[tuple[str, float]]], *, fewest: int) -> tuple[Slow, ...]:
    slow = []
    for words, values in found.items():
        if len(values) < fewest:
            continue
        by_site: dict[str, list[float]] = defaultdict(list)
        for site, days in values:
            by_site[site].append(days)
        site, days_there = max(by_site.items(), key=lambda one: (median(one[1]), one[0]))
        middle = median(days for _, days in values)
        slow.append(Slow(words, middle, len(values), site, median(days_there), len(days_there)))
    return tuple(sorted(slow, key=lambda one: (-one.days, one.words))[:LISTED])


def _companies(access: Access, kind: str) -> tuple[tuple[str, Share], ...]:
    """Companies by the share of their rectified items that came back, those that surely stand out first."""
    rectified: dict[str, int] = defaultdict(int)
    back: dict[str, int] = defaultdict(int)
    for history in item_histories():
        for company, count, returned in history.returns(access=access, kind=kind):
            rectified[company] += count
            back[company] += returned
    found = [(company, share(back[company], count)) for company, count in rectified.items() if count]
    return tuple(sorted(found, key=lambda one: (-one[1].low, -one[1].share, one[0])))
