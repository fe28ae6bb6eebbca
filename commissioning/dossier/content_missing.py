"""What a dossier would be missing, in words: from the gates that are not passed and from what turned up after them."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.utils.module_loading import import_string

from commissioning.dossier.content_instruments import instruments_of, used_now
from commissioning.dossier.content_words import capital
from commissioning.models import Stage, System
from commissioning.rules.gate import Blocker, StageFacts, acceptance_blockers, exceptions
from commissioning.selectors.facts import load_facts
from commissioning.selectors.holds import summed_up

#: So many blockers of one kind are named one by one; more are counted.
NAMED = 3
BATCH = 20


def sections(system_ids: Collection[UUID], kinds: Collection[str], at: datetime) -> list[dict[str, Any]]:
    """What every provider in DOSSIER_SECTIONS gives for these systems and kinds of stage."""
    given = {"systems": list(system_ids), "kinds": frozenset(kinds), "at": at}
    return [import_string(path)(**given) for path in settings.DOSSIER_SECTIONS]


def batches(ids: Sequence[UUID], size: int = BATCH) -> Iterator[Sequence[UUID]]:
    for start in range(0, len(ids), size):
        yield ids[start : start + size]


def missing_now(
    system_ids: Sequence[UUID], kinds: Collection[str], at: datetime, zone: ZoneInfo
) -> Iterator[dict[str, Any]]:
    """What is missing of these systems as they stand; the same rows that a dossier would print."""
    tags: dict[UUID, str] = {}
    for ids in batches(system_ids):
        facts, provided = load_facts(system_ids=ids, now=at), sections(ids, kinds, at)
        stages: dict[UUID, list[Stage]] = {}
        for stage in Stage.objects.filter(system__in=ids).order_by("order"):
            stages.setdefault(stage.system_id, []).append(stage)
        systems = System.objects.in_bulk(ids)
        for pk in ids:
            tags[pk] = systems[pk].tag
            yield from missing_of(systems[pk], stages.get(pk, []), kinds, facts, provided)
    yield from instruments_of(used_now(system_ids, kinds), zone, tags).missing


def missing_of(
    system: System,
    stages: Sequence[Stage],
    kinds: Collection[str],
    facts: Mapping[UUID, StageFacts],
    provided: Iterable[Mapping[str, Any]],
) -> list[dict[str, Any]]:
    """Rows of one system. A dossier of the whole way asks for category B items as well: they hold handover."""
    asked = [stage for stage in stages if stage.kind in kinds]
    whole = len(asked) == len(stages)
    rows = [_row(system, stage, text) for stage in asked for text in _of_stage(facts[stage.pk], whole)]
    if not stages:
        rows.append({"system": str(system.pk), "tag": system.tag, "where": "Stages", "text": "No stage is planned."})
    if whole:
        rows += [dict(row) for one in provided for row in one["blocking"] if row["system"] == str(system.pk)]
    return rows


def _row(system: System, stage: Stage, text: str) -> dict[str, Any]:
    return {"system": str(system.pk), "tag": system.tag, "where": capital(stage.get_kind_display()), "text": text}


def _of_stage(facts: StageFacts, whole: bool) -> Iterator[str]:
    if facts.state == "accepted":
        for blocker in _counted(exceptions(facts), whole):
            yield f"Accepted, yet now: {_placed(blocker)}"
        return
    if facts.state == "not_started":
        lines = len(facts.lines)
        yield "Not started" + (f": {lines} check line{'s' if lines != 1 else ''} to do." if lines else ".")
        return
    blockers = _counted(acceptance_blockers(facts), whole)
    if not blockers:
        yield "Not accepted: nothing holds it, its gate waits to be signed."
    for hold in summed_up(blockers):
        alike = [one for one in blockers if (one.code, one.turn) == (hold.first.code, hold.turn)]
        if hold.count > NAMED:
            yield f"Not accepted: {hold.words}."
        else:
            yield from (f"Not accepted: {_placed(one)}" for one in alike)


def _counted(blockers: Iterable[Blocker], whole: bool) -> list[Blocker]:
    """A stage that waits for the one before it says nothing new; open items come from the punch list itself."""
    return [
        one
        for one in blockers
        if one.code != "previous_not_accepted" and not (whole and one.link_kind == "item")
    ]  # fmt: skip


def _placed(blocker: Blocker) -> str:
    """The blocker's words, with its place where the words do not name it."""
    return blocker.words if not blocker.where or blocker.where in blocker.words else f"{blocker.where}: {blocker.words}"
