"""When each gate will pass: facts for the forecast in a fixed number of queries, and dates beside the planned ones."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID

from django.db.models import Count, Exists, F, OuterRef, Q
from django.utils import timezone

from commissioning.models import CheckLine, Concession, LineState, Stage, StageState
from commissioning.rules import forecast as rule
from commissioning.rules.pace import FEWEST, Rates, Worked, rates_of
from commissioning.rules.stages import STAGE_WORDS
from commissioning.selectors.access import Access, systems_for
from commissioning.selectors.freeing import MOST_SYSTEMS, joined
from commissioning.selectors.worked import DAY, Span, item_histories, recent_systems, spans, worked


@dataclass(frozen=True, slots=True)
class GateDates:
    """A gate that has not passed: what is left, its planned date, and the dates of the forecast."""

    stage: UUID
    tag: str
    site: str
    kind: str
    order: int
    is_last: bool
    lines: int
    items: int
    planned: date | None
    dates: tuple[date, ...] = ()  # one for each of rules.forecast.CHANCES
    by_plan: float | None = None
    cannot: str = ""

    @property
    def words(self) -> str:
        return f"{self.tag} {STAGE_WORDS[self.kind]}"

    @property
    def slip(self) -> int | None:
        """Days by which the even date is later than the planned one; fewer than none where it is earlier."""
        return (self.dates[0] - self.planned).days if self.planned and self.dates else None


@dataclass(frozen=True, slots=True)
class When:
    """The answer of the page. Without rates there is too little history, and no gate has dates."""

    gates: tuple[GateDates, ...]
    systems: int
    left_out: int
    passed: int  # gates in the history
    rates: Rates | None
    outlook: rule.Outlook | None
    all_passed: tuple[date, ...]  # by which every gate has passed of which something can be said
    today: date

    @property
    def missing(self) -> int:
        """So many gates have to pass before a forecast is given."""
        return max(FEWEST - self.passed, 0)


def when(*, access: Access, site: UUID | None = None, now: datetime | None = None) -> When:
    """A forecast of every gate that has not passed, on the systems that the person may see.

    Rates are those of the whole project, so that a gate has one date whoever looks at it.
    """
    now = now or timezone.now()
    wanted = systems_for(access).order_by("site__code", "tag", "pk")
    if site:
        wanted = wanted.filter(site=site)
    shown = list(wanted.values_list("pk", flat=True)[: MOST_SYSTEMS + 1])
    left_out = wanted.count() - MOST_SYSTEMS if len(shown) > MOST_SYSTEMS else 0
    shown = shown[:MOST_SYSTEMS]
    looked_at = joined(shown)
    recent = recent_systems(access.project.pk)
    found = spans([*looked_at, *(one for one in recent if one not in looked_at)])
    tight = access.project.b_blocks_stage
    remembered = set(recent)
    of_use = [one for one in found.values() if one.system_id in remembered or not one.passed_at]
    done = worked(of_use, b_blocks_stage=tight, now=now)
    history = [one for stage, one in done.items() if found[stage].system_id in remembered]
    rates = rates_of(history)
    left = _left([one for one in found.values() if one.system_id in looked_at and not one.passed_at], tight)
    said = (
        rule.forecast(
            gates=[_gate(one, rest, done.get(one.id), now) for one, rest in left],
            rates=rates,
            begun=_begun(access.project.pk, now),
        )
        if rates
        else None
    )
    visible = set(shown)
    seen = [one for one in left if one[0].system_id in visible]
    return When(
        gates=tuple(_dates(*one, said.get(str(one[0].id)) if said else None, now) for one in seen),
        all_passed=_as_dates(said.all_passed(str(one.id) for one, _ in seen) if said else (), now),
        systems=len(shown),
        left_out=left_out,
        passed=sum(one.passed for one in history),
        rates=rates,
        outlook=said,
        today=timezone.localdate(now),
    )


@dataclass(frozen=True, slots=True)
class Left:
    lines: int
    items: int
    has_lines: bool


def _left(gates: list[Span], tight: bool) -> list[tuple[Span, Left]]:
    """The gates, with lines and items that are left for each."""
    systems = list({one.system_id for one in gates})
    conceded = Concession.objects.filter(line=OuterRef("pk"), withdrawn_at__isnull=True)
    open_line = Q(state=LineState.OPEN) | (Q(state=LineState.FAILED) & Q(~Exists(conceded)))
    rows = CheckLine.objects.filter(stage__system__in=systems, retired_at__isnull=True).order_by()
    lines = {
        stage: (total, left)
        for stage, total, left in rows.values_list("stage_id").annotate(
            total=Count("pk"), left=Count("pk", filter=open_line)
        )
    }
    standing = defaultdict(list)
    for history in item_histories():
        for item in history.standing(systems):
            standing[item.system_id].append(item)
    found = []
    for one in gates:
        total, left = lines.get(one.id, (0, 0))
        items = sum(
            item.count
            for item in standing[one.system_id]
            if one.holds(item.category, item.stage_order, b_blocks_stage=tight)
        )
        found.append((one, Left(left, items, bool(total))))
    return found


def _gate(one: Span, rest: Left, so_far: Worked | None, now: datetime) -> rule.Gate:
    return rule.Gate(
        id=str(one.id),
        site=one.site,
        kind=one.kind,
        lines=rest.lines,
        items=rest.items,
        waits_for=tuple(map(str, one.waits_for)),
        has_lines=rest.has_lines,
        in_hand_days=(now - one.free_at) / DAY if one.free_at else None,
        done=so_far.done if so_far else 0,
        planned_in=(_end_of(one.planned) - now) / DAY if one.planned else None,
    )


def _end_of(planned: date) -> datetime:
    """The moment at which the planned date is over, in the zone of the page."""
    return datetime.combine(planned + timedelta(days=1), time(), tzinfo=timezone.get_current_timezone())


def _begun(project: UUID, now: datetime) -> rule.Begun:
    """When systems of the project were begun, and the others in the order in which they are planned."""
    before = Stage.objects.filter(system=OuterRef("system"), order__lt=OuterRef("order"))
    first = Stage.objects.filter(~Exists(before), system__project=project)
    rows = first.order_by(F("planned_for").asc(nulls_last=True), "system__site__code", "system__tag", "pk")
    found = list(rows.values_list("pk", "started_at", "state"))
    ago = tuple((now - started_at) / DAY for _, started_at, _ in found if started_at and started_at <= now)
    waiting = tuple(str(pk) for pk, _, state in found if state == StageState.NOT_STARTED)
    return rule.Begun(ago, waiting)


def _dates(one: Span, rest: Left, said: rule.Forecast | None, now: datetime) -> GateDates:
    return GateDates(
        stage=one.id,
        tag=one.tag,
        site=one.site,
        kind=one.kind,
        order=one.order,
        is_last=one.is_last,
        lines=rest.lines,
        items=rest.items,
        planned=one.planned,
        dates=_as_dates(said.days, now) if said else (),
        by_plan=said.by_plan if said else None,
        cannot=said.cannot if said else "",
    )


def _as_dates(days: Sequence[float], now: datetime) -> tuple[date, ...]:
    return tuple(timezone.localdate(now + one * DAY) for one in days)
