"""Every write that creates is safe to send twice, and one UUID with other content is a conflict."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db.models import Model
from django.urls import reverse
from django.utils import timezone

from commissioning.models import (
    Acceptance,
    AlarmSighting,
    AuditEntry,
    Calibration,
    CheckLine,
    CheckResult,
    Concession,
    Equipment,
    Instrument,
    InstrumentRange,
    PermissionToEnergise,
    ProcedureLine,
    ProofOfDead,
    Reading,
    SignalPoint,
    SignalProof,
    Site,
    StageDependency,
    StageKind,
    SupplyChange,
    SupplyPoint,
    System,
    VerificationRun,
    Witnessing,
    WitnessNotice,
)
from commissioning.services.instruments import withdraw_calibration
from punchlist.models import PunchItem
from tests.commissioning.api.asking import filled
from tests.commissioning.api.conftest import speaks_for
from tests.commissioning.api.matrix import ROWS
from tests.commissioning.api.plant import Names, build
from tests.support.lifecycle import accept, do_stage, equip, isolate_all
from tests.support.world import PASSWORD, World

pytestmark = pytest.mark.django_db
LATER, LATER_STILL = "2099-01-01T00:00:00Z", "2099-01-02T00:00:00Z"


@dataclass(frozen=True)
class Case:
    """A create: who sends it, where, the body, and what else the same UUID may not come back with."""

    address: str
    model: type[Model]
    body: dict[str, Any]
    others: tuple[dict[str, Any], ...]
    of: str = ""
    who: str = "engineer"


CASES = (
    Case("api-line-results", CheckResult, {"outcome": "failed", "remark": "Loose"},
         ({"outcome": "not_applicable"}, {"remark": "Tight"}, {"at": "2031-01-01T00:00:00Z"}), of="line"),
    Case("api-line-reopen", CheckResult, {"reason": "Looked again"}, ({"reason": "Other"},), of="failed"),
    Case("api-line-readings", Reading, {"typed": "@typed", "remark": "Second try"},
         ({"typed": {}}, {"remark": ""}, {"instruments": {"": "@instrument"}}), of="measured"),
    Case("api-equipment-readings", Reading,
         {"calculation": "ac_supply_tolerance", "typed": {"measured": "231", "nominal": "230"}},
         ({"typed": {"measured": "232", "nominal": "230"}}, {"instruments": {"measured": "@instrument"}},
          {"calculation": "guard_banded_decision", "typed": {"value": "231"}}), of="equipment"),
    Case("api-line-proofs", ProofOfDead,
         {"point_of_work": "Terminals of Q1", "detector": "VD-7", "proved_before": True, "proved_after": True},
         ({"point_of_work": "Terminals of Q2"}, {"detector": "VD-8"}), of="line"),
    Case("api-line-notices", WitnessNotice, {"planned_for": LATER}, ({"planned_for": LATER_STILL}, {"words": "Come"}),
         of="hold"),
    Case("api-line-witnessings", Witnessing, {"remark": "Seen"}, ({"remark": "Not seen"},), of="hold", who="client"),
    Case("api-line-concessions", Concession, {"reason": "Spare way", "password": PASSWORD}, ({"reason": "Agreed"},),
         of="failed", who="manager"),
    Case("api-supply-isolate", SupplyChange, {"lock_number": "L9", "remark": "Key with me"},
         ({"lock_number": "L8"}, {"remark": ""}), of="supply"),
    Case("api-alarms", AlarmSighting, {"stage": "@stage", "text": "Earth fault negative"},
         ({"text": "Earth fault positive"}, {"equipment": "@equipment"}, {"stage": "@later_stage"})),
    Case("api-signal-force", SignalProof, {}, ({"at": "2031-01-01T00:00:00Z"},), of="signal"),
    Case("api-instruments", Instrument, {"serial_number": "IR-1", "description": "Insulation tester"},
         ({"serial_number": "IR-2"}, {"description": "Tester"}, {"maker": "Calder"})),
    Case("api-instrument-ranges", InstrumentRange, {"unit": "V", "upper": 1000, "counts": 3},
         ({"upper": 2000}, {"counts": 4}, {"unit": "mV"}), of="instrument"),
    Case("api-instrument-calibrations", Calibration, {"calibrated_on": "2031-01-01", "due_on": "2032-01-01"},
         ({"due_on": "2033-01-01"}, {"certificate_number": "C-1"}), of="instrument"),
    Case("api-verification-runs", VerificationRun, {"reason": "Nameplate corrected", "system": "@system"},
         ({"reason": "Other"}, {"calculation": "ripple"})),
    Case("api-sites", Site, {"code": "VXO", "name": "Vexley Outfall"},
         ({"code": "VXP"}, {"name": "Vexley"}, {"notes": "Sign in"}, {"time_zone": "Europe/London"}), who="manager"),
    Case("api-systems", System, {"site": "@site", "tag": "UPS9", "name": "Control room", "kind": "ups"},
         ({"tag": "UPS8"}, {"name": "Control"}, {"kind": "dc_board"}, {"nameplate": {"cells": 60}}), who="manager"),
    Case("api-equipment-list", Equipment,
         {"system": "@system", "tag": "B9", "kind": "battery", "nameplate": {"cells": "60"}, "parent": "@equipment"},
         ({"tag": "B8"}, {"kind": "rectifier"}, {"nameplate": {}}, {"parent": None}, {"system": "@other_system"},
          {"serial_number": "NC-7"})),
    Case("api-supplies", SupplyPoint, {"system": "@system", "tag": "Q9", "kind": "incomer"},
         ({"tag": "Q8"}, {"kind": "battery"}, {"description": "Way 6"}, {"system": "@other_system"})),
    Case("api-signals", SignalPoint, {"system": "@system", "tag": "K9", "description": "Earth fault", "order": 3},
         ({"tag": "K8"}, {"order": 4}, {"equipment": "@equipment"}, {"direction": "input"},
          {"system": "@other_system"})),
    Case("api-dependencies", StageDependency, {"stage": "@later_stage", "requires": "@other_stage"},
         ({"stage": "@stage"},), who="manager"),
    Case("api-procedure-lines", ProcedureLine,
         {"stage_kind": "energisation", "title": "Look at the door", "timer_seconds": 15},
         ({"title": "Look"}, {"stage_kind": "pre_energisation"}, {"timer_seconds": 16}, {"caution": "Live parts"}),
         of="procedure", who="manager"),
    Case("api-dossier-comment-put", PunchItem, {"system": "@system", "category": "B"},
         ({"category": "C"}, {"system": "@other_system"}, {"equipment": "@equipment"}), of="comment"),
)  # fmt: skip
#: Creates that are shown elsewhere: below, in the tests of their own rooms, or made safe by another key.
ELSEWHERE = {
    "api-token", "api-procedures", "api-permissions", "api-dossiers", "api-recordings", "api-punch-items",
    "api-register-plans", "api-register-lay-out",
    "api-punch-rectify", "api-punch-photos", "api-stage-accept", "api-supply-release",
}  # fmt: skip


def test_every_create_is_among_the_cases() -> None:
    creating = {row.name for row in ROWS if 201 in row.answers}
    assert creating <= {case.address for case in CASES} | ELSEWHERE


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.address)
def test_a_create_sent_twice_is_there_once_and_other_content_is_a_conflict(small_world: World, case: Case) -> None:
    plant = build(small_world)
    client = speaks_for(getattr(small_world, case.who))
    words = {"code": plant["code"], **({"id": plant[case.of].pk} if case.of else {})}
    key, before = str(uuid4()), case.model._default_manager.count()
    body = {"id": key, **filled(case.body, plant)}
    sent = [client.post(reverse(case.address, kwargs=words), body) for _ in range(2)]
    assert [answer.status_code for answer in sent] == [201, 200], sent[0].data
    assert sent[0].data == sent[1].data
    assert sent[0].data["id"] == key
    assert case.model._default_manager.count() == before + 1
    entries = AuditEntry.objects.count()
    for other in case.others:
        answer = client.post(reverse(case.address, kwargs=words), {**body, **filled(other, plant)})
        assert (answer.status_code, answer.data["type"]) == (409, "/problems/conflict"), (other, answer.data)
    assert AuditEntry.objects.count() == entries


def test_without_a_uuid_the_server_makes_one_each_time(small_world: World) -> None:
    plant = build(small_world)
    client, address = speaks_for(small_world.engineer), reverse("api-alarms", kwargs={"code": plant["code"]})
    body = {"stage": str(plant["stage"].pk), "text": "Earth fault"}
    first, second = (client.post(address, body) for _ in range(2))
    assert (first.status_code, second.status_code) == (201, 201)
    assert first.data["id"] != second.data["id"]


def test_a_uuid_of_somebody_elses_record_is_a_conflict(small_world: World) -> None:
    plant: Names = build(small_world)
    address = reverse("api-alarms", kwargs={"code": plant["code"]})
    body = {"id": str(plant["alarm"].pk), "stage": str(plant["stage"].pk), "text": plant["alarm"].text}
    assert speaks_for(small_world.second_engineer).post(address, body).status_code == 409
    assert speaks_for(small_world.engineer).post(address, body).status_code == 200


def test_a_repeat_is_known_again_after_the_record_was_changed_by_others(small_world: World) -> None:
    plant = build(small_world)
    client = speaks_for(small_world.engineer)
    made = reverse("api-instruments", kwargs={"code": plant["code"]})
    body = {"id": str(uuid4()), "serial_number": "IR-1", "description": "Insulation tester"}
    assert client.post(made, body).status_code == 201
    one = reverse("api-instrument", kwargs={"code": plant["code"], "id": body["id"]})
    assert client.patch(one, {"description": "Tester, 5 kV"}).status_code == 200
    again = client.post(made, body)
    assert (again.status_code, again.data["description"]) == (200, "Tester, 5 kV")


def test_a_repeated_calibration_stays_withdrawn(small_world: World) -> None:
    plant = build(small_world)
    client = speaks_for(small_world.engineer)
    words = {"code": plant["code"], "id": plant["instrument"].pk}
    address = reverse("api-instrument-calibrations", kwargs=words)
    body = {"id": str(uuid4()), "calibrated_on": "2031-01-01", "due_on": "2032-01-01"}
    assert client.post(address, body).status_code == 201
    withdraw_calibration(
        actor=small_world.engineer, calibration=Calibration.objects.get(pk=body["id"]), reason="Reference was out"
    )
    again = client.post(address, body)
    assert (again.status_code, again.data["withdrawn_reason"]) == (200, "Reference was out")


def test_a_gate_a_permission_and_a_release_are_safe_to_send_twice(small_world: World, base: str) -> None:
    equip(small_world)
    isolate_all(small_world)
    do_stage(small_world, StageKind.MECHANICAL_COMPLETION)
    first = small_world.stage(StageKind.MECHANICAL_COMPLETION)
    key = str(uuid4())
    body = {"id": key, "password": PASSWORD, "remark": "Walked"}
    client = speaks_for(small_world.client)
    sent = [client.post(f"{base}stages/{first.pk}/accept/", body) for _ in range(2)]
    assert [answer.status_code for answer in sent] == [201, 200], sent[0].data
    assert client.post(f"{base}stages/{first.pk}/accept/", {**body, "remark": "Other"}).status_code == 409
    assert Acceptance.objects.count() == 1

    do_stage(small_world, StageKind.PRE_ENERGISATION)
    accept(small_world, StageKind.PRE_ENERGISATION)
    energising = small_world.stage(StageKind.ENERGISATION)
    assert speaks_for(small_world.engineer).post(f"{base}stages/{energising.pk}/start/").status_code == 200
    supply = small_world.system.supplies.get(tag="Q1")
    until = (timezone.now() + timedelta(hours=8)).isoformat()
    permission = {
        "id": str(uuid4()), "stage": str(energising.pk), "supplies": [str(supply.pk)], "valid_until": until,
        "password": PASSWORD,
    }  # fmt: skip
    signer = speaks_for(small_world.manager)
    assert [signer.post(f"{base}permissions/", permission).status_code for _ in range(2)] == [201, 200]
    battery = small_world.system.supplies.get(tag="Q2")
    for other in ({"supplies": [str(supply.pk), str(battery.pk)]}, {"precautions": "None"}):
        assert signer.post(f"{base}permissions/", {**permission, **other}).status_code == 409
    assert PermissionToEnergise.objects.count() == 1

    release = {"id": str(uuid4()), "permission": permission["id"]}
    engineer = speaks_for(small_world.engineer)
    address = f"{base}supplies/{supply.pk}/release/"
    assert [engineer.post(address, release).status_code for _ in range(2)] == [201, 200]
    assert engineer.post(address, {**release, "remark": "Other"}).status_code == 409
    assert engineer.get(f"{base}systems/{small_world.system.pk}/").data["energy"]["words"] == "LIVE"
    refused = engineer.post(f"{base}supplies/{battery.pk}/release/", {"permission": permission["id"]})
    assert refused.status_code == 422
    assert {"not_named", "battery_too_early"} <= {one["code"] for one in refused.data["blockers"]}
    dead = CheckLine.objects.filter(stage=energising, work="dead").first()
    if dead is not None:
        assert engineer.post(f"{base}lines/{dead.pk}/results/", {"outcome": "passed"}).status_code == 422
