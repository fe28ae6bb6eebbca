"""Systems in different stages of completion, for pages to show. Everything in it is invented.

What is written here goes around the services, so the counters are counted anew after it.
"""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from commissioning.models import (
    AlarmSighting,
    CheckLine,
    CheckResult,
    Equipment,
    Site,
    Stage,
    SupplyChange,
    SupplyPoint,
    System,
    SystemKind,
    User,
)
from commissioning.services.counters import recount
from commissioning.services.stages import accept_stage, start_stage
from commissioning.services.supplies import isolate_supply
from punchlist.services.items import raise_item
from tests.support.world import PASSWORD, World, make_system


def add_lines(stage: Stage, count: int = 3, *, done: int = 0, by: User | None = None) -> list[CheckLine]:
    """Check lines on a stage; the first `done` of them are passed by somebody."""
    lines = [
        CheckLine.objects.create(stage=stage, key=f"line-{place}", order=place, title=f"Terminals tight, row {place}")
        for place in range(1, count + 1)
    ]
    pass_lines(lines[:done], by=by)
    recount([stage.system_id])
    return lines


def pass_lines(lines: list[CheckLine], *, by: User | None) -> None:
    """The lines as somebody's passed work."""
    for line in lines:
        line.state, line.done_at, line.done_by = "passed", timezone.now(), by
        line.save(update_fields=["state", "done_at", "done_by"])
        CheckResult.objects.create(line=line, outcome="passed", by=by, at=timezone.now())
    recount({line.stage.system_id for line in lines})


def add_supply(
    system: System, *, tag: str = "Q1", kind: str = "incomer", isolated_by: User | None = None
) -> SupplyPoint:
    """A supply point; recorded isolated when somebody did it."""
    supply = SupplyPoint.objects.create(system=system, tag=tag, kind=kind, description="from LV board BFA10")
    if isolated_by:
        isolate_supply(actor=isolated_by, supply=supply, lock_number="L-204")
        supply.refresh_from_db()
    recount([system.pk])
    return supply


def record_live(supply: SupplyPoint, *, by: User) -> SupplyPoint:
    """The supply as one that was released earlier, without a permission that still stands."""
    at = timezone.now() - timedelta(hours=3)
    supply.state, supply.lock_number, supply.changed_at, supply.changed_by = "released", "", at, by
    supply.save()
    SupplyChange.objects.create(supply=supply, state="released", by=by, at=at)
    recount([supply.system_id])
    return supply


def ready_to_accept(world: World, system: System | None = None) -> Stage:
    """The system's first stage, started, all of its work done by the engineer: nothing holds it."""
    stage = (system or world.system).stages.order_by("order").first()
    add_lines(stage, 3, done=3, by=world.engineer)
    if not stage.system.supplies.exists():
        add_supply(stage.system, isolated_by=world.engineer)
    return start_stage(actor=world.engineer, stage=stage)


def accepted(world: World, system: System | None = None) -> Stage:
    """The system's first stage, accepted by the client."""
    stage = ready_to_accept(world, system)
    accept_stage(stage=stage, signed_by=world.client, password=PASSWORD, remark="Seen and agreed.")
    stage.refresh_from_db()
    return stage


def energising(world: World) -> Stage:
    """The system with its dead stages accepted and energisation started; its supply is isolated."""
    accepted(world)
    second = world.stage("pre_energisation")
    add_lines(second, 2, done=2, by=world.engineer)
    start_stage(actor=world.engineer, stage=second)
    accept_stage(stage=second, signed_by=world.client, password=PASSWORD)
    third = world.stage("energisation")
    add_lines(third, 2)
    return start_stage(actor=world.engineer, stage=third)


def add_equipment(system: System, tag: str, **fields: object) -> Equipment:
    return Equipment.objects.create(project=system.project, system=system, tag=tag, **fields)


def add_systems(world: World, count: int) -> list[System]:
    """Systems over three sites with lines, supplies, alarms and punch items, in different stages."""
    names = (("TTW", "Tarnholt Treatment Works"), ("VOF", "Vexley Outfall"))
    sites = [world.site]
    for code, name in names:
        sites.append(Site.objects.get_or_create(project=world.project, code=code, defaults={"name": name})[0])
    found = []
    for number in range(count):
        site = sites[number % 3]
        kind = (SystemKind.DC_POWER_VRLA, SystemKind.LV_BOARD, SystemKind.UPS)[number % 3]
        system = make_system(site=site, tag=f"GU{number:03d}", kind=kind, name="Station supply")
        stage = system.stages.first()
        equipment = add_equipment(system, f"GU{number:03d}-Q1", description="main switch")
        add_supply(system, isolated_by=world.engineer if number % 2 else None)
        if number % 4:
            add_lines(stage, 4, done=number % 4, by=world.engineer)
            start_stage(actor=world.engineer, stage=stage)
            seen = {"seen_by": world.engineer, "seen_at": timezone.now()}
            AlarmSighting.objects.create(system=system, stage=stage, text="Battery fuse open", **seen)
        raise_item(
            actor=world.client,
            system=system,
            stage=stage,
            category="ABC"[number % 3],
            text="Gland plate loose",
            equipment=equipment,
        )
        found.append(system)
    recount([system.pk for system in found])
    return found
