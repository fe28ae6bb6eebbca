"""Somebody edits the database behind the application's back: refused, and found where the refusals are gone."""

from __future__ import annotations

from collections.abc import Callable
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.utils import timezone

from commissioning.models import AuditChain, AuditEntry, Reading
from commissioning.models.append_only import KEPT, missing_triggers, trigger_names
from commissioning.services.audit import entry_hash, record
from tests.support.dossiers import built
from tests.support.emptying import behind_the_back
from tests.support.lifecycle import do_stage, equip, isolate_all
from tests.support.world import World


def entries(world: World, count: int = 6) -> None:
    with transaction.atomic():
        for number in range(count):
            record(project=world.project, actor=world.engineer, action="noted", on=world.system, words=f"deed {number}")


def verify() -> str:
    out = StringIO()
    call_command("audit_verify", stdout=out)
    return out.getvalue()


def refused(deed: Callable[[], object]) -> bool:
    try:
        with transaction.atomic():
            deed()
    except DatabaseError:
        return True
    return False


def written_anew(world: World, start: int) -> None:
    """The clever way: every later link is computed again, so the chain holds in itself."""
    chain = AuditChain.objects.get(project=world.project)
    previous = "0" * 64
    for entry in AuditEntry.objects.filter(project=world.project).order_by("sequence"):
        if entry.sequence == start:
            entry.words = "something else happened"
        entry.previous_hash = previous
        previous = entry.hash = entry_hash(entry)
        entry.save()
    chain.last_hash = previous
    chain.save()


def test_the_database_refuses_to_change_or_delete_the_log(small_world: World) -> None:
    entries(small_world)
    log, chain = AuditEntry.objects.all(), AuditChain.objects.all()
    assert refused(lambda: log.filter(sequence=2).update(words="nothing happened"))
    assert refused(lambda: log.filter(sequence=2).update(actor_name="somebody else"))
    assert refused(lambda: log.filter(sequence=2).delete())
    assert refused(lambda: chain.update(last_sequence=1))
    assert refused(lambda: chain.delete())
    if connection.vendor == "postgresql":  # SQLite has no such deed
        with connection.cursor() as cursor:
            assert refused(lambda: cursor.execute("TRUNCATE commissioning_auditentry"))
    assert "hold" in verify()


def test_records_of_work_are_refused_too(small_world: World) -> None:
    equip(small_world)
    isolate_all(small_world)
    do_stage(small_world, "mechanical_completion")
    assert Reading.objects.exists()
    reading = Reading.objects.all()
    assert refused(lambda: reading.update(verdict="accept", result={}))
    assert refused(lambda: reading.update(taken_at=timezone.now()))
    assert refused(lambda: reading.delete())
    assert not refused(lambda: reading.update(superseded_at=timezone.now(), superseded_reason="measured again"))


EDITS: dict[str, Callable[[World], object]] = {
    "words": lambda w: AuditEntry.objects.filter(sequence=3).update(words="nothing happened"),
    "who": lambda w: AuditEntry.objects.filter(sequence=3).update(actor=w.stranger),
    "name": lambda w: AuditEntry.objects.filter(sequence=3).update(actor_name="somebody else"),
    "when": lambda w: AuditEntry.objects.filter(sequence=3).update(at=timezone.now()),
    "what": lambda w: AuditEntry.objects.filter(sequence=3).update(action="stage_accepted"),
    "on what": lambda w: AuditEntry.objects.filter(sequence=3).update(object_id="another"),
    "data": lambda w: AuditEntry.objects.filter(sequence=3).update(data={"verdict": "accept"}),
    "its hash": lambda w: AuditEntry.objects.filter(sequence=3).update(hash="f" * 64),
    "its place": lambda w: AuditEntry.objects.filter(sequence=3).update(sequence=999),
    "one of the middle": lambda w: AuditEntry.objects.filter(sequence=3).delete(),
    "the first": lambda w: AuditEntry.objects.filter(sequence=1).delete(),
    "the last": lambda w: AuditEntry.objects.order_by("sequence").last().delete(),
    "the whole log": lambda w: AuditEntry.objects.all().delete(),
    "the head": lambda w: AuditChain.objects.update(last_hash="f" * 64),
    "one put in": lambda w: AuditEntry.objects.filter(sequence=3).get().__class__.objects.create(
        project=w.project, sequence=10_000, at=timezone.now(), actor_name="x", action="noted", object_type="x",
        object_id="x", words="x", previous_hash="0" * 64, hash="0" * 64,
    ),
}  # fmt: skip


@pytest.mark.parametrize("edit", EDITS)
def test_an_edit_behind_the_refusals_is_found(small_world: World, edit: str) -> None:
    entries(small_world)
    assert "hold" in verify()
    with behind_the_back():
        EDITS[edit](small_world)
    with pytest.raises(CommandError) as caught:
        verify()
    assert small_world.project.code in str(caught.value)


def test_the_first_broken_link_is_named(small_world: World) -> None:
    entries(small_world)
    with behind_the_back():
        AuditEntry.objects.filter(sequence=4).update(words="nothing happened")
        AuditEntry.objects.filter(sequence=6).update(words="nothing happened")
    with pytest.raises(CommandError, match="broken at entry 4,"):
        verify()


def test_a_chain_that_was_written_anew_is_found_by_the_dossier_that_carries_it(small_world: World) -> None:
    dossier = built(small_world)
    with behind_the_back():
        written_anew(small_world, start=2)
    with pytest.raises(CommandError, match="the head of the chain it was bound to is in the chain no more") as caught:
        verify()
    assert str(dossier) in str(caught.value)


def test_refusals_that_were_taken_away_are_named(db: None) -> None:
    assert missing_triggers(connection) == set()
    deeds = 3 if connection.vendor == "postgresql" else 2
    assert len(trigger_names(connection.vendor)) == deeds * len(KEPT) + 2
    on = " ON commissioning_auditentry" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER commissioning_auditentry_no_delete{on}")
    with pytest.raises(CommandError, match="no longer refuses changes: commissioning_auditentry_no_delete"):
        verify()
