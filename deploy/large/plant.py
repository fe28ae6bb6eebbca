"""Sites, systems, stages and check lines, each system as far as the seed has it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from random import Random
from typing import Any
from uuid import UUID

from commissioning.models import (
    Acceptance,
    CheckLine,
    CheckResult,
    Equipment,
    PermissionToEnergise,
    Project,
    Site,
    Stage,
    StageDependency,
    SupplyPoint,
    System,
    Witnessing,
)
from commissioning.rules.stages import stage_plan
from commissioning.services.audit import canonical_json, sha256_of
from deploy.large.writing import Keys, write

#: Kinds with a battery, and so with four stages.
KINDS = (
    ("dc_power_vrla", "GU", "Telecom supply"),
    ("dc_power_nicd", "GB", "Switchgear supply"),
    ("dc_power_vented", "GA", "Control supply"),
    ("ups", "GX", "Instrument supply"),
)
FIRST = ("Quill", "Tarn", "Vex", "Ombre", "Hollow", "Reed", "Stone", "Otter", "Marsh", "Wind", "Gorse", "Alder", "Fen")
SECOND = ("marsh", "holt", "ley", "fell", "mere", "ford", "wick", "combe", "beck", "thorpe", "dale", "garth")
USES = ("Pumping Station", "Treatment Works", "Outfall", "Booster", "Reservoir", "Intake")
#: Key, title, calculation, point.
LINES = (
    ("a", "Nameplates agree with the register", "", "none"),
    ("b", "Terminals tight and marked", "", "none"),
    ("c", "Supply voltage, L1 to N", "ac_supply_tolerance", "none"),
    ("d", "Supply voltage, L2 to N", "ac_supply_tolerance", "none"),
    ("e", "Supply voltage, L3 to N", "ac_supply_tolerance", "none"),
    ("f", "Alarms seen at the far end", "", "hold"),
)
MEASURED = json.dumps(
    {"measured": {"kind": "measured", "unit": "V"}, "nominal": {"kind": "value", "value": 230, "unit": "V"}}
)
#: How many of a hundred systems have so many stages accepted.
ACCEPTED_SHARES = (30, 25, 20, 15, 10)


EQUIPMENT = (
    *("id", "project_id", "system_id", "tag", "description", "kind", "serial_number", "maker", "model", "nameplate"),
    "former_tags",
)
_SIGNED = ("id", "signed_by_id", "signed_name", "signed_role", "signed_at", "signed_content", "signed_hash")


@dataclass(slots=True)
class Plan:
    """One system with what the rest of the record is written against."""

    id: UUID
    site: UUID
    tag: str
    name: str
    kind: str
    stages: list[UUID]
    kinds: tuple[str, ...]
    accepted: int
    state: str  # of the stage in hand
    begun: datetime
    share: float  # of the lines of the stage in hand that are done
    equipment: list[UUID] = field(default_factory=list)
    measured: list[UUID] = field(default_factory=list)  # lines with a standing reading

    def state_of(self, place: int) -> str:
        if place < self.accepted:
            return "accepted"
        return self.state if place == self.accepted else "not_started"


@dataclass(frozen=True, slots=True)
class Making:
    """What every part of the making needs."""

    project: Project
    people: dict[str, Any]
    keys: Keys
    choose: Random
    now: datetime


def make_sites(making: Making, count: int) -> list[UUID]:
    choose, found = making.choose, []
    rows = []
    for number in range(count):
        key = making.keys()
        name = f"{choose.choice(FIRST)}{choose.choice(SECOND)} {choose.choice(USES)}"
        rows.append((key, making.project.pk, f"S{number + 1:03d}", name, "", ""))
        found.append(key)
    write(Site, ("id", "project_id", "code", "name", "time_zone", "notes"), rows)
    return found


def plan_systems(making: Making, sites: list[UUID], count: int) -> list[Plan]:
    """Every site has one, the rest fall where the seed lets them."""
    choose = making.choose
    places = [*range(len(sites))][:count]
    places += choose.choices(
        range(len(sites)), weights=[choose.uniform(0.4, 2.0) for _ in sites], k=count - len(places)
    )
    plans = []
    for number, place in enumerate(sorted(places)):
        kind, letters, name = choose.choice(KINDS)
        kinds = stage_plan(kind)
        accepted = choose.choices(range(5), weights=ACCEPTED_SHARES)[0]
        plans.append(
            Plan(
                id=making.keys(),
                site=sites[place],
                tag=f"S{place + 1:03d}-{letters}{number:05d}",
                name=name,
                kind=kind,
                stages=[making.keys() for _ in kinds],
                kinds=kinds,
                accepted=accepted,
                state=choose.choice(("not_started", "started", "started")),
                begun=making.now - timedelta(days=choose.uniform(30, 400)),
                share=choose.choice((0.2, 0.4, 0.6, 0.8, 1.0, 1.0)),
            )
        )
    return plans


def make_systems(making: Making, plans: list[Plan]) -> None:
    project = making.project.pk
    rows = ((one.id, project, one.site, one.tag, one.name, one.kind, "{}", one.begun) for one in plans)
    write(System, ("id", "project_id", "site_id", "tag", "name", "kind", "nameplate", "created_at"), rows)
    write(
        Stage,
        ("id", "system_id", "kind", "order", "state", "started_at", "started_by_id", "planned_for"),
        (row for one in plans for row in _stages(making, one)),
    )
    write(
        Equipment,
        EQUIPMENT,
        (row for one in plans for row in _equipment(making, one)),
    )
    write(
        SupplyPoint,
        ("id", "system_id", "tag", "description", "kind", "state", "lock_number", "changed_at", "changed_by_id"),
        (row for one in plans for row in _supplies(making, one)),
    )
    _permit(making, [one for one in plans if _live(one)])
    write(Acceptance, (*_SIGNED, "stage_id", "remark", "withdrawn_reason"), _acceptances(making, plans))
    write(StageDependency, ("id", "stage_id", "requires_id"), _dependencies(making, plans))


def _stages(making: Making, one: Plan) -> Iterator[tuple[Any, ...]]:
    for place, (key, kind) in enumerate(zip(one.stages, one.kinds, strict=True)):
        state = one.state_of(place)
        started = state != "not_started"
        planned: date = (one.begun + timedelta(days=60 * (place + 1) + making.choose.randrange(30))).date()
        at = one.begun + timedelta(days=20 * place) if started else None
        yield key, one.id, kind, place + 1, state, at, making.people["engineer"].pk if started else None, planned


def _equipment(making: Making, one: Plan) -> Iterator[tuple[Any, ...]]:
    for letter, words, kind in (("T", "charger", "rectifier"), ("B", "battery", "battery"), ("D", "board", "dc_board")):
        key = making.keys()
        one.equipment.append(key)
        yield key, making.project.pk, one.id, f"{one.tag}-{letter}1", words, kind, "", "", "", "{}", "[]"


def _live(one: Plan) -> bool:
    return one.accepted > 2 or (one.accepted == 2 and one.state == "started")


def _supplies(making: Making, one: Plan) -> Iterator[tuple[Any, ...]]:
    by = making.people["engineer"].pk
    for tag, kind in (("Q1", "incomer"), ("F2", "battery")):
        key = making.keys()
        if _live(one):
            yield key, one.id, tag, "", kind, "released", "", one.begun, by
        elif one.accepted or making.choose.random() < 0.6:
            yield key, one.id, tag, "", kind, "isolated", f"L-{making.choose.randrange(900) + 100}", one.begun, by
        else:
            yield key, one.id, tag, "", kind, "not_recorded", "", None, None


def _permit(making: Making, plans: list[Plan]) -> None:
    """A permission for each stage that puts energy in and was started."""
    supplies: dict[UUID, list[UUID]] = {}
    found = SupplyPoint.objects.filter(system__project=making.project, state="released")
    for key, system in found.values_list("pk", "system_id"):
        supplies.setdefault(system, []).append(key)
    rows, named = [], []
    for one in plans:
        for place in (2, 3):
            if one.state_of(place) == "not_started":
                continue
            key, content = making.keys(), {"system": one.tag, "stage": one.kinds[place], "supplies": ["Q1", "F2"]}
            until = making.now + timedelta(days=making.choose.randrange(20, 90))
            signed = _signature(making, key, content, one.begun)
            rows.append((*signed, one.id, one.stages[place], one.begun, until, "", ""))
            named += [(key, supply) for supply in supplies.get(one.id, ())]
    names = ("system_id", "stage_id", "valid_from", "valid_until", "precautions", "withdrawn_reason")
    write(PermissionToEnergise, (*_SIGNED, *names), rows)
    through = PermissionToEnergise.supplies.through
    write(through, ("permissiontoenergise_id", "supplypoint_id"), named)


def _signature(making: Making, key: UUID, content: dict[str, Any], at: datetime) -> tuple[Any, ...]:
    by = making.people["client"]
    return key, by.pk, by.name, "client", at, canonical_json(content), sha256_of(content)


def _acceptances(making: Making, plans: list[Plan]) -> Iterator[tuple[Any, ...]]:
    for one in plans:
        for place in range(min(one.accepted, len(one.stages))):
            content = {"stage": f"{one.tag} {one.kinds[place]}", "made": "from a seed"}
            at = one.begun + timedelta(days=20 * place + 18)
            yield *_signature(making, making.keys(), content, at), one.stages[place], "", ""


def _dependencies(making: Making, plans: list[Plan]) -> Iterator[tuple[Any, ...]]:
    """On each site some energisations wait for the mechanical completion of a system before them."""
    before: Plan | None = None
    for one in plans:
        if before is not None and before.site == one.site and making.choose.random() < 0.3:
            fits = one.accepted < 3 or before.accepted > 0  # what is accepted rests on what is accepted
            if fits and (before.accepted > 0 or not (one.accepted == 2 and one.state == "started")):
                yield making.keys(), one.stages[2], before.stages[0]
        before = one


def make_lines(making: Making, plans: list[Plan]) -> None:
    """Check lines of every stage, with the results and witnesses of those that are done."""
    results: list[tuple[Any, ...]] = []
    witnesses: list[tuple[Any, ...]] = []

    def lines() -> Iterator[tuple[Any, ...]]:
        for one in plans:
            for place, stage in enumerate(one.stages):
                yield from _lines(making, one, place, stage, results, witnesses)

    names: tuple[str, ...] = (
        "id",
        "stage_id",
        "key",
        "order",
        "title",
        "how",
        "accept",
        "action",
        "work",
        "injects_voltage",
        "caution",
    )
    names += ("point", "party", "required", "calculation", "inputs", "limits", "procedure_key", "procedure_version")
    write(CheckLine, (*names, "state", "done_at", "done_by_id"), lines())
    columns = ("id", "line_id", "outcome", "values", "remark", "by_id", "at", "recorded_at")
    write(CheckResult, columns, results)
    write(Witnessing, ("id", "line_id", "by_id", "role", "at", "recorded_at", "remark"), witnesses)


def _lines(
    making: Making,
    one: Plan,
    place: int,
    stage: UUID,
    results: list[tuple[Any, ...]],
    witnesses: list[tuple[Any, ...]],
) -> Iterator[tuple[Any, ...]]:
    state, by = one.state_of(place), making.people["engineer"].pk
    done = len(LINES) if state == "accepted" else int(one.share * len(LINES)) if state == "started" else 0
    at = one.begun + timedelta(days=20 * place + 10)
    for order, (key, title, calculation, point) in enumerate(LINES, start=1):
        line, passed = making.keys(), order <= done
        if passed and calculation:
            one.measured.append(line)
        elif passed:
            results.append((making.keys(), line, "passed", "[]", "", by, at, at))
        if passed and point == "hold":
            witnesses.append((making.keys(), line, making.people["client"].pk, "client", at, at, ""))
        yield (
            *(line, stage, key, order, title, "", "", "measure" if calculation else "inspect", "either", False, ""),
            *(point, "client" if point == "hold" else "", True, calculation, MEASURED if calculation else "{}", "[]"),
            *("from-a-seed", "1.1", "passed" if passed else "open", at if passed else None, by if passed else None),
        )
