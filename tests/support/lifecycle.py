"""Walks a system through its stages by the services alone, with readings that a sound 110 V VRLA system gives."""

from __future__ import annotations

from datetime import date, timedelta

from django.utils import timezone

from commissioning.models import (
    CheckLine,
    Equipment,
    Instrument,
    InstrumentRange,
    LineState,
    Stage,
    SupplyKind,
    SupplyPoint,
    User,
)
from commissioning.services import procedures, stages, supplies
from commissioning.services.instruments import add_calibration
from deploy.demo import walk
from deploy.demo.readings import sound_inputs
from deploy.demo.walk import Team
from tests.commissioning.dossier.sample import certificate
from tests.support.world import PASSWORD, World

NAMEPLATES = {
    "battery": {
        "cells": 54,
        "upper_cells": 27,
        "lower_cells": 27,
        "float_volts_per_cell": 2.27,
        "end_volts_per_cell": 1.8,
        "reference_temperature": 20,
        "temperature_coefficient": -0.003,
        "capacity_ah": 200,
        "capacity_hours": 10,
        "charge_current_limit_a": 40,
        "test_minutes": 480,
        "ohmic_baseline": 0.5,
        "closing_difference_max": 2,
    },
    "rectifier": {"current_limit_a": 105},
    "rectifier_module": {"module_current_a": 50, "rated_current_a": 50},
    "earth_fault_monitor": {"earth_fault_setting": 15},
    "cable": {
        "design_current_a": 50,
        "area_mm2": 25,
        "conductor_class": 2,
        "material": "cu",
        "line_per_km": 0.727,
        "protective_per_km": 0.727,
    },
}
EQUIPMENT = (
    ("battery", "B1"),
    ("rectifier", "T1"),
    ("rectifier_module", "T1-M1"),
    ("rectifier_module", "T1-M2"),
    ("earth_fault_monitor", "F1"),
    ("cable", "W1"),
    ("relay", "K1"),
    ("fuse_detector", "F2"),
)
SUPPLIES = (("Q1", SupplyKind.TEMPORARY), ("Q2", SupplyKind.BATTERY))


def equip(world: World) -> None:
    """Register, supply points and the project's procedure, laid out on the system's stages."""
    world.system.nameplate = {"nominal_voltage": 110, "ac_nominal_voltage": 400, "low_voltage_alarm": 105}
    world.system.save()
    for kind, tag in EQUIPMENT:
        Equipment.objects.create(
            project=world.project, system=world.system, tag=tag, kind=kind, nameplate=NAMEPLATES.get(kind, {})
        )
    for tag, kind in SUPPLIES:
        SupplyPoint.objects.create(system=world.system, tag=tag, kind=kind)
    procedure = procedures.copy_procedure(actor=world.manager, project=world.project, key=world.system.kind)
    procedures.apply_procedure(actor=world.manager, system=world.system, procedure=procedure)


def make_instrument(world: World, *, due_on: date | None = None) -> Instrument:
    """A multimeter with ranges for volts, millivolts and amps, in calibration unless `due_on` says otherwise."""
    instrument = Instrument.objects.create(project=world.project, serial_number="MM-4411", description="Multimeter")
    for unit, upper, resolution in (("V", 60, 0.001), ("V", 600, 0.01), ("A", 10, 0.001)):
        InstrumentRange.objects.create(
            instrument=instrument, unit=unit, upper=upper, percent_of_reading=0.05, counts=5, resolution=resolution
        )
    today = timezone.now().date()
    add_calibration(
        actor=world.manager,
        instrument=instrument,
        calibrated_on=(due_on or today) - timedelta(days=365),
        due_on=due_on or today + timedelta(days=180),
        certificate_number="C-2201",
        certificate=certificate("MM-4411"),
    )
    return instrument


def isolate_all(world: World, *, by: User | None = None) -> None:
    for number, supply in enumerate(world.system.supplies.order_by("tag"), start=1):
        supplies.isolate_supply(actor=by or world.engineer, supply=supply, lock_number=f"L{number}")


def permit_and_release(world: World, *, stage: Stage, tags: tuple[str, ...]) -> None:
    """The manager, authorised person, signs; the engineer releases."""
    named = list(world.system.supplies.filter(tag__in=tags))
    permission = supplies.sign_permission(
        signed_by=world.manager,
        stage=stage,
        supplies=named,
        valid_until=timezone.now() + timedelta(hours=12),
        password=PASSWORD,
    )
    for supply in named:
        if supply.state != "released":
            supplies.release_supply(actor=world.engineer, supply=supply, permission=permission)


def team(world: World) -> Team:
    """The world's people as the demo's walk wants them, without instruments."""
    people = (world.manager, world.engineer, world.second_engineer, world.client)
    return Team(*people, passwords={person.pk: PASSWORD for person in people})


def do_line(world: World, line: CheckLine) -> None:
    """Do one line soundly: proof of dead, result or reading, and the witness that it names."""
    walk.do_line(team(world), line)
    line.refresh_from_db()


def typed_for(line: CheckLine) -> dict[str, str]:
    return sound_inputs(line)


def do_stage(world: World, kind: str) -> Stage:
    """Start a stage and do all its lines; the gate is left to be signed."""
    stage = stages.start_stage(actor=world.engineer, stage=world.stage(kind))
    if kind == "energisation":
        permit_and_release(world, stage=stage, tags=("Q1",))
    if kind == "battery_connected":
        permit_and_release(world, stage=stage, tags=("Q1", "Q2"))
    for line in stage.lines.filter(retired_at__isnull=True).order_by("order"):
        if line.state == LineState.OPEN:
            do_line(world, line)
    return stage


def accept(world: World, kind: str, *, by: User | None = None) -> object:
    return stages.accept_stage(stage=world.stage(kind), signed_by=by or world.client, password=PASSWORD)
