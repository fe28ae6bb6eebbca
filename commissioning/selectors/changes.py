"""How far the record of a system has come: a number that grows with every change of state in it."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Subquery

from commissioning.models import AuditEntry, CheckLine


def change_number(system_id: UUID | Subquery) -> int:
    """The number of the system's last audit entry: one step down an index, however long its history is.

    Entries are numbered under the chain's lock and seen when they are committed, so the number never goes back, and
    whoever has read a page after reading the number has seen all that it stands for.
    """
    rows = AuditEntry.objects.filter(system_id=system_id).order_by("-sequence")
    return rows.values_list("sequence", flat=True).first() or 0


def change_number_at(line_id: UUID) -> int:
    """The same of the system of a line, asked before the line itself is read."""
    return change_number(Subquery(CheckLine.objects.filter(pk=line_id).values("stage__system_id")))
