"""When a person was last there, so that a page can say what is new. Nothing anybody answers for: not audited."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.db.models import F

from commissioning.models import Membership

#: Looking again within this time belongs to the same visit: what was new stays marked.
ONE_VISIT = timedelta(minutes=30)


def look_at_dossiers(*, membership: Membership, at: datetime) -> datetime | None:
    """Note that the list is looked at; answers with the end of the visit before, or None at the first."""
    row = Membership.objects.filter(pk=membership.pk)
    if not row.filter(dossiers_looked_at__lt=at - ONE_VISIT).update(
        dossiers_new_since=F("dossiers_looked_at"), dossiers_looked_at=at
    ):
        row.update(dossiers_looked_at=at)
    return row.values_list("dossiers_new_since", flat=True).get()
