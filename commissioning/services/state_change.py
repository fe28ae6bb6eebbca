"""One state change: one transaction, at whose end its counters are counted and its audit entries written.

What a change touches is collected while it runs, and written last: first the counters (their rows locked in the order
of their keys), then the audit chain. The chain is the one row of a project for which all its writers queue, so it is
held for two statements and the commit, whatever else the change has to do. Locks are therefore always taken in one
order (project, system, counters, chain), and two writers never deadlock.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from uuid import UUID

from django.db import transaction

from commissioning.models import AuditEntry
from commissioning.rules.gate_parts import PARTS


@dataclass(slots=True)
class Touched:
    """What of one system has to be counted again: parts of the gate, and the stages whose lines were worked on."""

    parts: set[str] = field(default_factory=set)
    line_stages: set[UUID] = field(default_factory=set)

    @property
    def everything(self) -> bool:
        return self.parts >= PARTS

    def add(self, parts: Collection[str], stages: Collection[UUID]) -> None:
        self.parts.update(parts)
        self.line_stages.update(stages)


@dataclass(slots=True)
class _Running:
    """A change that is under way."""

    touched: dict[UUID, Touched] = field(default_factory=dict)
    entries: list[AuditEntry] = field(default_factory=list)


_running: ContextVar[_Running | None] = ContextVar("state_change", default=None)


@contextmanager
def state_change() -> Iterator[None]:
    """Around every service function that changes something. Inside another change it is part of that one."""
    outer = _running.get()
    if outer is not None:
        said = len(outer.entries)
        try:
            with transaction.atomic():
                yield
        except BaseException:
            del outer.entries[said:]
            raise
        return
    running = _Running()
    with transaction.atomic():
        token = _running.set(running)
        try:
            yield
        finally:
            _running.reset(token)
        _finish(running)


def touch(*systems: UUID, parts: Collection[str] = PARTS, stages: Collection[UUID] = ()) -> None:
    """These systems' counters have to be counted again, all of them or `parts`.

    `stages` are those whose lines were worked on, where the stage in hand is not the only one.
    """
    running = _running.get()
    if running is None:
        _count({system: _touched(parts, stages) for system in systems})
        return
    for system in systems:
        running.touched.setdefault(system, Touched()).add(parts, stages)


def say_later(entries: list[AuditEntry]) -> bool:
    """Keep audit entries for the end of the change; False when none is running and they have to be written now."""
    running = _running.get()
    if running is None:
        return False
    running.entries.extend(entries)
    return True


def _touched(parts: Collection[str], stages: Collection[UUID]) -> Touched:
    touched = Touched()
    touched.add(parts, stages)
    return touched


def _finish(running: _Running) -> None:
    from commissioning.services.audit import append  # audit asks this module whether a change is running

    _count(running.touched)
    append(running.entries)


def _count(touched: dict[UUID, Touched]) -> None:
    from commissioning.services.counters import recount_touched  # counting is itself no change that is counted

    recount_touched({system: what for system, what in touched.items() if what.parts})
