"""Rows for every list of the API: each function brings a list to a number of rows and answers its path."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from django.utils import timezone

from commissioning.models import (
    AlarmSighting,
    AuditEntry,
    CheckLine,
    Dossier,
    Equipment,
    Instrument,
    Job,
    OutboxItem,
    PermissionToEnergise,
    Procedure,
    ProcedureLine,
    Reading,
    Role,
    SignalPoint,
    SignalProof,
    Site,
    StageDependency,
    SupplyChange,
    SupplyPoint,
    System,
    VerificationChange,
    VerificationRun,
)
from commissioning.services.alarms import log_alarm
from commissioning.services.dossiers import ask_dossier
from punchlist.models import DossierComment
from punchlist.services.items import raise_item
from tests.support.world import World, make_member, make_system, make_user


def systems(world: World, number: int) -> str:
    for place in _more(System, number):
        system = make_system(site=world.site, tag=f"S{place:03d}")
        SupplyPoint.objects.create(system=system, tag="Q1", kind="battery")
    return "systems/"


def equipment(world: World, number: int) -> str:
    place = {"project": world.project, "system": world.system}
    Equipment.objects.bulk_create(Equipment(**place, tag=f"T{one}") for one in _more(Equipment, number))
    return "equipment/"


def lines(world: World, number: int) -> str:
    stage = world.stages[0]
    rows = [
        CheckLine(
            stage=stage,
            key=f"k{one}",
            order=one,
            title=f"Line {one}",
            done_by=world.engineer,
            equipment=Equipment.objects.create(project=world.project, system=world.system, tag=f"L{one}"),
        )
        for one in _more(CheckLine, number)
    ]
    CheckLine.objects.bulk_create(rows)
    return "lines/"


def readings(world: World, number: int) -> str:
    meter, _ = Instrument.objects.get_or_create(project=world.project, serial_number="M1", description="Meter")
    for _ in _more(Reading, number):
        row = Reading.objects.create(
            project=world.project, system=world.system, calculation="ripple", edition="1", by=world.engineer,
            taken_at=timezone.now(),
        )  # fmt: skip
        row.instruments.add(meter)
    return "readings/"


def instruments(world: World, number: int) -> str:
    Instrument.objects.bulk_create(
        Instrument(project=world.project, serial_number=f"N{one}", description="Meter")
        for one in _more(Instrument, number)
    )
    return "instruments/"


def supplies(world: World, number: int) -> str:
    SupplyPoint.objects.bulk_create(
        SupplyPoint(system=world.system, tag=f"Q{one}", kind="incomer", changed_by=world.engineer)
        for one in _more(SupplyPoint, number)
    )
    return "supplies/"


def supply_changes(world: World, number: int) -> str:
    supply, _ = SupplyPoint.objects.get_or_create(system=world.system, tag="Q1", kind="incomer")
    for _ in _more(SupplyChange, number):
        SupplyChange.objects.create(supply=supply, state="isolated", by=world.engineer, at=timezone.now())
    return f"supplies/{supply.pk}/changes/"


def permissions(world: World, number: int) -> str:
    supply, _ = SupplyPoint.objects.get_or_create(system=world.system, tag="Q1", kind="incomer")
    now = timezone.now()
    for _ in _more(PermissionToEnergise, number):
        row = PermissionToEnergise.objects.create(
            system=world.system, stage=world.stages[2], valid_from=now, valid_until=now + timedelta(hours=1),
            signed_by=world.manager, signed_name="x", signed_role="x", signed_at=now, signed_content={},
            signed_hash="0",
        )  # fmt: skip
        row.supplies.add(supply)
    return "permissions/"


def alarms(world: World, number: int) -> str:
    stage = world.stages[0]
    for one in _more(AlarmSighting, number):
        AlarmSighting.objects.create(
            system=world.system, stage=stage, text=f"Alarm {one}", seen_by=world.engineer, seen_at=timezone.now()
        )
    return "alarms/"


def signals(world: World, number: int) -> str:
    for one in _more(SignalPoint, number):
        point = SignalPoint.objects.create(system=world.system, tag=f"K{one}", description="Mains failed")
        SignalProof.objects.create(point=point, forced_by=world.engineer, forced_at=timezone.now())
    return "signals/"


def members(world: World, number: int) -> str:
    for one in range(number - world.project.memberships.count()):
        user = make_user(username=f"m{number}-{one}", name=f"Maud {one}")
        make_member(project=world.project, user=user, role=Role.CLIENT, sites=[world.site])
    return "members/"


def sites(world: World, number: int) -> str:
    Site.objects.bulk_create(
        Site(project=world.project, code=f"C{one}", name="Vexley Outfall") for one in _more(Site, number)
    )
    return "sites/"


def dependencies(world: World, number: int) -> str:
    for one in _more(StageDependency, number):
        other = make_system(site=world.site, tag=f"W{one:03d}")
        StageDependency.objects.create(stage=other.stages.first(), requires=world.stages[0])
    return "dependencies/"


def audit(world: World, number: int) -> str:
    for one in range(number - AuditEntry.objects.count()):
        log_alarm(actor=world.engineer, stage=world.stages[0], text=f"Alarm {one}")
    return "audit/"


def jobs(world: World, number: int) -> str:
    for one in _more(Job, number):
        Job.objects.create(project=world.project, kind="verify_again", key=f"j{one}", asked_by=world.engineer)
    return "jobs/"


def procedures(world: World, number: int) -> str:
    kind = {"system_kind": "ups", "source_version": 1, "source_hash": "0"}
    Procedure.objects.bulk_create(
        Procedure(project=world.project, key=f"own{one}", title="Own", **kind) for one in _more(Procedure, number)
    )
    return "procedures/"


def procedure_lines(world: World, number: int) -> str:
    procedure, _ = Procedure.objects.get_or_create(
        project=world.project, key="own", title="Own", system_kind="ups", source_version=1, source_hash="0"
    )
    ProcedureLine.objects.bulk_create(
        ProcedureLine(procedure=procedure, key=f"k{one}", order=one, title="Line", stage_kind="energisation")
        for one in _more(ProcedureLine, number)
    )
    return f"procedures/{procedure.pk}/lines/"


def runs(world: World, number: int) -> str:
    for one in _more(VerificationRun, number):
        VerificationRun.objects.create(project=world.project, reason=f"Because {one}", asked_by=world.engineer)
    return "verification-runs/"


def changes(world: World, number: int) -> str:
    run, _ = VerificationRun.objects.get_or_create(project=world.project, reason="Because", asked_by=world.engineer)
    readings(world, number)
    for row in Reading.objects.exclude(verification_changes__run=run)[: number - run.changes.count()]:
        VerificationChange.objects.create(run=run, reading=row, verdict="reject")
    return f"verification-runs/{run.pk}/changes/"


def refused(world: World, number: int) -> str:
    now = timezone.now()
    OutboxItem.objects.bulk_create(
        OutboxItem(
            project=world.project, system=world.system, by=world.engineer, kind="reading", state="needs_you",
            refusal={}, made_at=now, device_at=now, received_at=now,
        )
        for _ in _more(OutboxItem, number)
    )  # fmt: skip
    return "outbox/"


def _more(model: Any, number: int) -> range:
    there = model._default_manager.count()
    return range(there, max(number, there))


def dossier_comments(world: World, number: int) -> str:
    """Every comment is on the punch list, so that the item behind each is read."""
    dossier = Dossier.objects.first() or ask_dossier(
        actor=world.manager, project=world.project, scope="system", system=world.system
    )
    for one in _more(DossierComment, number):
        item = raise_item(
            actor=world.engineer, system=world.system, stage=world.stages[0], category="C", text=f"Snag {one}"
        )
        DossierComment.objects.create(
            project=world.project,
            dossier=dossier,
            text=f"Comment {one}",
            by=world.client,
            at=timezone.now(),
            item=item,
            settled_by=world.engineer,
            settled_at=timezone.now(),
        )
    return f"dossiers/{dossier.pk}/comments/"


LISTS: tuple[Callable[[World, int], str], ...] = (
    systems, equipment, lines, readings, instruments, supplies, supply_changes, permissions, alarms, signals, members,
    sites, dependencies, audit, jobs, procedures, procedure_lines, runs, changes, refused,
    dossier_comments,
)  # fmt: skip
