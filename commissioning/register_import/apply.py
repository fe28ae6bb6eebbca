"""Planning and applying an import: read, compare, then all or nothing in one transaction."""

from __future__ import annotations

from pathlib import Path
from typing import IO, Any

from django.db import IntegrityError
from django.utils import timezone

from commissioning.errors import Conflict, NotAllowed, ServiceError
from commissioning.models import Project, Stage, User
from commissioning.rules.stages import stage_plan
from commissioning.selectors.access import Access
from commissioning.services.audit import record
from commissioning.services.locks import lock_project
from commissioning.services.permissions import MANAGERS, require
from commissioning.services.state_change import state_change, touch
from commissioning.services.verification import verify_what_it_touches

from .keepers import Keeper, Work
from .plan import Plan, SheetPlan, build_plan
from .reading import Progress, no_progress, read_upload
from .recorded import RecordedSheet, Register
from .register_sheets import keepers
from .rows import Workbook
from .touched import touched_systems

ACTION = "register_imported"

#: Sheets whose values readings are judged by.
JUDGED_BY = ("systems", "equipment", "instrument_ranges")


class HasProblems(ServiceError):
    """The plan has problems, so nothing was written; `plan` says where and what would be right."""

    def __init__(self, plan: Plan) -> None:
        count = len(plan.problems)
        rows = f"{count} {'row needs' if count == 1 else 'places need'} correcting"
        super().__init__(f"Nothing was imported: {rows}. First: {plan.problems[0].words}")
        self.plan = plan


def require_importer(*, actor: User, project: Project) -> Access:
    """A manager of every site: a workbook can reach all of them."""
    access = require(actor=actor, project=project, roles=MANAGERS, site=None, to="import the register")
    if access.site_ids is not None:
        raise NotAllowed("You are a manager of some sites only. A manager of all the project's sites can import.")
    return access


def plan_import(*, access: Access, file: IO[bytes] | Path, name: str, progress: Progress = no_progress) -> Plan:
    """What importing the file would do. Writes nothing. Raises `Unreadable` when the file cannot be taken."""
    require_importer(actor=access.user, project=access.project)
    workbook = read_upload(file=file, name=name, sheets=[keeper.sheet for keeper in keepers()], progress=progress)
    return plan_workbook(project=access.project, workbook=workbook, progress=progress)


def plan_workbook(*, project: Project, workbook: Workbook, progress: Progress = no_progress) -> Plan:
    progress(0, workbook.row_count, "comparing with the register")
    every = keepers()
    return build_plan(
        workbook=workbook,
        register=load_register(project=project, every=every),
        checks={keeper.sheet.name: keeper.checks for keeper in every},
    )


def load_register(*, project: Project, every: tuple[Keeper, ...]) -> Register:
    """Everything recorded, one query a sheet and one for the stages."""
    stages: dict[str, list[str]] = {}
    found = Stage.objects.filter(system__project=project).order_by("system__tag", "order")
    for tag, kind in found.values_list("system__tag", "kind").iterator(chunk_size=2000):
        stages.setdefault(tag, []).append(kind)
    return Register(
        sheets={
            keeper.sheet.name: RecordedSheet(keeper.sheet, keeper.recorded(project=project, access=None))
            for keeper in every
        },
        stages=stages,
        plan_for=lambda kind: stage_plan(kind, project.stage_plans),
    )


@state_change()
def apply_plan(*, access: Access, plan: Plan, name: str = "", progress: Progress = no_progress) -> Plan:
    """Do what the plan says, all of it or nothing. The plan is made again under the project's lock:

    where the register has moved on so that it would do something else, Conflict, and nothing is written.
    """
    project = lock_project(access.project.pk)
    require_importer(actor=access.user, project=project)
    fresh = plan_workbook(project=project, workbook=plan.workbook, progress=progress)
    _refuse_other_work(fresh, agreed=plan.digest)
    return _write(project=project, actor=access.user, plan=fresh, name=name, progress=progress)


@state_change()
def import_workbook(
    *,
    actor: User,
    project: Project,
    workbook: Workbook,
    name: str = "",
    digest: str = "",
    progress: Progress = no_progress,
) -> Plan:
    """Plan and apply in one transaction. With the digest of a plan that somebody agreed to, only that is done."""
    project = lock_project(project.pk)
    require_importer(actor=actor, project=project)
    plan = plan_workbook(project=project, workbook=workbook, progress=progress)
    _refuse_other_work(plan, agreed=digest)
    return _write(project=project, actor=actor, plan=plan, name=name, progress=progress)


def _refuse_other_work(plan: Plan, *, agreed: str) -> None:
    """What nobody has looked at is not done. A plan that was carried out already has nothing left to do."""
    if agreed and plan.can_apply and not plan.changes_nothing and plan.digest != agreed:
        raise Conflict("The register was changed since this was looked at. Look at what would change now, then import.")


def _write(*, project: Project, actor: User, plan: Plan, name: str, progress: Progress) -> Plan:
    if plan.problems:
        raise HasProblems(plan)
    if plan.changes_nothing:
        return plan
    work = Work(project=project, actor=actor, at=timezone.now(), ids=_recorded_ids(plan))
    total = sum(len(sheet.added) + len(sheet.changed) for sheet in plan.sheets.values())
    done = 0
    try:
        for keeper in keepers():
            sheet = plan.sheets.get(keeper.sheet.name)
            if sheet and (sheet.added or sheet.changed):
                work.wrote = _counter(progress, done, total, f"writing {sheet.sheet.title}")
                keeper.write(work=work, plan=sheet)
                done += len(sheet.added) + len(sheet.changed)
    except IntegrityError as error:
        raise Conflict(
            "Somebody changed the same part of the register just now. Nothing was imported; try again."
        ) from error
    _record(project=project, actor=actor, plan=plan, name=name)
    touch(*touched_systems(work=work, plan=plan))
    if any(plan.sheets[sheet].changed for sheet in JUDGED_BY if sheet in plan.sheets):
        reason = f"Register import of {name or 'a workbook'}"
        verify_what_it_touches(actor=actor, project=project, reason=reason, scope={})
    return plan


def _counter(progress: Progress, before: int, total: int, words: str) -> Any:
    done = before

    def wrote(count: int) -> None:
        nonlocal done
        done += count
        progress(done, total, words)

    return wrote


def _recorded_ids(plan: Plan) -> dict[str, dict[Any, Any]]:
    return {
        name: {key: one.pk for key, one in recorded.by_key.items()} for name, recorded in plan.register.sheets.items()
    }


def _record(*, project: Project, actor: User, plan: Plan, name: str) -> None:
    """One entry in the audit chain for the whole import, with every object that it added or changed."""
    added = sum(len(sheet.added) for sheet in plan.sheets.values())
    changed = sum(len(sheet.changed) for sheet in plan.sheets.values())
    data = {sheet.sheet.name: _objects(sheet) for sheet in plan.sheets.values() if sheet.added or sheet.changed}
    record(
        project=project,
        actor=actor,
        action=ACTION,
        on=project,
        words=f"Imported the register{f' from {name}' if name else ''}: {added} added, {changed} changed.",
        data={"file": name, "sheets": data},
    )


def _objects(sheet: SheetPlan) -> dict[str, Any]:
    return {
        "added": [{"id": one.pk, "label": one.label, "values": one.values} for one in sheet.added],
        "changed": [{"id": one.pk, "label": one.label, "changes": one.changes} for one in sheet.changed],
    }
