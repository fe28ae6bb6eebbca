"""One record of every kind that has a page, in one small project: what checks over all pages walk through."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from io import BytesIO
from typing import Any
from uuid import UUID

from django.utils import timezone

from commissioning.models import (
    CheckLine,
    Reading,
    Role,
    Site,
    Stage,
    User,
    VerificationChange,
)
from commissioning.register_import.uploads import look_at_upload
from commissioning.services import (
    alarms,
    concessions,
    dependencies,
    dossiers,
    invitations,
    job_runs,
    notices,
    procedures,
    readings,
    recordings,
    register_points,
    signals,
    verification,
    witnessing,
)
from commissioning.services.instruments import add_calibration
from commissioning.services.supplies import sign_permission
from punchlist.models import PunchItem
from punchlist.services import items, photos, views
from punchlist.services.comments import comment_on_dossier
from tests.commissioning.views.plant import add_equipment, energising, pass_lines
from tests.commissioning.views.run_plant import SUPPLY_INPUTS, meter, supply_line
from tests.punchlist.making import picture
from tests.support.books import GOOD, xlsx
from tests.support.logs import discharge_test
from tests.support.world import PASSWORD, World, make_member, make_system, make_user

CERTIFICATE = b"%PDF-1.4\n1 0 obj\n<<>>\nendobj\ntrailer\n<<>>\n%%EOF\n"


@dataclass(frozen=True)
class Records:
    """The world, who else there is, and the key of each record by its kind."""

    world: World
    visitor: User  # a manager, but of another site only
    keys: dict[str, Any]


def one_of_each(world: World, *, finish: Callable[[UUID], object] = job_runs.run) -> Records:
    """A system in its energisation, with something of everything on record; `finish` sees to a job in hand."""
    elsewhere = Site.objects.create(project=world.project, code="VOF", name="Vexley Outfall")
    visitor = make_user(username=f"visitor-{world.project.code}", name="Una Threlkeld")
    make_member(project=world.project, user=visitor, role=Role.MANAGER, sites=[elsewhere])
    stage = energising(world)
    keys: dict[str, Any] = {"site": world.site.pk, "system": world.system.pk, "stage": stage.pk}
    keys |= _plant(world, stage) | _lines(world, stage) | _signs(world, stage) | _measuring(world)
    keys |= _punch_list(world, stage) | _project(world) | _papers(world, finish)
    return Records(world, visitor, keys)


def _plant(world: World, stage: Stage) -> dict[str, Any]:
    equipment = add_equipment(world.system, "GUB10-T1", description="rectifier cabinet", kind="rectifier")
    supply = world.system.supplies.get()
    permission = sign_permission(
        signed_by=world.manager,
        stage=stage,
        supplies=[supply],
        valid_until=timezone.now() + timedelta(hours=4),
        password=PASSWORD,
        precautions="Room barred off.",
    )
    return {"equipment": equipment.pk, "tag": equipment.tag, "supply": supply.pk, "permission": permission.pk}


def _lines(world: World, stage: Stage) -> dict[str, Any]:
    """An open line, a failed one with its concession, and a reading that comes out otherwise when verified again."""
    pass_lines(list(stage.lines.all()), by=world.engineer)
    failed = supply_line(stage, key="failed", order=11, title="Supply at the far end of the board")
    readings.record_reading(actor=world.engineer, line=failed, typed={"measured": "206.9"})
    failed.refresh_from_db()
    concession = concessions.sign_concession(
        signed_by=world.manager, line=failed, reason="Measured under a test load.", password=PASSWORD
    )
    measured = supply_line(stage, key="measured", order=13)
    readings.record_reading(actor=world.engineer, line=measured, typed={"measured": "207.5"})
    change = verified_otherwise(world, measured)
    line = supply_line(stage, key="open", order=12, title="Supply at the incomer")
    announced = supply_line(stage, key="announced", order=14, title="Supply at the far end, witnessed")
    announced.point, announced.party = "witness", Role.CLIENT
    announced.save()
    tomorrow = timezone.now() + timedelta(days=1)
    notice = witnessing.give_notice(actor=world.engineer, line=announced, planned_for=tomorrow)
    return {
        "line": line.pk,
        "witness_notice": notice.pk,
        "failed_line": failed.pk,
        "measured_line": measured.pk,
        "concession": concession.pk,
        "change": change.pk,
        "run": change.run_id,
        "job": change.run.job_id,
    }


def verified_otherwise(world: World, line: CheckLine) -> VerificationChange:
    """A run in which the line's reading comes out otherwise, because its tolerance was tightened."""
    line.inputs = {**SUPPLY_INPUTS, "tolerance": {"kind": "value", "value": 5}}
    line.save()
    run = verification.ask_verification(
        actor=world.engineer, project=world.project, reason="Tolerance is 5 %", scope={"line": str(line.pk)}
    )
    standing = list(Reading.objects.filter(line=line, superseded_at__isnull=True))
    change = next(iter(verification.changed_readings(run=run, readings=standing)))
    change.save()
    run.job.state, run.finished_at, run.looked_at = "done", timezone.now(), 1
    run.job.save()
    run.save()
    return change


