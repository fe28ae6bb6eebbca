"""May I go on, and if not, who must do what?"""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.urls import reverse

from commissioning.models import StageDependency, System
from commissioning.procedures.nameplate import NAMEPLATE_KEYS
from commissioning.rules.safety import BATTERY_WORDS
from commissioning.rules.stages import DEAD_STAGES
from commissioning.selectors.access import Access
from commissioning.selectors.system import SystemStanding, history_of, system_or_404, system_standing
from commissioning.views.base import ProjectRequest, page, project_view, use_site_zone
from commissioning.views.history import entry_rows
from commissioning.views.links import page_url
from commissioning.views.standing import groups, may_work, record_deeds, rows, stage_deeds, strip

RECENT = 8


@project_view
def show(request: ProjectRequest, id: UUID) -> HttpResponse:
    """The system: its recorded energy, its stage in hand, what holds it and whose turn it is."""
    access, code = request.access, request.access.project.code
    system = system_or_404(access=access, id=id)
    use_site_zone(system.site)
    standing = system_standing(system)
    in_hand = standing.in_hand
    supplies = list(system.supplies.select_related("changed_by"))
    context = {
        "strip": strip(standing, code=code),
        "in_hand": in_hand,
        "holds": groups(in_hand.holds, access) if in_hand else [],
        "exceptions": exceptions_of(standing, access),
        "deeds": stage_deeds(in_hand, access) if in_hand else [],
        "record_deeds": record_deeds(in_hand.stage if in_hand else None, access, system_id=system.pk),
        "cautions": cautions(system, standing, [supply.kind for supply in supplies]),
        "supplies": supplies,
        "supplies_url": reverse("supplies", args=[code, system.pk]),
        "may_work": may_work(access),
        "equipment": system.equipment.select_related("parent").order_by("tag"),
        "dependencies": dependencies_of(standing),
        "dependents": dependents_of(system),
        "nameplate": nameplate_rows(system.nameplate),
        "items": standing.open_items,
        "items_url": page_url("punch-list", code, system=system.pk),
        "alarms_url": page_url("alarms", code, system=system.pk),
        "signals_url": page_url("signals", code, system=system.pk),
        "recent": entry_rows(history_of(system)[:RECENT], code),
    }
    return page(request, "commissioning/system/show.html", context, section="portfolio", system=system)


def exceptions_of(standing: SystemStanding, access: Access) -> list[dict[str, Any]]:
    """Accepted stages of which something does not hold any more."""
    return [
        {"stage": row.stage.get_kind_display(), "blockers": rows(row.exceptions, access)}
        for row in standing.stages
        if row.exceptions
    ]


def cautions(system: System, standing: SystemStanding, supply_kinds: list[str]) -> list[dict[str, Any]]:
    """What can hurt somebody here, said before anything can be pressed."""
    found: list[dict[str, Any]] = []
    if "battery" in supply_kinds:
        found.append({"level": "danger", "text": BATTERY_WORDS, "sign": "W026, warning: battery charging"})
    minutes = system.nameplate.get("stored_charge_minutes")
    if minutes:
        text = f"After isolation it holds charge: wait the maker's {minutes} minutes, then prove dead."
        found.append({"level": "warning", "text": text})
    in_hand = standing.in_hand
    if in_hand and in_hand.stage.kind not in DEAD_STAGES and in_hand.facts.state == "started":
        text = "This stage puts energy in. Local rules, the maker's manual and the authorised person's word go first."
        found.append({"level": "must", "text": text})
    return found


def dependencies_of(standing: SystemStanding) -> list[dict[str, Any]]:
    """Which stage here waits for which stage elsewhere."""
    return [
        {"stage": row.stage.get_kind_display(), "id": needed.id, "words": needed.words, "accepted": needed.accepted}
        for row in standing.stages
        for needed in row.facts.dependencies
    ]


def dependents_of(system: System) -> list[dict[str, Any]]:
    """Which stages elsewhere wait for a stage here."""
    found = StageDependency.objects.filter(requires__system=system).select_related("stage__system", "requires")
    return [
        {"stage": row.requires.get_kind_display(), "id": row.stage_id, "words": str(row.stage)}
        for row in found.order_by("stage__system__tag", "stage__order")
    ]


def nameplate_rows(nameplate: dict[str, Any]) -> list[dict[str, Any]]:
    """The nameplate in words, known keys in their own order."""
    known = [key for key in NAMEPLATE_KEYS if key in nameplate]
    others = sorted(set(nameplate) - set(known))
    return [
        {"words": NAMEPLATE_KEYS[key].words, "value": nameplate[key], "unit": NAMEPLATE_KEYS[key].unit} for key in known
    ] + [{"words": key.replace("_", " "), "value": nameplate[key], "unit": ""} for key in others]
