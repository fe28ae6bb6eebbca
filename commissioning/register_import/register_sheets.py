"""The keepers of the register's own sheets, and those that settings add to them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.conf import settings
from django.db.models import QuerySet
from django.utils.module_loading import import_string

from commissioning.models import (
    Calibration,
    Equipment,
    Instrument,
    InstrumentRange,
    Project,
    SignalPoint,
    Site,
    Stage,
    StageDependency,
    SupplyPoint,
    System,
)
from commissioning.selectors.access import Access
from commissioning.services.instruments import refresh_calibration_of_readings
from commissioning.services.stages import lay_out_stages

from . import sheets
from .checks import CHECKS
from .keepers import CHUNK, Keeper, ModelKeeper, PlannedRow, Work, chunks
from .plan import SheetPlan


@dataclass(frozen=True)
class SystemKeeper(ModelKeeper):
    """A new system gets the stages of its kind at once."""

    def write(self, *, work: Work, plan: SheetPlan) -> None:
        super().write(work=work, plan=plan)
        new = [planned.pk for planned in plan.added if planned.pk]
        for some in chunks(new, CHUNK):
            for system in System.objects.filter(pk__in=some):
                system.project = work.project
                lay_out_stages(system)


@dataclass(frozen=True)
class EquipmentKeeper(ModelKeeper):
    """Equipment that gets a new tag keeps the one it had among its former tags."""

    def change(self, work: Work, some: Sequence[PlannedRow]) -> None:
        for planned in some:
            if "tag" in planned.changes:
                old, _ = planned.changes["tag"]
                was, now = planned.changes.get("former_tags", ((), planned.values.get("former_tags")))
                planned.changes["former_tags"] = (was, tuple(dict.fromkeys((*(now or ()), old))))
        super().change(work, some)


@dataclass(frozen=True)
class DependencyKeeper(ModelKeeper):
    """A dependency joins two stages, which the systems' sheet has laid out by now."""

    def write(self, *, work: Work, plan: SheetPlan) -> None:
        stages = _stages(work) if plan.added else {}
        for some in chunks(plan.added, CHUNK):
            StageDependency.objects.bulk_create(
                StageDependency(
                    stage_id=stages[planned.values["system"], planned.values["stage"]],
                    requires_id=stages[planned.values["requires_system"], planned.values["requires_stage"]],
                )
                for planned in some
            )
            work.wrote(len(some))


def _stages(work: Work) -> dict[tuple[str, str], UUID]:
    """Every stage by its system's tag and its kind, those laid out by this import among them."""
    found = Stage.objects.filter(system__project=work.project).values_list("system__tag", "kind", "pk")
    return {(tag, kind): pk for tag, kind, pk in found.iterator(chunk_size=2000)}


@dataclass(frozen=True)
class PlanKeeper(ModelKeeper):
    """A planned date is a field of a stage, which the systems' sheet has laid out by now."""

    def rows(self, *, project: Project, access: Access | None) -> QuerySet[Any]:
        """For an import every stage, for an export those that have a date."""
        found = super().rows(project=project, access=access)
        return found.filter(planned_for__isnull=False) if access else found

    def write(self, *, work: Work, plan: SheetPlan) -> None:
        stages = _stages(work) if plan.added else {}
        for planned in plan.added:
            planned.pk = stages[planned.values["system"], planned.values["stage"]]
        dates = [(one.pk, one.values.get("planned_for")) for one in plan.added]
        dates += [(one.pk, one.changes["planned_for"][1]) for one in plan.changed]
        for some in chunks(dates, CHUNK):
            rows = [Stage(pk=pk, planned_for=planned_for) for pk, planned_for in some if pk]
            Stage.objects.bulk_update(rows, ["planned_for"], batch_size=200)
            work.wrote(len(some))


@dataclass(frozen=True)
class CalibrationKeeper(ModelKeeper):
    """A calibration decides anew whether readings were taken with an instrument that was in calibration."""

    def write(self, *, work: Work, plan: SheetPlan) -> None:
        super().write(work=work, plan=plan)
        instruments = work.ids["instruments"]
        touched = {instruments[(row.values["instrument"],)] for row in (*plan.added, *plan.changed)}
        for some in chunks(touched, CHUNK):
            for instrument in Instrument.objects.filter(pk__in=some, readings__isnull=False).distinct():
                refresh_calibration_of_readings(instrument=instrument)


OWN: tuple[Keeper, ...] = (
    ModelKeeper(sheets.SITES, Site, site_path="", order=("code",)),
    SystemKeeper(
        sheets.SYSTEMS,
        System,
        CHECKS["systems"],
        paths={"site": "site__code"},
        site_path="site",
        order=("site__code", "tag"),
    ),
    EquipmentKeeper(
        sheets.EQUIPMENT,
        Equipment,
        CHECKS["equipment"],
        paths={"system": "system__tag", "parent": "parent__tag"},
        site_path="system__site",
        order=("system__tag", "tag"),
    ),
    DependencyKeeper(
        sheets.DEPENDENCIES,
        StageDependency,
        CHECKS["stage_dependencies"],
        paths={
            "system": "stage__system__tag",
            "stage": "stage__kind",
            "requires_system": "requires__system__tag",
            "requires_stage": "requires__kind",
        },
        project_path="stage__system__project",
        site_path="stage__system__site",
        order=("stage__system__tag", "stage__order", "requires__system__tag", "requires__order"),
    ),
    PlanKeeper(
        sheets.PLAN_DATES,
        Stage,
        CHECKS["plan_dates"],
        paths={"system": "system__tag", "stage": "kind"},
        project_path="system__project",
        site_path="system__site",
        order=("system__site__code", "system__tag", "order"),
    ),
    ModelKeeper(
        sheets.SUPPLY_POINTS,
        SupplyPoint,
        paths={"system": "system__tag"},
        project_path="system__project",
        site_path="system__site",
        order=("system__tag", "tag"),
    ),
    ModelKeeper(
        sheets.SIGNAL_POINTS,
        SignalPoint,
        CHECKS["signal_points"],
        paths={"system": "system__tag", "equipment": "equipment__tag"},
        project_path="system__project",
        site_path="system__site",
        order=("system__tag", "order", "tag"),
    ),
    ModelKeeper(sheets.INSTRUMENTS, Instrument, settled_field="retired_at", order=("serial_number",)),
    ModelKeeper(
        sheets.RANGES,
        InstrumentRange,
        CHECKS["instrument_ranges"],
        paths={"instrument": "instrument__serial_number"},
        project_path="instrument__project",
        settled_field="instrument__retired_at",
        order=("instrument__serial_number", "unit", "upper", "lower"),
    ),
    CalibrationKeeper(
        sheets.CALIBRATIONS,
        Calibration,
        CHECKS["calibrations"],
        paths={"instrument": "instrument__serial_number"},
        project_path="instrument__project",
        settled_field="withdrawn_at",
        order=("instrument__serial_number", "calibrated_on"),
    ),
)


def keepers() -> tuple[Keeper, ...]:
    """The register's own sheets, then those that settings name."""
    return (*OWN, *(import_string(path) for path in getattr(settings, "REGISTER_SHEETS", ())))
