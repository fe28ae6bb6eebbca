"""What a phone takes along of some systems, to work a day without signal: in a fixed number of queries.

Everything is what was recorded when it was taken. `head`, the number of the project's last audit entry, says how far
the phone's knowledge reaches; it is read first, so that what is written meanwhile is news to the phone, never lost.
"""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db.models import Prefetch, Q
from django.utils.module_loading import import_string

from commissioning.models import (
    AlarmOutcome,
    AlarmSighting,
    AuditChain,
    Equipment,
    Instrument,
    SignalPoint,
    Stage,
    SupplyPoint,
    System,
)
from commissioning.rules.gate import StageFacts, acceptance_blockers, entry_blockers
from commissioning.rules.safety import BATTERY_WORDS, ENERGY_WORDS, energy_state
from commissioning.selectors.access import Access, systems_for
from commissioning.selectors.facts import load_facts
from commissioning.selectors.signals import points_of, proof_state, standing_proof
from commissioning.selectors.take_along_lines import lines_taken

#: More than a person walks in a day, and as much as a phone holds with ease.
SYSTEMS_LIMIT = 40
Source = Callable[[Collection[UUID]], Mapping[UUID, list[dict[str, Any]]]]


def head_of(access: Access) -> int:
    """The number of the project's last audit entry."""
    return AuditChain.objects.filter(project=access.project).values_list("last_sequence", flat=True).first() or 0


def mark_of(access: Access, *, head: int, system_ids: Iterable[UUID], version: str) -> str:
    """Changes whenever the answer would: every change of state adds an audit entry, so the head stands for all."""
    parts = (version, access.project.pk, access.user.pk, access.user.name, access.role, head, sorted(system_ids))
    sites = sorted(map(str, access.site_ids)) if access.site_ids is not None else "every site"
    return hashlib.sha256(f"{parts} {sites}".encode()).hexdigest()[:32]


def take_along(access: Access, *, system_ids: Collection[UUID], head: int) -> dict[str, Any]:
    """The systems asked for that the person may see, with all that the phone needs of them; others in `missing`."""
    rows = systems_for(access).filter(pk__in=system_ids).select_related("site", "project")
    whole = Prefetch("equipment", Equipment.objects.select_related("parent").order_by("tag"))
    systems = list(rows.prefetch_related(whole, Prefetch("stages", Stage.objects.order_by("order"))))
    found = [system.pk for system in systems]
    parts = _parts(access, found)
    facts = load_facts(system_ids=found)
    lines = lines_taken({stage.pk: (system, stage) for system in systems for stage in system.stages.all()}, facts)
    return {
        "project": _project(access),
        "code": access.project.code,
        "person": {"id": access.user.pk, "name": access.user.get_full_name(), "role": access.role},
        "head": head,
        "instruments": [_instrument(one) for one in _instruments(access)],
        "systems": [_system(system, facts, lines, parts) for system in systems],
        "missing": sorted(str(key) for key in set(system_ids) - set(found)),
    }


def _project(access: Access) -> dict[str, Any]:
    fields = ("code", "name", "time_zone", "decision_rule", "guard_factor", "far_end_by_second_person",
              "keep_photo_position")  # fmt: skip
    return {name: getattr(access.project, name) for name in fields}


def _parts(access: Access, ids: Collection[UUID]) -> dict[str, Mapping[UUID, list[dict[str, Any]]]]:
    """What belongs to a system besides its stages, by system."""
    supplies = SupplyPoint.objects.filter(system__in=ids).select_related("changed_by").order_by("tag")
    open_alarms = Q(outcome=AlarmOutcome.UNEXPLAINED) | Q(outcome=AlarmOutcome.EXPECTED, cleared_at__isnull=True)
    alarms = AlarmSighting.objects.filter(open_alarms, system__in=ids).select_related("seen_by", "equipment")
    signals = points_of(access).filter(system__in=ids).order_by("order", "tag")
    return {
        "supplies": _by_system(supplies, _supply),
        "alarms": _by_system(alarms.order_by("seen_at"), _alarm),
        "signals": _by_system(signals, _signal),
        **{name: import_string(path)(ids) for name, path in settings.TAKE_ALONG_SOURCES.items()},
    }


