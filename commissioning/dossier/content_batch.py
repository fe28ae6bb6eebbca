"""Everything on record about some systems, read in a fixed number of queries however many they are."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar
from uuid import UUID
from zoneinfo import ZoneInfo

from commissioning.dossier.content_missing import sections
from commissioning.models import (
    Acceptance,
    AlarmSighting,
    AuditEntry,
    CheckLine,
    CheckResult,
    Concession,
    Equipment,
    PermissionToEnergise,
    ProofOfDead,
    Reading,
    SignalPoint,
    SignalProof,
    Site,
    Stage,
    SupplyChange,
    SupplyPoint,
    System,
    TestRecording,
    Witnessing,
    WitnessNotice,
)
from commissioning.rules.gate import StageFacts
from commissioning.selectors.facts import load_facts

RowT = TypeVar("RowT")
REGISTERED = ("equipment_added", "equipment_changed", "system_added", "system_changed")


def grouped(rows: Iterable[RowT], key: Callable[[RowT], Any]) -> defaultdict[Any, list[RowT]]:
    """Rows under their key, in the order in which they came."""
    found: defaultdict[Any, list[RowT]] = defaultdict(list)
    for row in rows:
        found[key(row)].append(row)
    return found


@dataclass(frozen=True)
class Batch:
    """The records of a set of systems, each list under the key by which it is asked for."""

    kinds: frozenset[str]
    systems: dict[UUID, System]
    stages: defaultdict[UUID, list[Stage]]  # by system, all of them
    facts: dict[UUID, StageFacts]  # by stage
    lines: defaultdict[UUID, list[CheckLine]]  # by stage
    results: defaultdict[UUID, list[CheckResult]]  # by line, as recorded
    readings: defaultdict[UUID, list[Reading]]  # by system, as recorded
    proofs: defaultdict[UUID, list[ProofOfDead]]  # by line
    notices: defaultdict[UUID, list[WitnessNotice]]  # by line
    witnessings: defaultdict[UUID, list[Witnessing]]  # by line
    concessions: defaultdict[UUID, list[Concession]]  # by system
    acceptances: defaultdict[UUID, list[Acceptance]]  # by stage
    supplies: defaultdict[UUID, list[SupplyPoint]]
    changes: defaultdict[UUID, list[SupplyChange]]
    permissions: defaultdict[UUID, list[PermissionToEnergise]]
    alarms: defaultdict[UUID, list[AlarmSighting]]
    signals: defaultdict[UUID, list[SignalPoint]]
    signal_proofs: defaultdict[UUID, list[SignalProof]]  # by point
    equipment: defaultdict[UUID, list[Equipment]]
    recordings: defaultdict[UUID, list[TestRecording]]
    registered: dict[str, tuple[datetime, str]]  # by object: when it was registered as it stands, and by whom
    provided: list[dict[str, Any]]

    def asked(self, system: System) -> list[Stage]:
        """The stages that the dossier covers."""
        return [stage for stage in self.stages[system.pk] if stage.kind in self.kinds]


def read(ids: Sequence[UUID], kinds: Collection[str], at: datetime) -> Batch:
    """Read the systems of these ids; the stages' own records only for the kinds asked for."""
    systems = System.objects.select_related("site__project", "project").in_bulk(ids)
    stages = list(Stage.objects.filter(system__in=ids).order_by("order"))
    for stage in stages:
        stage.system = systems[stage.system_id]
    by_key = {stage.pk: stage for stage in stages}
    lines = list(_lines(ids, kinds))
    for line in lines:
        line.stage = by_key[line.stage_id]  # no query when its tag is asked for
    of_lines = {"line__stage__system__in": ids, "line__stage__kind__in": kinds}
    recorded = ("recorded_at", "id")
    return Batch(
        kinds=frozenset(kinds),
        systems=systems,
        stages=grouped(stages, lambda row: row.system_id),
        facts=load_facts(system_ids=ids, now=at),
        lines=grouped(lines, lambda row: row.stage_id),
        results=grouped(
            CheckResult.objects.filter(**of_lines).select_related("by").order_by(*recorded), lambda row: row.line_id
        ),
        readings=grouped(_readings(ids), lambda row: row.system_id),
        proofs=grouped(
            ProofOfDead.objects.filter(**of_lines).select_related("by").order_by(*recorded), lambda row: row.line_id
        ),
        notices=grouped(
            WitnessNotice.objects.filter(**of_lines, withdrawn_at__isnull=True).order_by("given_at", "id"),
            lambda row: row.line_id,
        ),
        witnessings=grouped(
            Witnessing.objects.filter(**of_lines).select_related("by").order_by(*recorded), lambda row: row.line_id
        ),
        concessions=grouped(
            Concession.objects.filter(**of_lines).select_related("line__stage").order_by("signed_at", "id"),
            lambda row: row.line.stage.system_id,
        ),
        acceptances=grouped(
            Acceptance.objects.filter(stage__system__in=ids).select_related("withdrawn_by").order_by("signed_at", "id"),
            lambda row: row.stage_id,
        ),
        equipment=grouped(Equipment.objects.filter(system__in=ids).order_by("tag"), lambda row: row.system_id),
        recordings=grouped(_recordings(ids), lambda row: row.system_id),
        registered=_registered(ids),
        provided=sections(ids, kinds, at),
        **_energy(ids),
        **_field(ids),
    )  # fmt: skip


