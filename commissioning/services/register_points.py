"""Supply points, signal points, instruments and their ranges: created and changed."""

from __future__ import annotations

from uuid import UUID

from commissioning.errors import InvalidInput
from commissioning.models import (
    Direction,
    Equipment,
    Instrument,
    InstrumentRange,
    Project,
    SignalPoint,
    StageKind,
    SupplyPoint,
    System,
    User,
)
from commissioning.register_import import sheets
from commissioning.rules.gate_parts import SIGNALS, SUPPLIES
from commissioning.rules.stages import STAGE_WORDS
from commissioning.services.locks import lock_project, lock_system
from commissioning.services.permissions import WORKERS, require
from commissioning.services.register_common import (
    KEEP,
    Keep,
    already_added,
    clean,
    refuse_taken,
    save_changes,
    save_new,
)
from commissioning.services.state_change import state_change
from commissioning.services.verification import verify_what_it_touches


@state_change()
def create_supply_point(
    *, actor: User, system: System, tag: str, kind: str, description: str = "", id: UUID | None = None
) -> SupplyPoint:
    """A way in for energy. It starts as not recorded, which reads: treat as LIVE."""
    values = clean(sheets.SUPPLY_POINTS, {"tag": tag, "kind": kind, "description": description})
    if found := already_added(SupplyPoint, id, system_id=system.pk, **values):
        return found
    system = lock_system(system.pk)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="add a supply point")
    refuse_taken(SupplyPoint, field="tag", system=system, tag=values["tag"])
    supply = SupplyPoint(system=system, **values)
    return save_new(
        supply, project=system.project, actor=actor, action="supply_added", touches={SUPPLIES}, system=system.pk, id=id
    )


@state_change()
def change_supply_point(
    *,
    actor: User,
    supply: SupplyPoint,
    tag: str | Keep = KEEP,
    kind: str | Keep = KEEP,
    description: str | Keep = KEEP,
) -> SupplyPoint:
    """Change what a supply point is called. Isolation and release are recorded elsewhere, never here."""
    system = lock_system(supply.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="change a supply point")
    values = clean(sheets.SUPPLY_POINTS, {"tag": tag, "kind": kind, "description": description})
    supply = SupplyPoint.objects.get(pk=supply.pk)
    if "tag" in values:
        refuse_taken(SupplyPoint, field="tag", except_pk=supply.pk, system=system, tag=values["tag"])
    return save_changes(
        supply,
        values,
        project=system.project,
        actor=actor,
        action="supply_changed",
        touches={SUPPLIES},
        system=system.pk,
    )


@state_change()
def create_signal_point(
    *,
    actor: User,
    system: System,
    tag: str,
    description: str,
    direction: str = Direction.OUTPUT,
    stage_kind: str = StageKind.ENERGISATION,
    equipment: Equipment | None = None,
    far_end: str = "",
    order: int = 0,
    id: UUID | None = None,
) -> SignalPoint:
    """A signal to be proved end to end in one of the system's stages."""
    typed = {"tag": tag, "description": description, "direction": direction, "stage_kind": stage_kind}
    values = clean(sheets.SIGNAL_POINTS, {**typed, "far_end": far_end, "order": order})
    if found := already_added(
        SignalPoint, id, system_id=system.pk, equipment_id=equipment.pk if equipment else None, **values
    ):
        return found
    system = lock_system(system.pk)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="add a signal point")
    refuse_taken(SignalPoint, field="tag", system=system, tag=values["tag"])
    _check_place(system, values["stage_kind"], equipment)
    point = SignalPoint(system=system, equipment=equipment, **values)
    return save_new(
        point, project=system.project, actor=actor, action="signal_added", touches={SIGNALS}, system=system.pk, id=id
    )


@state_change()
def change_signal_point(
    *,
    actor: User,
    point: SignalPoint,
    tag: str | Keep = KEEP,
    description: str | Keep = KEEP,
    direction: str | Keep = KEEP,
    stage_kind: str | Keep = KEEP,
    equipment: Equipment | Keep | None = KEEP,
    far_end: str | Keep = KEEP,
    order: int | Keep = KEEP,
) -> SignalPoint:
    system = lock_system(point.system_id)
    require(actor=actor, project=system.project, roles=WORKERS, site=system.site_id, to="change a signal point")
    typed = {"tag": tag, "description": description, "direction": direction, "stage_kind": stage_kind}
    values = clean(sheets.SIGNAL_POINTS, {**typed, "far_end": far_end, "order": order})
    point = SignalPoint.objects.select_related("equipment").get(pk=point.pk)
    if "tag" in values:
        refuse_taken(SignalPoint, field="tag", except_pk=point.pk, system=system, tag=values["tag"])
    belongs = point.equipment if equipment is KEEP else equipment
    _check_place(system, values.get("stage_kind", point.stage_kind), belongs)
    values["equipment_id"] = belongs.pk if belongs else None
    return save_changes(
        point, values, project=system.project, actor=actor, action="signal_changed", touches={SIGNALS}, system=system.pk
    )


