"""The phone's outbox, received: each deed is done once, by the service that pages and API call too.

An item's id is made by the phone. The row of that id is written in the transaction of the deed itself, so an item whose
answer was lost is answered from its row when it comes again. What is refused is kept as well, with the reason.
"""

from __future__ import annotations

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import InterfaceError, OperationalError

from commissioning.errors import Conflict, InvalidInput, Refused, ServiceError
from commissioning.models import OutboxItem, OutboxState, Reading, System
from commissioning.rules.gate_parts import NOTHING
from commissioning.selectors.access import Access
from commissioning.services.audit import record
from commissioning.services.locks import lock_project, lock_system
from commissioning.services.outbox_conflicts import Renames, when_refused
from commissioning.services.outbox_deeds import (
    Applied,
    Clock,
    Deed,
    Fault,
    Waits,
    kinds,
    refusal_of,
    verdict_of,
    why_never,
)
from commissioning.services.outbox_settling import mended_by, refuse_while_waiting, settle_mended
from commissioning.services.state_change import state_change

log = logging.getLogger(__name__)

#: As many items as one request brings at most.
BATCH_LIMIT = 100
#: A passing trouble: nothing was kept, send it again.
AGAIN = "again"
#: Troubles of the place, not of the item: the database or the disk does not answer just now.
PASSING = (OperationalError, InterfaceError, OSError)
FAULT_WORDS = (
    "The server met a fault of its own with this entry and recorded nothing of it. Keep it, tell your manager, and "
    "mend it, unchanged, when the fault is put right."
)
OTHER_CONTENT = "This was sent before with other content. What came first stands; drop this one, or record it anew."


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one item."""

    id: UUID
    state: str  # arrived, needs you, or AGAIN
    known: bool = False
    record_kind: str = ""
    record_id: UUID | None = None
    sentences: tuple[str, ...] = ()
    refusal: dict[str, Any] | None = None
    reading: dict[str, Any] | None = None


@dataclass(frozen=True, slots=True)
class Received:
    received_at: datetime
    skew_seconds: float
    results: tuple[Result, ...]


@dataclass(frozen=True, slots=True)
class Batch:
    """What the items of one request share."""

    access: Access
    clock: Clock
    renames: Renames


def receive(*, access: Access, deeds: Sequence[Deed], clock: Clock) -> Received:
    """Do every deed, in order; each is kept with what became of it.

    Behind one that has to be sent again, those of the same system wait too: they may build on it.
    """
    results: list[Result] = []
    stopped: set[UUID | None] = set()
    batch = Batch(access, clock, Renames(access.project.pk, [deed.seen.get("head") for deed in deeds]))
    for deed in deeds:
        result = Result(deed.id, AGAIN) if deed.system in stopped else _once(batch, deed)
        if result.state == AGAIN:
            stopped.add(deed.system)
        results.append(result)
    return Received(clock.received_at, clock.skew.total_seconds(), tuple(results))


def _once(batch: Batch, deed: Deed) -> Result:
    try:
        try:
            with state_change():
                return _received(batch, deed)
        except PASSING:
            raise
        except Exception as fault:
            # Whatever went wrong is this item's trouble only: it needs its person, and those behind it go on.
            log.exception("An item from a phone met a fault: %s of kind %s", deed.id, deed.kind)
            with state_change():
                return _received(batch, deed, fault=fault)
    except PASSING:
        log.warning("An item from a phone is sent again: %s", deed.id, exc_info=True)
        return Result(deed.id, AGAIN)


def _received(batch: Batch, deed: Deed, fault: Exception | None = None) -> Result:
    access, clock = batch.access, batch.clock
    lock_project(access.project.pk)
    system = System.objects.filter(pk=deed.system, project=access.project).first() if deed.system else None
    if system is not None:
        lock_system(system.pk)
    known = OutboxItem.objects.filter(pk=deed.id).first()
    if known is not None:
        return answer_again(known, deed, access)
    item = OutboxItem(
        id=deed.id,
        project=access.project,
        system=system,
        by=access.user,
        kind=deed.kind,
        place=deed.place,
        made_at=deed.made_at,
        device_at=deed.device_at,
        skew_seconds=clock.skew.total_seconds(),
        received_at=clock.received_at,
        body=deed.body,
        seen=deed.seen,
        content_hash=deed.content_hash,
        state=OutboxState.ARRIVED,
    )
    reading, mended = None, None
    try:
        mended = mended_by(deed, access=access)
        if fault is not None:
            raise Fault(FAULT_WORDS)
        with state_change():
            done = _do(access, deed, clock)
    except ServiceError as error:
        item.state, item.refusal = OutboxState.NEEDS_YOU, refusal_of(error)
        item.sentences = [error.words, *when_refused(deed, error), *batch.renames.told(deed)]
        item.waits_for = error.waits_for if isinstance(error, Waits) else None
        item.answer = reading = would_have_been(access, deed, error)
        item.sentences += [reading["said"]] if reading else []
    else:
        item.record_kind, item.record_id = done.record._meta.label_lower, done.record.pk
        item.sentences, item.answer = [*done.sentences, *batch.renames.told(deed, done.equipment)], done.answer
        reading = verdict_of(done.record, item.answer)
    item.mends = mended
    item.save(force_insert=True)
    if mended is not None:
        settle_mended(mended)
    if item.state == OutboxState.NEEDS_YOU:
        record(
            project=access.project,
            actor=access.user,
            action="phone_item_refused",
            touches=NOTHING,
            on=item,
            system=system.pk if system else None,
            words=f"From a phone, refused: {item.sentences[0]}",
            data={"kind": deed.kind, "made_at": deed.made_at, "body": dict(deed.body)},
        )
    return result_of(item, reading=reading, known=False)


def would_have_been(access: Access, deed: Deed, error: ServiceError) -> dict[str, Any] | None:
    """The verdict of a reading that came too late, for whoever decides what becomes of it."""
    kind = kinds().get(deed.kind)
    late = isinstance(error, Refused) and any(one.code == "stage_accepted" for one in error.blockers)
    if kind is None or kind.would_be is None or not late:
        return None
    try:
        return kind.would_be(access, deed, kind.read(deed.body))
    except ServiceError:
        return None


def _do(access: Access, deed: Deed, clock: Clock) -> Applied:
    kind = kinds().get(deed.kind)
    if kind is None:
        raise InvalidInput({"kind": why_never(deed.kind)})
    given = kind.read(deed.body)
    for name in kind.times:
        if given.get(name):
            given[name] = clock.corrected(given[name])
    if kind.leans_on:
        refuse_while_waiting(given[kind.leans_on], project=access.project.pk)
    return kind.apply(access, deed, given)


def answer_again(item: OutboxItem, deed: Deed, access: Access) -> Result:
    """The answer of the first time. The same id with other content, or from somebody else, changes nothing."""
    same = item.project_id == access.project.pk and item.by_id == access.user.pk
    if not same or item.content_hash != deed.content_hash:
        error = Conflict(OTHER_CONTENT)
        return Result(deed.id, "needs you", True, sentences=(error.words,), refusal=refusal_of(error))
    reading = item.answer if not item.record_id else None
    if item.record_id and item.record_kind == Reading._meta.label_lower:
        reading = verdict_of(Reading.objects.get(pk=item.record_id), item.answer)
    return result_of(item, reading=reading, known=True)


def result_of(item: OutboxItem, *, reading: dict[str, Any] | None, known: bool) -> Result:
    return Result(
        id=item.pk,
        state="arrived" if item.state == OutboxState.ARRIVED else "needs you",
        known=known,
        record_kind=item.record_kind,
        record_id=item.record_id,
        sentences=tuple(item.sentences),
        refusal=item.refusal,
        reading=reading,
    )
