"""Lines to be run through, with readings whose verdict is known from outside the product."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from uuid import uuid4

from django.utils import timezone

from commissioning.models import (
    Calibration,
    CheckLine,
    Instrument,
    InstrumentRange,
    Stage,
    SupplyPoint,
    VerificationChange,
)
from commissioning.services import verification
from commissioning.services.readings import record_reading
from commissioning.services.stages import start_stage
from tests.commissioning.views.plant import add_supply
from tests.support.world import World

SUPPLY_INPUTS = {
    "measured": {"kind": "measured", "label": "Voltage L1 to N", "unit": "V"},
    "nominal": {"kind": "value", "value": 230},
    "tolerance": {"kind": "value", "value": 10},
}


def started(world: World, kind: str = "mechanical_completion") -> Stage:
    """The stage in hand, its supply recorded isolated; nothing of the stages before it is asked."""
    if not world.system.supplies.exists():
        add_supply(world.system, isolated_by=world.engineer)
    stage = world.stage(kind)
    if stage.order == world.stages[0].order:
        return start_stage(actor=world.engineer, stage=stage)
    stage.state, stage.started_at, stage.started_by = "started", timezone.now(), world.engineer
    stage.save()
    return stage


def line_on(stage: Stage, **fields: Any) -> CheckLine:
    """A line at the end of the stage."""
    place = stage.lines.count() + 1
    given = {"key": f"line-{place}", "order": place, "title": f"Line number {place}", "work": "either", **fields}
    return CheckLine.objects.create(stage=stage, **given)


def supply_line(stage: Stage, **fields: Any) -> CheckLine:
    """A line that holds a voltage against 230 V ± 10 %: 207 V is accepted, 206.9 V is not."""
    given = {
        "title": "Prove the supply within tolerance",
        "calculation": "ac_supply_tolerance",
        "inputs": SUPPLY_INPUTS,
    }
    return line_on(stage, **{**given, **fields})


def meter(world: World, *, serial: str = "MM-4411", unit: str = "V", due_in: int = 180) -> Instrument:
    """A meter that shows up to 600 of the unit; its calibration is due in so many days."""
    instrument = Instrument.objects.create(project=world.project, serial_number=serial, description="Multimeter")
    InstrumentRange.objects.create(
        instrument=instrument, unit=unit, upper=600, percent_of_reading=0.05, counts=5, resolution=0.01
    )
    today = timezone.now().date()
    Calibration.objects.create(
        instrument=instrument, calibrated_on=today - timedelta(days=400), due_on=today + timedelta(days=due_in)
    )
    return instrument


def live(world: World) -> SupplyPoint:
    """The system's supply as one that is recorded released."""
    supply = world.system.supplies.get()
    supply.state = "released"
    supply.save()
    return supply


def changed_reading(world: World) -> VerificationChange:
    """An accepted reading that the project's tighter limit turns, found by a run."""
    line = supply_line(started(world))
    record_reading(actor=world.engineer, line=line, typed={"measured": "207.5"})
    line.inputs = {**SUPPLY_INPUTS, "tolerance": {"kind": "value", "value": 5}}
    line.save()
    run = verification.ask_verification(actor=world.engineer, project=world.project, reason="Tolerance is 5 %")
    change = next(iter(verification.changed_readings(run=run, readings=list(verification.readings_in_scope(run)))))
    change.save()
    run.job.state, run.finished_at, run.looked_at = "done", timezone.now(), 1
    run.job.save()
    run.save()
    return change


def key() -> str:
    """A key as the page makes one."""
    return str(uuid4())