def _signs(world: World, stage: Stage) -> dict[str, Any]:
    """An alarm that nobody has explained, and a signal point that stands forced."""
    alarm = alarms.log_alarm(actor=world.engineer, stage=stage, text="EARTH FAULT")
    point = register_points.create_signal_point(
        actor=world.manager,
        system=world.system,
        tag="GUB10-K1",
        description="common alarm",
        direction="output",
        stage_kind=stage.kind,
        far_end="station controller DI 3/1",
    )
    proof = signals.force_signal(actor=world.engineer, point=point)
    return {"alarm": alarm.pk, "signal": point.pk, "proof": proof.pk}


def _measuring(world: World) -> dict[str, Any]:
    today = timezone.now().date()
    instrument = meter(world)
    calibration = add_calibration(
        actor=world.manager,
        instrument=instrument,
        calibrated_on=today - timedelta(days=30),
        due_on=today + timedelta(days=335),
        certificate_number="C-25-0417",
        certificate=CERTIFICATE,
    )
    procedure = procedures.copy_procedure(actor=world.manager, project=world.project, key=world.system.kind, version=1)
    return {
        "instrument": instrument.pk,
        "range": instrument.ranges.get().pk,
        "calibration": calibration.pk,
        "procedure": procedure.pk,
        "procedure_line": procedure.lines.order_by("order").first().pk,
    }


def _punch_list(world: World, stage: Stage) -> dict[str, Any]:
    item: PunchItem = items.raise_item(
        actor=world.client, system=world.system, stage=stage, category="B", text="Label missing on way 7"
    )
    photo = photos.add_photo(actor=world.client, item=item, file=picture(), caption="Way 7")
    view = views.save_view(
        actor=world.manager, project=world.project, name="category B", query="category=B", shared=True
    )
    assigned = items.assign_items(actor=world.manager, project=world.project, items=[item.pk], owes=world.engineer)
    return {"item": item.pk, "number": item.number, "photo": photo.pk, "view": view.pk, "batch": assigned.batch}


def _project(world: World) -> dict[str, Any]:
    """A member, a stage that waits for another, and a register that was looked at."""
    board = make_system(site=world.site, tag="BFA10", kind="lv_board", name="LV board")
    dependency = dependencies.add_dependency(
        actor=world.manager, stage=world.stage("battery_connected"), requires=board.stages.get(kind="energisation")
    )
    plan = look_at_upload(actor=world.manager, project=world.project, file=xlsx(GOOD), name="register.xlsx")
    member = world.project.memberships.get(user=world.second_engineer)
    invitation = invitations.invite(
        actor=world.manager, project=world.project, email="hollis@pellwick.example", role=Role.FIELD_ENGINEER
    )
    news = notices.News("gate", "a gate", "GUB10: mechanical completion was accepted.", "site", world.site.pk)
    notices.tell(news, project=world.project, people=[world.manager.pk])
    notice = world.project.memberships.get(user=world.manager).notices.get(key="a gate")
    return {
        "dependency": dependency.pk,
        "plan": plan.pk,
        "member": member.pk,
        "invitation": invitation.pk,
        "notice": notice.pk,
    }


def _papers(world: World, finish: Callable[[UUID], object]) -> dict[str, Any]:
    """A log that was read, and a dossier that was built."""
    log = discharge_test(cells=2, hours=1, interval=60, amperes=20).frame().write_csv().encode()
    recording = recordings.upload_recording(
        actor=world.engineer, system=world.system, file=BytesIO(log), name="synthetic.csv"
    )
    recording = recordings.confirm_columns(
        actor=world.engineer,
        recording=recording,
        column_map=recording.column_map,
        inputs={"temperature": "20", "cells": "2", "end_voltage_per_cell": "1.8", "rated_hours": "1"},
        instruments={},
    )
    recordings.read_now_if_small(recording)
    dossier = dossiers.ask_dossier(actor=world.client, project=world.project, scope="system", system=world.system)
    finish(dossier.job_id)
    dossier.refresh_from_db()
    assert dossier.built_at, dossier.job.error
    comment = comment_on_dossier(actor=world.client, dossier=dossier, text="Page 4 names no torque")
    return {"recording": recording.pk, "dossier": dossier.pk, "comment": comment.pk}
