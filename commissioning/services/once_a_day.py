"""What the schedule does once a day for each project, however many schedulers ring."""

from __future__ import annotations

from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction
from django.utils import timezone

from commissioning.models import DoneToday, Project


def zone_is_known(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return False
    return True


def site_zone(*names: str) -> ZoneInfo:
    """The first of these zones that there is; UTC where there is none."""
    return ZoneInfo(next((name for name in names if name and zone_is_known(name)), "UTC"))


def local_time(project: Project, now: datetime) -> datetime:
    """The project's own wall clock."""
    return now.astimezone(site_zone(project.time_zone))


def take(*, project: Project, what: str, day: date, at: datetime | None = None) -> bool:
    """Say that it is done today: True for the one who does it. Belongs in the transaction of what is done.

    A second one waits here for the first to commit and then finds the row; where the first fails, its row goes with it.
    """
    try:
        with transaction.atomic():
            DoneToday.objects.create(project=project, what=what, day=day, done_at=at or timezone.now())
    except IntegrityError:
        return False
    return True


def is_done(*, project: Project, what: str, day: date) -> bool:
    return DoneToday.objects.filter(project=project, what=what, day=day).exists()


def last_before(*, project: Project, what: str, day: date) -> date | None:
    """The day on which it was done last."""
    found = DoneToday.objects.filter(project=project, what=what, day__lt=day).order_by("-day")
    return found.values_list("day", flat=True).first()