def _lines(ids: Sequence[UUID], kinds: Collection[str]) -> Iterable[CheckLine]:
    rows = CheckLine.objects.filter(stage__system__in=ids, stage__kind__in=kinds)
    return rows.select_related("equipment", "done_by").defer("how", "caution").order_by("order", "id")


def _readings(ids: Sequence[UUID]) -> Iterable[Reading]:
    rows = Reading.objects.filter(system__in=ids).select_related("by", "equipment", "line__equipment", "line__stage")
    return rows.prefetch_related("instruments").order_by("recorded_at", "id")


def _recordings(ids: Sequence[UUID]) -> Iterable[TestRecording]:
    rows = TestRecording.objects.filter(system__in=ids, superseded_at__isnull=True)
    rows = rows.select_related("equipment", "line__stage", "uploaded_by", "reading")
    return rows.prefetch_related("reading__instruments").order_by("uploaded_at", "id")


def _energy(ids: Sequence[UUID]) -> dict[str, Any]:
    changes = SupplyChange.objects.filter(supply__system__in=ids).select_related("supply", "by")
    permissions = PermissionToEnergise.objects.filter(system__in=ids).select_related("stage", "withdrawn_by")
    return {
        "supplies": grouped(
            SupplyPoint.objects.filter(system__in=ids).select_related("changed_by").order_by("tag"),
            lambda row: row.system_id,
        ),
        "changes": grouped(changes.order_by("recorded_at", "id"), lambda row: row.supply.system_id),
        "permissions": grouped(
            permissions.prefetch_related("supplies").order_by("signed_at", "id"), lambda row: row.system_id
        ),
    }


def _field(ids: Sequence[UUID]) -> dict[str, Any]:
    alarms = AlarmSighting.objects.filter(system__in=ids).select_related(
        "stage", "equipment", "expected_until", "seen_by", "decided_by", "cleared_by"
    )
    proofs = SignalProof.objects.filter(point__system__in=ids).select_related("forced_by", "seen_by", "restored_by")
    return {
        "alarms": grouped(alarms.order_by("recorded_at", "id"), lambda row: row.system_id),
        "signals": grouped(
            SignalPoint.objects.filter(system__in=ids).select_related("equipment").order_by("order", "tag"),
            lambda row: row.system_id,
        ),
        "signal_proofs": grouped(proofs.order_by("recorded_at", "id"), lambda row: row.point_id),
    }


def _registered(ids: Sequence[UUID]) -> dict[str, tuple[datetime, str]]:
    rows = AuditEntry.objects.filter(system_id__in=ids, action__in=REGISTERED).order_by("sequence")
    return {object_id: (at, by) for object_id, at, by in rows.values_list("object_id", "at", "actor_name")}


def zone_of(site: Site) -> ZoneInfo:
    """The site's own zone, else the project's, else UTC: a mistyped zone must not stop a dossier."""
    for name in (site.time_zone, site.project.time_zone):
        try:
            if name:
                return ZoneInfo(name)
        except (ValueError, OSError, KeyError):
            continue
    return ZoneInfo("UTC")
