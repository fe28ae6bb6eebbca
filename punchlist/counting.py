"""What the punch list gives to the counters of a system; named in COUNTER_SOURCES."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from uuid import UUID

from commissioning.rules.gate import ItemFact
from punchlist.models import STANDING_STATES, PunchItem


class PunchCounts:
    """The facts of `gate_facts`, in the same order, without their words."""

    def standing_items(self, system_ids: Collection[UUID]) -> Mapping[UUID, Sequence[ItemFact]]:
        found: dict[UUID, list[ItemFact]] = defaultdict(list)
        rows = PunchItem.objects.filter(system__in=system_ids, state__in=STANDING_STATES)
        ordered = rows.order_by("category", "raised_at", "number")
        for system, pk, category, state, order in ordered.values_list(
            "system_id", "pk", "category", "state", "stage__order"
        ):
            found[system].append(ItemFact(str(pk), "", category, state, order, "", ""))
        return found

    def alarms_with_item(self, system_ids: Collection[UUID]) -> frozenset[UUID]:
        rows = PunchItem.objects.filter(system__in=system_ids, alarm__isnull=False)
        return frozenset(rows.values_list("alarm_id", flat=True).distinct().order_by())


SOURCE = PunchCounts()
