"""Which systems an import changed, so that their counters are counted again."""

from __future__ import annotations

from uuid import UUID

from commissioning.models import System

from .keepers import Work
from .plan import Plan


def touched_systems(*, work: Work, plan: Plan) -> set[UUID]:
    """Systems added or changed, those that a row of another sheet belongs to, and all at a site that was changed."""
    systems = work.ids.get("systems", {})
    found: set[UUID] = set()
    for name, sheet in plan.sheets.items():
        for planned in (*sheet.added, *sheet.changed):
            if name == "systems" and planned.pk:
                found.add(planned.pk)
            tags = {planned.values.get("system"), *planned.changes.get("system", ())} - {None}
            found |= {systems[(tag,)] for tag in tags if (tag,) in systems}
    if "sites" in plan.sheets:
        sites = [planned.pk for planned in plan.sheets["sites"].changed]
        found |= set(System.objects.filter(site__in=sites).values_list("pk", flat=True))
    return found
