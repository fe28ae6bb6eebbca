"""The audit chain: every state change adds one entry, bound to the one before it."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import models, transaction
from django.utils import timezone

from commissioning.models import AuditChain, AuditEntry, Project, User
from commissioning.rules.gate_parts import PARTS
from commissioning.services.state_change import say_later, touch


def canonical_json(data: Any) -> str:
    """The one text of some data: sorted keys, no spaces, no escapes (the form that hashes are taken of)."""
    return json.dumps(data, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)


def sha256_of(data: Any) -> str:
    """SHA-256 of the canonical JSON of `data`, in hex."""
    return hashlib.sha256(canonical_json(data).encode()).hexdigest()


def entry_hash(entry: AuditEntry) -> str:
    """Hash of everything an entry says, with the hash of the entry before it."""
    return sha256_of(
        {
            "project": str(entry.project_id),
            "sequence": entry.sequence,
            "at": entry.at.isoformat(),
            "actor": entry.actor_id,
            "actor_name": entry.actor_name,
            "action": entry.action,
            "object": [entry.object_type, entry.object_id],
            "system": str(entry.system_id) if entry.system_id else None,
            "words": entry.words,
            "data": entry.data,
            "previous": entry.previous_hash,
        }
    )


@dataclass(frozen=True, slots=True)
class Said:
    """What one entry of the audit log is to say."""

    on: models.Model
    words: str
    system: UUID | None = None
    data: Mapping[str, Any] = field(default_factory=dict)


def record(
    *,
    project: Project | UUID,
    actor: User | None,
    action: str,
    on: models.Model,
    words: str,
    system: UUID | None = None,
    data: Mapping[str, Any] | None = None,
    at: datetime | None = None,
    touches: Collection[str] = PARTS,
    stages: Collection[UUID] = (),
) -> AuditEntry:
    """Add one entry to the project's chain. Call it inside the transaction of the change itself.

    `touches` names the parts of the gate that the change touches in `system`, so that only their counters are counted
    again: all of them unless it is said; `stages` see `touch`.
    """
    said = Said(on=on, words=words, system=system, data=data or {})
    return record_many(project=project, actor=actor, action=action, said=[said], at=at, touches=touches, stages=stages)[
        0
    ]


def record_many(
    *,
    project: Project | UUID,
    actor: User | None,
    action: str,
    said: Sequence[Said],
    at: datetime | None = None,
    touches: Collection[str] = PARTS,
    stages: Collection[UUID] = (),
) -> list[AuditEntry]:
    """Add an entry for each of many changes of one kind, in a fixed number of queries and under one lock.

    They are written at the end of the state change that is running, else at once.
    """
    if not transaction.get_connection().in_atomic_block:
        raise RuntimeError("An audit entry belongs in the transaction of the change that it records.")
    entries = [
        AuditEntry(
            project_id=project.pk if isinstance(project, Project) else project,
            at=at or timezone.now(),
            actor=actor,
            actor_name=str(actor) if actor else "the product",
            action=action,
            object_type=one.on._meta.label_lower,
            object_id=str(one.on.pk),
            system_id=one.system,
            words=one.words,
            data=json.loads(canonical_json(one.data)),
        )
        for one in said
    ]
    touch(*{one.system for one in said if one.system}, parts=touches, stages=stages)
    if not say_later(entries):
        append(entries)
    return entries


def append(entries: Sequence[AuditEntry]) -> None:
    """Put the entries at the end of their projects' chains, in the order given."""
    by_project: dict[UUID, list[AuditEntry]] = {}
    for entry in entries:
        by_project.setdefault(entry.project_id, []).append(entry)
    for project_id, mine in sorted(by_project.items()):
        _append_to_chain(project_id, mine)


def _append_to_chain(project_id: UUID, entries: Sequence[AuditEntry]) -> None:
    chain = AuditChain.objects.select_for_update().filter(project_id=project_id).first()
    if chain is None:
        AuditChain.objects.get_or_create(project_id=project_id)
        chain = AuditChain.objects.select_for_update().get(project_id=project_id)
    for entry in entries:
        entry.sequence, entry.previous_hash = chain.last_sequence + 1, chain.last_hash
        entry.hash = entry_hash(entry)
        chain.last_sequence, chain.last_hash = entry.sequence, entry.hash
    AuditEntry.objects.bulk_create(entries, batch_size=500)
    chain.save(update_fields=["last_sequence", "last_hash"])


def first_broken_link(project: Project) -> AuditEntry | None:
    """Walk the chain; the first entry whose hash or place is wrong, or None when all of it holds."""
    previous, expected = "0" * 64, 1
    for entry in AuditEntry.objects.filter(project=project).order_by("sequence").iterator(chunk_size=2000):
        if entry.sequence != expected or entry.previous_hash != previous or entry.hash != entry_hash(entry):
            return entry
        previous, expected = entry.hash, expected + 1
    return None
