"""Gates planned, passed and forecast over time, and items week by week and by age: what the curves are drawn from."""

from __future__ import annotations

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.utils import timezone

from commissioning.models import Acceptance, Stage
from commissioning.selectors.access import Access
from commissioning.selectors.forecast import When, when
from commissioning.selectors.worked import DAY, item_histories

WEEKS = 26
#: Open items are told apart by so many days.
AGES = (7, 14, 28, 56, 112)
#: Most dates at which the curves are read.
POINTS = 52


@dataclass(frozen=True, slots=True)
class Point:
    """Gates at one date; nothing where it is not told: done after today, a forecast before."""

    day: date
    planned: int | None
    done: int | None
    forecast: tuple[float, float, float] | None  # low, middle, high: 80 % between


@dataclass(frozen=True, slots=True)
class WeekOfItems:
    monday: date
    raised: int
    closed: int
    open_after: int


@dataclass(frozen=True, slots=True)
class Progress:
    """The answer of the page."""

    gates: int
    done: int
    planned: int  # gates with a planned date
    points: tuple[Point, ...]
    weeks: tuple[WeekOfItems, ...]
    ages: tuple[tuple[str, dict[str, int]], ...]
    when: When
    today: date

    @property
    def due(self) -> int:
        """Gates that were planned to have passed by today."""
        return max((one.planned or 0 for one in self.points if one.day <= self.today), default=0)


def progress(*, access: Access, site: UUID | None = None, now: datetime | None = None) -> Progress:
    """Counts of what the person may see, on one site or all of them."""
    now = now or timezone.now()
    stages = Stage.objects.filter(access.limit("system__site"), system__project=access.project).order_by()
    passed = Acceptance.objects.filter(
        access.limit("stage__system__site"), stage__system__project=access.project, withdrawn_at__isnull=True
    ).order_by()
    if site:
        stages, passed = stages.filter(system__site=site), passed.filter(stage__system__site=site)
    planned = sorted(day for day in stages.values_list("planned_for", flat=True) if day)
    done = sorted(timezone.localdate(at) for at in passed.values_list("signed_at", flat=True))
    found = when(access=access, site=site, now=now)
    return Progress(
        gates=stages.count(),
        done=len(done),
        planned=len(planned),
        points=_points(planned, done, found, now),
        weeks=_weeks(access, site, now),
        ages=_ages(access, site, now),
        when=found,
        today=timezone.localdate(now),
    )


def _points(planned: Sequence[date], done: Sequence[date], found: When, now: datetime) -> tuple[Point, ...]:
    today = timezone.localdate(now)
    told = found.outlook is not None and not found.left_out
    last_said = found.all_passed[2:] if told else ()
    first, last = min([today, *planned[:1], *done[:1]]), max([today, *planned[-1:], *done[-1:], *last_said])
    step = max(7, -(-(last - first).days // POINTS))
    # Today is one of the dates, so that what is done and the forecast meet there.
    days = sorted(
        {first, last, today}
        | {
            today + timedelta(days=step * at)
            for at in range(-(today - first).days // step, (last - today).days // step + 1)
        }
    )
    ahead = [one for one in days if one >= today]
    gates = [str(one.stage) for one in found.gates]
    counts = (
        found.outlook.passed_by(gates, [(_end(one) - now) / DAY for one in ahead]) if told and found.outlook else []
    )
    said = dict(zip(ahead, counts, strict=False))
    return tuple(
        Point(
            day=one,
            planned=bisect_right(planned, one) if planned else None,
            done=bisect_right(done, one) if one <= today else None,
            forecast=_added(said[one], len(done)) if one in said else None,
        )
        for one in days
        if first <= one <= last
    )


def _added(counts: tuple[float, float, float], done: int) -> tuple[float, float, float]:
    low, middle, high = counts
    return low + done, middle + done, high + done


def _end(day: date) -> datetime:
    return datetime.combine(day + timedelta(days=1), time(), tzinfo=timezone.get_current_timezone())


def _weeks(access: Access, site: UUID | None, now: datetime) -> tuple[WeekOfItems, ...]:
    today = timezone.localdate(now)
    monday = today - timedelta(days=today.weekday())
    mondays = [monday - timedelta(weeks=back) for back in range(WEEKS - 1, -2, -1)]
    zone = timezone.get_current_timezone()
    bounds = [datetime.combine(one, time(), tzinfo=zone) for one in mondays]
    raised, closed = [0] * WEEKS, [0] * WEEKS
    for history in item_histories():
        for at, (up, down) in enumerate(history.by_week(access=access, site=site, bounds=bounds)):
            raised[at] += up
            closed[at] += down
    standing = sum(sum(one.values()) for one in _standing(access, site, [now]))
    found = []
    for at in reversed(range(WEEKS)):
        found.append(WeekOfItems(mondays[at], raised[at], closed[at], standing))
        standing += closed[at] - raised[at]
    return tuple(reversed(found))


def _standing(access: Access, site: UUID | None, bounds: Sequence[datetime]) -> list[Counter[str]]:
    found: list[Counter[str]] = [Counter() for _ in range(len(bounds) + 1)]
    for history in item_histories():
        for at, one in enumerate(history.ages(access=access, site=site, bounds=bounds)):
            found[at].update(one)
    return found


def _ages(access: Access, site: UUID | None, now: datetime) -> tuple[tuple[str, dict[str, int]], ...]:
    words = [f"{low} to {high} d" for low, high in zip((0, *AGES), AGES, strict=False)] + [f"over {AGES[-1]} d"]
    counts = _standing(access, site, [now - one * DAY for one in AGES])
    return tuple((name, dict(one)) for name, one in zip(words, counts, strict=True))
