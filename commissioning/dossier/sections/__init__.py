"""The sections of a dossier: each draws its data on a sheet and knows nothing of the others."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from commissioning.dossier.page import Sheet
from commissioning.dossier.sections import annexes, evidence, field, front, listing, readings, stages

Drawer = Callable[[Sheet, Any], None]

DRAWERS: dict[str, Drawer] = {
    "cover": front.cover,
    "missing": front.missing,
    "revisions": front.revisions,
    "overview": front.overview,
    "contents": listing.contents,
    "index": listing.index,
    "system_head": stages.system_head,
    "certificates": stages.certificates,
    "check_records": stages.check_records,
    "concessions": stages.concessions,
    "readings": readings.readings,
    "working": readings.working,
    "signals": field.signals,
    "alarms": field.alarms,
    "supplies": field.supplies,
    "supply_log": field.supply_log,
    "permissions": field.permissions,
    "provided": field.provided,
    "as_left": field.as_left,
    "recordings": evidence.recordings,
    "photos": evidence.photos,
    "instruments": annexes.instruments,
    "sources": annexes.sources,
    "glossary": annexes.glossary,
    "audit": annexes.audit,
    "attachments": annexes.attachments,
}
