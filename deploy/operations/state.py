"""How the product is doing: what the operator's page and the metrics say, read in a few queries."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import product
from typing import Any

from django.db.models import Count, Min, Q
from django.utils import timezone

from commissioning.models import Job, JobState
from commissioning.services.job_queues import LONG, SHORT, long_kinds
from deploy.models import LastSeen
from deploy.operations import seen

#: States that somebody has to look at: what ended well or was cancelled is not counted.
LOOKED_AT = (JobState.WAITING, JobState.RUNNING, JobState.FAILED)


@dataclass(frozen=True, slots=True)
class QueueState:
    """Jobs of one queue in one state."""

    queue: str
    state: str
    count: int
    oldest: datetime | None


@dataclass(frozen=True, slots=True)
class AtWork:
    """A process that said it is at work."""

    place: str
    at: datetime
    alive: bool
    facts: dict[str, Any]


def now() -> datetime:
    return timezone.now()


def queues() -> Sequence[QueueState]:
    """Every queue in every state that is looked at, also where it holds nothing."""
    long = Q(kind__in=long_kinds())
    found: dict[tuple[str, str], Any] = {}
    for queue, which in ((SHORT, ~long), (LONG, long)):
        rows = (
            Job.objects.filter(which, state__in=LOOKED_AT)
            .order_by()
            .values("state")
            .annotate(count=Count("id"), oldest=Min("asked_at"))
        )
        found |= {(queue, row["state"]): row for row in rows}
    return [
        QueueState(queue, str(state), row["count"] if row else 0, row["oldest"] if row else None)
        for queue, state in product((SHORT, LONG), LOOKED_AT)
        for row in [found.get((queue, state))]
    ]


def at_work(part: str) -> Sequence[AtWork]:
    """Processes of this part, the last seen first."""
    silent = now() - seen.SILENT
    return [AtWork(one.place, one.at, one.at > silent, one.facts) for one in seen.seen(part)]


def last_backup() -> LastSeen | None:
    """The last backup that was finished."""
    return last("backup")


def last(part: str) -> LastSeen | None:
    """When something was last done, and what came of it."""
    return LastSeen.objects.filter(part=part).order_by("-at").first()
