"""Alarm sightings to look through: those that need somebody first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Case, Count, IntegerField, Q, QuerySet, Value, When
from django.http import Http404

from commissioning.models import AlarmOutcome, AlarmSighting, AuditEntry, Stage, StageState
from commissioning.selectors.access import Access
from commissioning.selectors.facts import outside_facts

UNDECIDED = Q(outcome=AlarmOutcome.UNEXPLAINED)
#: Expected until a stage that has begun: it must be seen to clear in it.
DUE = Q(outcome=AlarmOutcome.EXPECTED, cleared_at__isnull=True) & ~Q(expected_until__state=StageState.NOT_STARTED)


@dataclass(frozen=True, slots=True)
class AlarmsWanted:
    """What the list is narrowed to."""

    system: str = ""
    site: str = ""
    outcome: str = ""
    stage: str = ""
    not_cleared: bool = False
    text: str = ""

    @property
    def narrowed(self) -> bool:
        return self != AlarmsWanted()


def alarms_of(access: Access) -> QuerySet[AlarmSighting]:
    """Every sighting that the person may see."""
    rows = AlarmSighting.objects.filter(access.limit("system__site"), system__project=access.project)
    return rows.select_related(
        "system__site", "system__project", "stage", "equipment", "expected_until", "seen_by", "decided_by", "cleared_by"
    )


def alarms_wanted(*, access: Access, wanted: AlarmsWanted) -> QuerySet[AlarmSighting]:
    """Those asked for: undecided ones first, then what must be seen to clear, then the newest."""
    rows = alarms_of(access)
    if wanted.system:
        rows = rows.filter(of_system(wanted.system))
    if wanted.site:
        rows = rows.filter(system__site_id=wanted.site)
    if wanted.outcome:
        rows = rows.filter(outcome=wanted.outcome)
    if wanted.stage:
        rows = rows.filter(stage__kind=wanted.stage)
    if wanted.not_cleared:
        rows = rows.filter(cleared_at__isnull=True)
    for word in wanted.text.split():
        rows = rows.filter(Q(text__icontains=word) | Q(equipment__tag__icontains=word) | Q(system__tag__icontains=word))
    turn = Case(
        When(UNDECIDED, then=Value(0)),
        When(DUE, then=Value(1)),
        When(outcome=AlarmOutcome.GENUINE, cleared_at__isnull=True, then=Value(2)),
        When(cleared_at__isnull=True, then=Value(3)),
        default=Value(4),
        output_field=IntegerField(),
    )
    return rows.alias(turn=turn).order_by("turn", "-seen_at", "id")


def of_system(text: str) -> Q:
    """A filter by a system's key or its tag, as an address names it."""
    try:
        return Q(system=UUID(text))
    except ValueError:
        return Q(system__tag__iexact=text.strip())


def alarm_counts(access: Access) -> dict[str, int]:
    """How many wait for a decision, and how many for being seen to clear."""
    rows = AlarmSighting.objects.filter(access.limit("system__site"), system__project=access.project)
    return rows.aggregate(undecided=Count("pk", filter=UNDECIDED), due=Count("pk", filter=DUE))


def alarms_with_item(alarms: Iterable[AlarmSighting]) -> frozenset[UUID]:
    """Which of these genuine alarms have a punch item."""
    systems = {alarm.system_id for alarm in alarms if alarm.outcome == AlarmOutcome.GENUINE}
    if not systems:
        return frozenset()
    return frozenset().union(*(source.alarms_with_item for source in outside_facts(systems)))


def alarm_or_404(*, access: Access, id: UUID) -> AlarmSighting:
    found = alarms_of(access).select_related("system__site__project").filter(pk=id).first()
    if found is None:
        raise Http404("There is no such alarm, or it is of a site that you do not see.")
    return found


def later_stages(alarm: AlarmSighting) -> QuerySet[Stage]:
    """Stages until which the alarm can be expected."""
    rows = Stage.objects.filter(system=alarm.system_id, order__gt=alarm.stage.order).exclude(state=StageState.ACCEPTED)
    return rows.order_by("order")


def entries_about(object_id: UUID, *, access: Access) -> QuerySet[AuditEntry]:
    """What the audit says about one record, newest first."""
    return AuditEntry.objects.filter(project=access.project, object_id=str(object_id)).order_by("-sequence")
