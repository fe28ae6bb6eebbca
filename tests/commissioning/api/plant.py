"""One record of every kind that the API shows, in one small project."""

from __future__ import annotations

from datetime import timedelta
from io import BytesIO
from typing import Any
from uuid import uuid4

from django.utils import timezone

from commissioning.models import (
    CheckLine,
    Membership,
    OutboxItem,
    PermissionToEnergise,
    Reading,
    SignalProof,
    StageKind,
    VerificationChange,
)
from commissioning.register_import.uploads import look_at_upload
from commissioning.selectors.access import access_or_404
from commissioning.services import alarms, concessions, dossiers, lines, readings, recordings, register, stages
from commissioning.services.outbox import receive
from commissioning.services.outbox_deeds import Clock, Deed
from commissioning.services.verification import ask_verification
from punchlist.models import DossierComment
from punchlist.services.photos import add_photo
from tests.punchlist.making import make_item, picture
from tests.support.books import GOOD, xlsx
from tests.support.lifecycle import equip, isolate_all, make_instrument, typed_for
from tests.support.log_lines import as_csv, sound_test
from tests.support.world import PASSWORD, World, make_system

Names = dict[str, Any]


def build(world: World) -> Names:
    """The records, by the word that the matrix calls each of them."""
    equip(world)
    meter = make_instrument(world)
    isolate_all(world)
    stage = stages.start_stage(actor=world.engineer, stage=world.stage(StageKind.MECHANICAL_COMPLETION))
    system = world.system
    plain, failed = CheckLine.objects.filter(stage=stage, calculation="", injects_voltage=False, point="none")[:2]
    measured = CheckLine.objects.filter(stage=stage).exclude(calculation="").order_by("order")[0]
    hold = CheckLine.objects.filter(stage__system=system, point="hold").order_by("stage__order", "order")[0]
    lines.record_result(actor=world.engineer, line=failed, outcome="failed", remark="Gland missing")
    reading = readings.record_reading(actor=world.engineer, line=measured, typed=typed_for(measured))
    run = ask_verification(actor=world.engineer, project=world.project, reason="Range of the meter corrected")
    point = register.create_signal_point(
        actor=world.engineer, system=system, tag="K1-1", description="Mains failed", stage_kind=stage.kind
    )
    item = make_item(world)
    other = make_system(site=world.site, tag="LV1", kind="lv_board")
    plan = look_at_upload(actor=world.manager, project=world.project, file=xlsx(GOOD), name="register.xlsx")
    procedure = world.project.procedures.get()
    dossier = dossiers.ask_dossier(
        actor=world.manager, project=world.project, scope="system", system=system, id=uuid4()
    )
    return {
        "code": world.project.code,
        "member": Membership.objects.get(user=world.client),
        "site": world.site,
        "system": system,
        "stage": stage,
        "later_stage": world.stage(StageKind.PRE_ENERGISATION),
        "equipment": system.equipment.get(tag="B1"),
        "line": plain,
        "failed": failed,
        "measured": measured,
        "typed": typed_for(measured),
        "hold": hold,
        "reading": reading,
        "concession": concessions.sign_concession(
            signed_by=world.manager, line=failed, reason="Spare way", password=PASSWORD
        ),
        "instrument": meter,
        "range": meter.ranges.first(),
        "calibration": meter.calibrations.first(),
        "supply": system.supplies.get(tag="Q1"),
        "permission": _permission(world),
        "alarm": alarms.log_alarm(actor=world.engineer, stage=stage, text="Battery fuse open"),
        "signal": point,
        "proof": SignalProof.objects.create(point=point, forced_by=world.engineer, forced_at=timezone.now()),
        "procedure": procedure,
        "procedure_line": procedure.lines.get(key="mc-150"),
        "line_key": "mc-150",
        "plan": plan,
        "digest": plan.result["digest"],
        "dependency": register.add_dependency(
            actor=world.manager, stage=world.stage(StageKind.ENERGISATION), requires=other.stages.get(order=1)
        ),
        "other_system": other,
        "other_stage": other.stages.get(order=2),
        "run": run,
        "job": run.job,
        "change": _change(run, reading),
        "dossier": dossier,
        "comment": DossierComment.objects.create(
            project=world.project, dossier=dossier, text="Torque?", by=world.client, at=timezone.now()
        ),
        "recording": recordings.upload_recording(
            actor=world.engineer, system=system, file=BytesIO(as_csv(sound_test().frame())), name="test.csv"
        ),
        "item": item,
        "photo": add_photo(actor=world.engineer, item=item, file=picture()),
        "sent": {"id": str(uuid4()), "kind": "reading", "made_at": "2031-05-04T09:00:00Z", "body": {}},
        "refused": _refused(world),
        "user": world.second_engineer,
        "calculation": "ac_supply_tolerance",
    }


def _permission(world: World) -> PermissionToEnergise:
    """A permission that has lapsed, of a stage that is still to come; the services would sign none yet."""
    now = timezone.now()
    permission = PermissionToEnergise.objects.create(
        system=world.system,
        stage=world.stage(StageKind.ENERGISATION),
        valid_from=now - timedelta(days=2),
        valid_until=now - timedelta(days=1),
        signed_by=world.manager,
        signed_name=str(world.manager),
        signed_role="manager",
        signed_at=now - timedelta(days=2),
        signed_content={},
        signed_hash="0" * 64,
    )
    permission.supplies.set(world.system.supplies.all())
    return permission


def _refused(world: World) -> OutboxItem:
    """A release that somebody tried to send from a phone."""
    now = timezone.now()
    access = access_or_404(user=world.engineer, project=world.project)
    deed = Deed(id=uuid4(), kind="release", system=world.system.pk, made_at=now, device_at=now, body={})
    receive(access=access, deeds=[deed], clock=Clock(now, now))
    return OutboxItem.objects.get(pk=deed.id)


def _change(run: Any, reading: Reading) -> VerificationChange:
    return VerificationChange.objects.create(
        run=run, reading=reading, verdict="reject", inputs=reading.inputs, result=reading.result
    )