def _check_place(system: System, stage_kind: str, equipment: Equipment | None) -> None:
    if equipment and equipment.project_id != system.project_id:
        raise InvalidInput({"equipment": "Choose equipment of this project."})
    stages = list(system.stages.order_by("order").values_list("kind", flat=True))
    if stages and stage_kind not in stages:
        words = ", ".join(STAGE_WORDS[kind] for kind in stages)
        raise InvalidInput({"stage_kind": f"{system.tag} has these stages: {words}."})


@state_change()
def create_instrument(
    *,
    actor: User,
    project: Project,
    serial_number: str,
    description: str,
    maker: str = "",
    model: str = "",
    id: UUID | None = None,
) -> Instrument:
    """An instrument by its serial number; ranges and calibrations are added to it."""
    typed = {"serial_number": serial_number, "description": description, "maker": maker, "model": model}
    values = clean(sheets.INSTRUMENTS, typed)
    if found := already_added(Instrument, id, project_id=project.pk, **values):
        return found
    project = lock_project(project.pk)
    require(actor=actor, project=project, roles=WORKERS, site=None, to="add an instrument")
    refuse_taken(Instrument, field="serial_number", project=project, serial_number=values["serial_number"])
    instrument = Instrument(project=project, **values)
    return save_new(instrument, project=project, actor=actor, action="instrument_added", id=id)


@state_change()
def change_instrument(
    *,
    actor: User,
    instrument: Instrument,
    serial_number: str | Keep = KEEP,
    description: str | Keep = KEEP,
    maker: str | Keep = KEEP,
    model: str | Keep = KEEP,
) -> Instrument:
    project = lock_project(instrument.project_id)
    require(actor=actor, project=project, roles=WORKERS, site=None, to="change an instrument")
    typed = {"serial_number": serial_number, "description": description, "maker": maker, "model": model}
    values = clean(sheets.INSTRUMENTS, typed)
    instrument = Instrument.objects.get(pk=instrument.pk)
    if "serial_number" in values:
        same = {"project": project, "serial_number": values["serial_number"]}
        refuse_taken(Instrument, field="serial_number", except_pk=instrument.pk, **same)
    return save_changes(instrument, values, project=project, actor=actor, action="instrument_changed")


_ACCURACY = (
    "percent_of_reading",
    "percent_of_range",
    "counts",
    "resolution",
    "temperature_coefficient",
    "calibration_uncertainty",
)


@state_change()
def add_range(
    *,
    actor: User,
    instrument: Instrument,
    unit: str,
    upper: float | str,
    lower: float | str = 0,
    id: UUID | None = None,
    **accuracy: float | str,
) -> InstrumentRange:
    """A range with its accuracy as the maker states it; `accuracy` names fields of InstrumentRange."""
    _check_accuracy(accuracy)
    values = clean(sheets.RANGES, {"unit": unit, "lower": lower, "upper": upper, **accuracy})
    values = {name: value for name, value in values.items() if value != ""}
    if found := already_added(InstrumentRange, id, instrument_id=instrument.pk, **values):
        return found
    project = lock_project(instrument.project_id)
    require(actor=actor, project=project, roles=WORKERS, site=None, to="add a range to an instrument")
    _check_ends(values["lower"], values["upper"])
    same = {"instrument": instrument, "unit": values["unit"], "lower": values["lower"], "upper": values["upper"]}
    refuse_taken(InstrumentRange, field="upper", **same)
    one = InstrumentRange(instrument=instrument, **values)
    return save_new(one, project=project, actor=actor, action="range_added", id=id)


@state_change()
def change_range(*, actor: User, range: InstrumentRange, **accuracy: float | str) -> InstrumentRange:
    """Change a range's accuracy. Readings keep what they were verified with; what changes is listed for a manager."""
    _check_accuracy(accuracy)
    project = lock_project(range.instrument.project_id)
    require(actor=actor, project=project, roles=WORKERS, site=None, to="change a range of an instrument")
    values = {name: value or 0 for name, value in clean(sheets.RANGES, accuracy).items()}
    range = InstrumentRange.objects.select_related("instrument").get(pk=range.pk)
    if all(getattr(range, name) == value for name, value in values.items()):
        return range
    range = save_changes(range, values, project=project, actor=actor, action="range_changed")
    verify_what_it_touches(
        actor=actor,
        project=project,
        reason=f"Accuracy of {range} changed",
        scope={"instrument": str(range.instrument_id)},
    )
    return range


def _check_accuracy(accuracy: dict[str, float | str]) -> None:
    if unknown := set(accuracy) - set(_ACCURACY):
        raise InvalidInput({name: "This is no part of a range's accuracy." for name in sorted(unknown)})


def _check_ends(lower: float, upper: float) -> None:
    if upper <= lower:
        raise InvalidInput({"upper": f"The upper end {upper:g} is not above the lower end {lower:g}."})