def _by_system(rows: Iterable[Any], shape: Callable[[Any], dict[str, Any]]) -> dict[UUID, list[dict[str, Any]]]:
    found: dict[UUID, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        found[row.system_id].append(shape(row))
    return found


def _system(
    system: System,
    facts: Mapping[UUID, StageFacts],
    lines: Mapping[UUID, list[dict[str, Any]]],
    parts: Mapping[str, Mapping[UUID, list[dict[str, Any]]]],
) -> dict[str, Any]:
    supplies = parts["supplies"].get(system.pk, [])
    state = energy_state(supply["state"] for supply in supplies)
    return {
        "id": system.pk,
        "tag": system.tag,
        "name": system.name,
        "kind": system.kind,
        "kind_words": system.get_kind_display(),
        "site": {"id": system.site_id, "code": system.site.code, "name": system.site.name},
        "time_zone": system.site.time_zone or system.project.time_zone,
        "energy": {"state": state.value, "words": ENERGY_WORDS[state]},
        "battery": _battery(supplies),
        "nameplate": system.nameplate,
        "stages": [_stage(stage, facts[stage.pk], lines[stage.pk]) for stage in system.stages.all()],
        "tags": [_tag(one) for one in system.equipment.all()],
        "punch_items": [],
        **{name: rows.get(system.pk, []) for name, rows in parts.items()},
    }


def _battery(supplies: Iterable[Mapping[str, Any]]) -> dict[str, str] | None:
    """How the battery's links or fuses are recorded, with what has to be said of any battery; None without one."""
    states = [supply["state"] for supply in supplies if supply["kind"] == "battery"]
    worst = next((state for state in ("released", "not_recorded", "isolated") if state in states), "")
    words = {"isolated": "open", "released": "closed", "not_recorded": "not recorded"}
    return {"state": words[worst], "words": BATTERY_WORDS} if worst else None


def _stage(stage: Stage, facts: StageFacts, lines: list[dict[str, Any]]) -> dict[str, Any]:
    holds = entry_blockers(facts) if facts.state == "not_started" else acceptance_blockers(facts)
    return {
        "id": stage.pk,
        "kind": stage.kind,
        "words": stage.get_kind_display(),
        "order": stage.order,
        "state": stage.state,
        "planned_for": stage.planned_for,
        # The gate's own list may run into hundreds of open lines; a phone needs what is not seen on the lines.
        "holds": [{"code": one.code, "words": one.words, "where": one.where, "turn": one.turn}
                  for one in holds if one.link_kind != "line"],
        "lines": lines,
    }  # fmt: skip


def _tag(one: Equipment) -> dict[str, Any]:
    return {
        "id": one.pk, "tag": one.tag, "name": one.description, "kind": one.kind, "kind_words": one.get_kind_display(),
        "parent": one.parent.tag if one.parent else None, "former_tags": one.former_tags,
    }  # fmt: skip


def _supply(one: SupplyPoint) -> dict[str, Any]:
    return {
        "id": one.pk, "tag": one.tag, "description": one.description, "kind": one.kind,
        "kind_words": one.get_kind_display(), "state": one.state, "lock_number": one.lock_number,
        "changed_at": one.changed_at, "changed_by": str(one.changed_by) if one.changed_by else "",
    }  # fmt: skip


def _alarm(one: AlarmSighting) -> dict[str, Any]:
    return {
        "id": one.pk, "stage": one.stage_id, "tag": one.equipment.tag if one.equipment else "", "text": one.text,
        "outcome": one.outcome, "outcome_words": one.get_outcome_display(), "seen_at": one.seen_at,
        "seen_by": str(one.seen_by),
    }  # fmt: skip


def _signal(point: SignalPoint) -> dict[str, Any]:
    proof = standing_proof(point)
    return {
        "id": point.pk, "tag": point.tag, "description": point.description, "direction": point.direction,
        "direction_words": point.get_direction_display(), "far_end": point.far_end, "stage_kind": point.stage_kind,
        "state": proof_state(proof),
        "proof": proof and {
            "id": proof.pk, "forced_by": {"id": proof.forced_by_id, "name": str(proof.forced_by)},
            "forced_at": proof.forced_at, "seen_at": proof.seen_at,
            "seen_by": str(proof.seen_by) if proof.seen_by else "", "restored_at": proof.restored_at,
            "failed_at": proof.failed_at, "failed_reason": proof.failed_reason,
        },
    }  # fmt: skip


def _instruments(access: Access) -> Iterable[Instrument]:
    rows = Instrument.objects.filter(project=access.project, retired_at__isnull=True)
    return rows.prefetch_related("ranges", "calibrations").order_by("description", "serial_number")


def _instrument(one: Instrument) -> dict[str, Any]:
    standing = [calibration for calibration in one.calibrations.all() if calibration.withdrawn_at is None]
    terms = ("unit", "lower", "upper", "percent_of_reading", "percent_of_range", "counts", "resolution",
             "temperature_coefficient", "calibration_uncertainty")  # fmt: skip
    return {
        "id": one.pk,
        "serial": one.serial_number,
        "description": one.description,
        "ranges": [{"id": row.pk, **{name: getattr(row, name) for name in terms}} for row in one.ranges.all()],
        "calibrations": [{"from": row.calibrated_on, "due": row.due_on} for row in standing],
        "calibration_due": max((row.due_on for row in standing), default=None),
    }
