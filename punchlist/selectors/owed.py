"""What a member owes on the punch list, for the daily mail; named in OWED_SOURCES."""

from __future__ import annotations

from datetime import date

from commissioning.models import Membership
from commissioning.services.daily_mail import Owed
from commissioning.services.outgoing import address
from punchlist.models import STANDING_STATES, PunchItem

MOST = 100


def owed(membership: Membership, until: date) -> list[Owed]:
    """Items that are not closed, are this person's, and are due by then: one query."""
    rows = PunchItem.objects.filter(
        project=membership.project_id,
        owes=membership.user_id,
        state__in=STANDING_STATES,
        due_on__lte=until,
    )
    if not membership.all_sites:
        rows = rows.filter(system__site__in=membership.sites.all())
    code = membership.project.code
    return [
        Owed(f"{one.label} ({one.category}) {one.system.tag}: {one.text[:120]}", one.due_on, _page(code, one))
        for one in rows.select_related("system").order_by("due_on", "number")[:MOST]
        if one.due_on
    ]


def _page(code: str, item: PunchItem) -> str:
    return address("punch-item", code, item.number)
