"""Punch items as the search box finds and shows them; named in settings (FIND_SOURCES)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from uuid import UUID

from commissioning.finding.source import Feed, Hit, Source
from commissioning.selectors.access import Access
from punchlist.models import PunchItem

SHOWN = 160


def show_items(access: Access, ids: Sequence[UUID]) -> Mapping[UUID, Hit]:
    rows = PunchItem.objects.filter(access.limit("system__site"), project=access.project, pk__in=ids)
    return {one.pk: _hit(one) for one in rows.select_related("equipment", "system")}


def _hit(one: PunchItem) -> Hit:
    text = one.text if len(one.text) <= SHOWN else f"{one.text[:SHOWN].rstrip()}…"
    detail = f"{one.category} · {one.get_state_display()} · {(one.equipment or one.system).tag}"
    return Hit(one.label, text, detail, "item", one.pk)


SOURCES = (
    Source(
        kind="item",
        heading="Punch items",
        table="punchlist_punchitem",
        joins=(
            "JOIN commissioning_system s ON s.id = r.system_id "
            "LEFT JOIN commissioning_equipment e ON e.id = r.equipment_id"
        ),
        project="r.project_id",
        site="s.site_id",
        title="'p-' || r.number",
        tag="COALESCE(e.tag, s.tag)",
        words=("'p-' || r.number", "r.text", "COALESCE(e.tag, s.tag)", "r.owes_company"),
        own_columns=("text", "number", "owes_company", "equipment_id", "system_id"),
        show=show_items,
        feeds=(
            Feed("commissioning_system", "r.system_id", ("site_id", "tag")),
            Feed("commissioning_equipment", "r.equipment_id", ("tag",)),
        ),
    ),
)
