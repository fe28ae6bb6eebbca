"""Two queues: short work that somebody waits for, and long work that must not stand in its way."""

from __future__ import annotations

from collections.abc import Collection

from django.conf import settings

SHORT, LONG = "short", "long"
#: The doors in commissioning/tasks.py, by name, so that services need not know tasks; settings route them to queues.
RUN_TASKS = {SHORT: "commissioning.tasks.run_job", LONG: "commissioning.tasks.run_long_job"}


def long_kinds() -> Collection[str]:
    """Kinds of job that take minutes: the setting LONG_JOBS."""
    kinds: Collection[str] = settings.LONG_JOBS
    return kinds


def queue_of(kind: str) -> str:
    """The queue in which work of this kind waits."""
    return LONG if kind in long_kinds() else SHORT
