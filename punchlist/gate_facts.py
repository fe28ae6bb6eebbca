"""What the punch list tells the gate; named in GATE_FACT_SOURCES."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from uuid import UUID

from commissioning.rules.gate import ItemFact
from commissioning.selectors.facts import OutsideFacts
from punchlist.models import STANDING_STATES, ItemStep, PunchItem
from punchlist.rules.steps import RECTIFIED

#: A blocker is one line on a page; the item itself holds the rest.
WORDS = 160


def punch_facts(system_ids: Collection[UUID]) -> OutsideFacts:
    """Standing items, alarms that have an item, and who rectified what, for these systems, in three queries.

    Everybody who ever recorded a rectification counts as having worked on the stage, also where it was sent back.
    """
    return OutsideFacts(items=_items(system_ids), alarms_with_item=_alarms(system_ids), workers=_workers(system_ids))


def _items(system_ids: Collection[UUID]) -> dict[UUID, list[ItemFact]]:
    found: dict[UUID, list[ItemFact]] = defaultdict(list)
    rows = PunchItem.objects.filter(system__in=system_ids, state__in=STANDING_STATES)
    for item in rows.select_related("system", "stage", "equipment", "owes").order_by("category", "raised_at", "number"):
        found[item.system_id].append(item_fact(item))
    return dict(found)


def item_fact(item: PunchItem) -> ItemFact:
    return ItemFact(
        id=str(item.pk),
        label=item.label,
        category=item.category,
        state=item.state,
        stage_order=item.stage.order,
        words=shortened(item.text),
        where=item.equipment.tag if item.equipment else item.system.tag,
        owner=str(item.owes) if item.owes else item.owes_company,
        since=item.raised_at,
    )


def shortened(text: str) -> str:
    """The words on one line."""
    line = " ".join(text.split())
    return line if len(line) <= WORDS else f"{line[: WORDS - 1]}…"


def _alarms(system_ids: Collection[UUID]) -> frozenset[UUID]:
    rows = PunchItem.objects.filter(system__in=system_ids, alarm__isnull=False)
    return frozenset(rows.values_list("alarm_id", flat=True).distinct().order_by())


def _workers(system_ids: Collection[UUID]) -> dict[UUID, frozenset[str]]:
    people: dict[UUID, set[str]] = defaultdict(set)
    rows = ItemStep.objects.filter(item__system__in=system_ids, step=RECTIFIED)
    for stage_id, person in rows.values_list("item__stage_id", "by_id").distinct().order_by():
        people[stage_id].add(str(person))
    return {stage_id: frozenset(ids) for stage_id, ids in people.items()}
