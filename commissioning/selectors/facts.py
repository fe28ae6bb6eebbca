"""Facts for the gate, loaded for a set of systems in a fixed number of queries."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils import timezone

from commissioning.models import (
    AlarmSighting,
    CheckLine,
    CheckResult,
    Concession,
    PermissionToEnergise,
    Point,
    Reading,
    Role,
    SignalPoint,
    SignalProof,
    Stage,
    StageDependency,
    StageState,
    SupplyPoint,
    System,
    VerificationChange,
    Witnessing,
    WitnessNotice,
)
from commissioning.rules.gate import (
    AlarmFact,
    ItemFact,
    LineFact,
    PermissionFact,
    Policy,
    ReadingFact,
    SignalFact,
    StageFacts,
    StageRef,
    SupplyFact,
)
from commissioning.rules.gate_parts import ALARMS, ITEMS, LINES, PARTS, SIGNALS, STAGES, SUPPLIES
from commissioning.selectors.fact_sources import OutsideFacts, counter_sources, outside_facts

__all__ = ["OutsideFacts", "facts_to_count", "load_facts", "permission_fact", "signal_fact", "stage_facts"]


def stage_facts(*, stage: Stage, now: datetime | None = None) -> StageFacts:
    """Facts of one stage."""
    return load_facts(system_ids=[stage.system_id], now=now)[stage.pk]


def load_facts(
    *, system_ids: Collection[UUID], now: datetime | None = None, only_in_hand: bool = False
) -> dict[UUID, StageFacts]:
    """Facts of every stage of the systems, by stage id.

    `only_in_hand` leaves out the lines of stages that are not the next to be accepted, for the portfolio.
    """
    systems = {system.pk: system for system in System.objects.filter(pk__in=system_ids).select_related("project")}
    stages = list(Stage.objects.filter(system__in=system_ids).order_by("system", "order"))
    loader = _Loader(systems=systems, stages=stages, now=now or timezone.now(), only_in_hand=only_in_hand)
    return loader.load()


def facts_to_count(
    *,
    systems: Mapping[UUID, System],
    stages: Sequence[Stage],
    now: datetime,
    parts: Collection[str] = PARTS,
    line_stages: Collection[UUID] | None = None,
) -> dict[UUID, StageFacts]:
    """Facts of the stages for counting: those of `parts` only, lines only of `line_stages`, no words and no workers."""
    return _Loader(systems=systems, stages=stages, now=now, parts=parts, line_stages=line_stages, counting=True).load()


class _Loader:
    """One pass over the tables, each read once for all the systems."""

    def __init__(
        self,
        *,
        systems: Mapping[UUID, System],
        stages: Sequence[Stage],
        now: datetime,
        only_in_hand: bool = False,
        parts: Collection[str] = PARTS,
        line_stages: Collection[UUID] | None = None,
        counting: bool = False,
    ) -> None:
        self.systems = systems
        self.system_ids = list(systems)
        self.now = now
        self.only_in_hand = only_in_hand
        self.parts = parts
        self.line_stages = line_stages
        self.counting = counting
        self.stages: dict[UUID, list[Stage]] = defaultdict(list)
        for stage in stages:
            stage.system = systems[stage.system_id]  # no query when its words are asked for
            self.stages[stage.system_id].append(stage)
        self.all_stages = {stage.pk: stage for stage in stages}
        self.workers: dict[UUID, set[str]] = defaultdict(set)

    def load(self) -> dict[UUID, StageFacts]:
        self._outside()
        dependencies = self._dependencies() if STAGES in self.parts else {}
        lines = self._lines() if LINES in self.parts else {}
        supplies, permissions = (self._supplies(), self._permissions()) if SUPPLIES in self.parts else ({}, {})
        alarms = self._alarms() if ALARMS in self.parts else {}
        signals = self._signals() if SIGNALS in self.parts else {}
        facts: dict[UUID, StageFacts] = {}
        for system_id, stages in self.stages.items():
            policy = _policy(self.systems[system_id])
            items = tuple(item for source in self.items for item in source.get(system_id, ()))
            for place, stage in enumerate(stages):
                facts[stage.pk] = StageFacts(
                    stage_id=str(stage.pk),
                    system_id=str(system_id),
                    system_tag=stage.system.tag,
                    kind=stage.kind,
                    order=stage.order,
                    state=stage.state,
                    is_last=stage is stages[-1],
                    now=self.now,
                    policy=policy,
                    previous=_ref(stages[place - 1]) if place else None,
                    dependencies=tuple(dependencies.get(stage.pk, ())),
                    lines=tuple(lines.get(stage.pk, ())),
                    items=items,
                    supplies=tuple(supplies.get(system_id, ())),
                    permissions=tuple(permissions.get(system_id, ())),
                    alarms=tuple(alarms.get(system_id, ())),
                    signals=tuple(signals.get((system_id, stage.kind), ())),
                    workers=frozenset(self.workers.get(stage.pk, ())),
                )
        return facts

    def _outside(self) -> None:
        """What other rooms know, whole or only to be counted."""
        self.items: list[Mapping[UUID, Sequence[ItemFact]]] = []
        self.has_item: frozenset[UUID] = frozenset()
        if self.counting:
            for counted in counter_sources():
                if ITEMS in self.parts:
                    self.items.append(counted.standing_items(self.system_ids))
                if ALARMS in self.parts:
                    self.has_item |= counted.alarms_with_item(self.system_ids)
            return
        for source in outside_facts(self.system_ids):
            self.items.append(source.items)
            self.has_item |= source.alarms_with_item
            for stage_id, people in source.workers.items():
                self.workers[stage_id] |= people

    def _dependencies(self) -> dict[UUID, list[StageRef]]:
        found: dict[UUID, list[StageRef]] = defaultdict(list)
        rows = StageDependency.objects.filter(stage__system__in=self.system_ids).select_related("requires__system")
        for row in rows.order_by("requires__system__tag", "requires__order"):
            found[row.stage_id].append(_ref(row.requires))
        return found

    def _line_stage_ids(self) -> list[UUID]:
        if self.line_stages is not None:
            return list(self.line_stages)
        if not self.only_in_hand:
            return list(self.all_stages)
        in_hand = (next((s for s in stages if s.state != StageState.ACCEPTED), None) for stages in self.stages.values())
        return [stage.pk for stage in in_hand if stage]

    def _lines(self) -> dict[UUID, list[LineFact]]:
        stage_ids = self._line_stage_ids()
        of_lines = {"line__stage__in": stage_ids, "line__retired_at__isnull": True}
        if not self.counting:
            self._note_workers(of_lines)
        reasons = dict(
            CheckResult.objects.filter(**of_lines, superseded_at__isnull=True, outcome="not_applicable").values_list(
                "line_id", "remark"
            )
        )
        readings = self._readings(of_lines)
        conceded = set(
            Concession.objects.filter(**of_lines, withdrawn_at__isnull=True).values_list("line_id", "reading_id")
        )
        witnessed = set(Witnessing.objects.filter(**of_lines).values_list("line_id", "role"))
        notices: dict[UUID, list[datetime]] = defaultdict(list)
        given = WitnessNotice.objects.filter(**of_lines, withdrawn_at__isnull=True)
        for line_id, planned_for in given.values_list("line_id", "planned_for"):
            notices[line_id].append(planned_for)
        found: dict[UUID, list[LineFact]] = defaultdict(list)
        rows = CheckLine.objects.filter(stage__in=stage_ids, retired_at__isnull=True)
        for row in (
            rows.select_related("equipment")
            .defer("how", "accept", "caution", "inputs", "limits")
            .order_by("stage", "order")
        ):
            reading = readings.get(row.pk)
            found[row.stage_id].append(
                LineFact(
                    id=str(row.pk),
                    title=row.title,
                    where=row.equipment.tag if row.equipment else self.all_stages[row.stage_id].system.tag,
                    state=row.state,
                    reason=reasons.get(row.pk, ""),
                    required=row.required,
                    calculation=row.calculation,
                    reading=reading,
                    # A concession speaks of one reading; a new reading needs a new decision.
                    conceded=(row.pk, UUID(reading.id) if reading else None) in conceded,
                    point=row.point,
                    party=row.party,
                    witnessed=row.point in (Point.HOLD, Point.WITNESS)
                    and (row.pk, row.party or Role.CLIENT) in witnessed,
                    notices=tuple(notices.get(row.pk, ())),
                )
            )
        return found

    def _note_workers(self, of_lines: dict[str, Any]) -> None:
        """Rule 11 looks at everybody who ever recorded something on a line, superseded or not."""
        for model in (CheckResult, Reading):
            rows = (
                model._default_manager.filter(**of_lines).values_list("line__stage_id", "by_id").distinct().order_by()
            )
            for stage_id, person in rows:
                self.workers[stage_id].add(str(person))

    def _readings(self, of_lines: dict[str, Any]) -> dict[UUID, ReadingFact]:
        rows = Reading.objects.filter(**of_lines, superseded_at__isnull=True)
        waiting = {f"reading__{name}": value for name, value in of_lines.items()}
        changed = dict(
            VerificationChange.objects.filter(**waiting, decided_at__isnull=True)
            .order_by("run__asked_at")
            .values_list("reading_id", "verdict")
        )
        return {
            line_id: ReadingFact(
                id=str(pk),
                verdict=verdict,
                in_calibration=in_calibration,
                taken_at=taken_at,
                changed_to=changed.get(pk, ""),
            )
            for pk, line_id, verdict, in_calibration, taken_at in rows.values_list(
                "pk", "line_id", "verdict", "in_calibration", "taken_at"
            )
        }

    def _supplies(self) -> dict[UUID, list[SupplyFact]]:
        found: dict[UUID, list[SupplyFact]] = defaultdict(list)
        for row in SupplyPoint.objects.filter(system__in=self.system_ids).order_by("tag"):
            found[row.system_id].append(SupplyFact(str(row.pk), row.tag, row.kind, row.state, row.changed_at))
        return found

    def _permissions(self) -> dict[UUID, list[PermissionFact]]:
        found: dict[UUID, list[PermissionFact]] = defaultdict(list)
        rows = PermissionToEnergise.objects.filter(system__in=self.system_ids).prefetch_related("supplies")
        for row in rows.defer("signed_content"):
            found[row.system_id].append(permission_fact(row, stage_kind=self.all_stages[row.stage_id].kind))
        return found

    def _alarms(self) -> dict[UUID, list[AlarmFact]]:
        found: dict[UUID, list[AlarmFact]] = defaultdict(list)
        rows = AlarmSighting.objects.filter(system__in=self.system_ids).select_related("equipment").order_by("seen_at")
        for row in rows:
            until = self.all_stages.get(row.expected_until_id) if row.expected_until_id else None
            found[row.system_id].append(
                AlarmFact(
                    id=str(row.pk),
                    text=row.text,
                    where=row.equipment.tag if row.equipment else self.all_stages[row.stage_id].system.tag,
                    outcome=row.outcome,
                    stage_order=self.all_stages[row.stage_id].order,
                    expected_until_order=until.order if until else None,
                    cleared=row.cleared_at is not None,
                    has_item=row.pk in self.has_item,
                    since=row.seen_at,
                )
            )
        return found

    def _signals(self) -> dict[tuple[UUID, str], list[SignalFact]]:
        stage_of = {(s.system_id, s.kind): s.pk for s in self.all_stages.values()}
        standing: dict[UUID, SignalProof] = {}
        for proof in SignalProof.objects.filter(point__system__in=self.system_ids).select_related("point"):
            people = {proof.forced_by_id, proof.seen_by_id, proof.restored_by_id} - {None}
            if stage_id := stage_of.get((proof.point.system_id, proof.point.stage_kind)):
                self.workers[stage_id] |= {str(person) for person in people}
            if proof.superseded_at is None:
                standing[proof.point_id] = proof
        found: dict[tuple[UUID, str], list[SignalFact]] = defaultdict(list)
        for point in SignalPoint.objects.filter(system__in=self.system_ids).order_by("order", "tag"):
            found[point.system_id, point.stage_kind].append(signal_fact(point, standing.get(point.pk)))
        return found


def _policy(system: System) -> Policy:
    project = system.project
    return Policy(project.decision_rule, project.b_blocks_stage, project.c_blocks_handover)


def _ref(stage: Stage) -> StageRef:
    words = f"{stage.system.tag} {stage.get_kind_display()}"
    return StageRef(str(stage.pk), words, stage.state == StageState.ACCEPTED)


def permission_fact(row: PermissionToEnergise, *, stage_kind: str) -> PermissionFact:
    return PermissionFact(
        id=str(row.pk),
        stage_kind=stage_kind,
        supply_ids=frozenset(str(supply.pk) for supply in row.supplies.all()),
        # Refusals name these moments, so they are told in the zone that the reader is in.
        valid_from=timezone.localtime(row.valid_from),
        valid_until=timezone.localtime(row.valid_until),
        withdrawn=row.withdrawn_at is not None,
    )


def signal_fact(point: SignalPoint, proof: SignalProof | None) -> SignalFact:
    return SignalFact(
        id=str(point.pk),
        tag=point.tag,
        words=point.description,
        forced=proof is not None,
        seen=bool(proof and proof.seen_at),
        restored=bool(proof and proof.restored_at),
        failed=bool(proof and proof.failed_at),
    )
