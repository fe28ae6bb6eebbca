"""How far each system of the demo has come, told through the services."""

from __future__ import annotations

from datetime import timedelta

from django.utils import timezone

from commissioning.models import AlarmOutcome, CheckLine, Instrument, Outcome, Project, Stage, StageKind, System
from commissioning.services import alarms, concessions, lines, procedures, stages
from commissioning.services.instruments import add_calibration
from deploy.demo import walk
from deploy.demo.certificates import certificate
from deploy.demo.pictures import loose_cable
from deploy.demo.walk import Team
from punchlist.models import PunchItem
from punchlist.services import items, photos

MECHANICAL, PRE, ENERGISATION, BATTERY = StageKind.values
#: Days from today to the next calibration; one has run out, so that the product is seen to refuse it.
DUE_IN_DAYS = {"MM-2207": 140, "IT-0915": 190, "TH-3318": 230, "CM-1102": -25, "MO-0034": 68}


def calibrate(team: Team, project: Project) -> None:
    today = timezone.now().date()
    for number, instrument in enumerate(Instrument.objects.filter(project=project).order_by("serial_number"), start=1):
        due = today + timedelta(days=DUE_IN_DAYS[instrument.serial_number])
        done, label = due - timedelta(days=365), f"C-{due.year - 2001}-{400 + number:04d}"
        add_calibration(
            actor=team.manager,
            instrument=instrument,
            calibrated_on=done,
            due_on=due,
            certificate_number=label,
            certificate=certificate(instrument, number=label, calibrated_on=done, due_on=due),
        )


def lay_out_procedures(team: Team, project: Project) -> None:
    for system in System.objects.filter(project=project).order_by("tag"):
        procedure = procedures.copy_procedure(actor=team.manager, project=project, key=system.kind, version=1)
        procedures.apply_procedure(actor=team.manager, system=system, procedure=procedure)


def tell(team: Team, project: Project) -> None:
    """Every system to where it stands in the demo."""
    systems = {system.tag: system for system in System.objects.filter(project=project).select_related("project")}
    finish_switchgear_supply(team, systems["QPS-GUA10"])
    finish_lv_board(team, systems["QPS-BFA10"])
    begin_board(team, systems["QPS-BUA10"])
    ups_in_dead_tests(team, systems["TTW-BRA10"])
    telecom_supply_being_energised(team, systems["TTW-GUB10"])
    outfall_waits(team, systems["VOF-GUC10"])


def stage_of(system: System, kind: str) -> Stage:
    return Stage.objects.select_related("system__project").get(system=system, kind=kind)


def done_and_accepted(team: Team, system: System, *kinds: str) -> None:
    for kind in kinds:
        walk.do_stage(team, stage_of(system, kind))
        walk.accept(team, stage_of(system, kind))


def finish_switchgear_supply(team: Team, system: System) -> None:
    """All four gates: with a real fault behind an alarm, and one alarm that waits for the battery."""
    walk.isolate(team, system)
    done_and_accepted(team, system, MECHANICAL, PRE)
    walk.do_stage(team, stage_of(system, ENERGISATION), until="en-160")
    three_alarms(team, system)
    walk.do_stage(team, stage_of(system, ENERGISATION))
    walk.isolate(team, system)
    walk.accept(team, stage_of(system, ENERGISATION))
    walk.do_stage(team, stage_of(system, BATTERY))
    for alarm in system.alarms.filter(outcome=AlarmOutcome.EXPECTED):
        alarms.clear_alarm(actor=team.engineer, alarm=alarm, remark="Cleared when the battery isolator was closed.")
    items.raise_item(
        actor=team.client,
        system=system,
        stage=stage_of(system, BATTERY),
        category="C",
        text="Spare fuse holder in the battery box has no lid",
        equipment=system.equipment.get(tag="QPS-GUA10-G1"),
        owes_company="Pellwick Electrical",
    )
    walk.accept(team, stage_of(system, BATTERY))


def three_alarms(team: Team, system: System) -> None:
    stage = stage_of(system, ENERGISATION)
    earth = alarms.log_alarm(actor=team.engineer, stage=stage, text="EARTH FAULT")
    alarms.decide_alarm(
        actor=team.engineer,
        alarm=earth,
        outcome=AlarmOutcome.EXPLAINED,
        explanation="The earth-fault monitor was still off; it cleared once the monitor was switched on.",
    )
    alarms.clear_alarm(actor=team.engineer, alarm=earth)
    absent = alarms.log_alarm(actor=team.engineer, stage=stage, text="BATTERY DISCONNECTED")
    alarms.decide_alarm(
        actor=team.engineer,
        alarm=absent,
        outcome=AlarmOutcome.EXPECTED,
        explanation="No battery is connected in this stage.",
        expected_until=stage_of(system, BATTERY),
    )
    detector = system.equipment.get(tag="QPS-GUA10-F2")
    fuse = alarms.log_alarm(actor=team.engineer, stage=stage, text="BATTERY FUSE FAILURE", equipment=detector)
    alarms.decide_alarm(actor=team.engineer, alarm=fuse, outcome=AlarmOutcome.GENUINE, explanation="A real fault.")
    item = items.raise_item(
        actor=team.engineer,
        system=system,
        stage=stage,
        category="A",
        text="Cable off the fuse detector, found behind the cover of the battery box",
        equipment=detector,
        alarm=fuse,
        owes=team.second_engineer,
    )
    photos.add_photo(actor=team.engineer, item=item, file=loose_cable(), caption="Terminal 4, cable off")
    items.rectify_item(actor=team.second_engineer, item=item, remark="Cable put back and tightened; alarm cleared.")
    items.close_item(actor=team.manager, item=fresh(item), remark="Seen in place, alarm clear.")
    alarms.clear_alarm(actor=team.engineer, alarm=fuse)


def fresh(item: PunchItem) -> PunchItem:
    return PunchItem.objects.get(pk=item.pk)


def finish_lv_board(team: Team, system: System) -> None:
    """All three gates, one of them with a concession."""
    walk.isolate(team, system)
    done_and_accepted(team, system, MECHANICAL, PRE)
    walk.do_stage(team, stage_of(system, ENERGISATION), until="en-050")
    line = CheckLine.objects.get(stage=stage_of(system, ENERGISATION), key="en-050")
    walk.measure(team, line, {"ab": "388", "bc": "402", "ca": "405"})
    concessions.sign_concession(
        signed_by=team.manager,
        line=line,
        reason="Fed by the standby generator under a single-phase test load; measured again on the mains.",
        password=team.password(team.manager),
    )
    walk.witness(team, line)
    walk.do_stage(team, stage_of(system, ENERGISATION))
    walk.accept(team, stage_of(system, ENERGISATION))


def begin_board(team: Team, system: System) -> None:
    walk.isolate(team, system)
    walk.do_stage(team, stage_of(system, MECHANICAL), until="mc-060")


def ups_in_dead_tests(team: Team, system: System) -> None:
    """Mechanical completion accepted; an insulation reading that does not reach its limit."""
    walk.isolate(team, system)
    done_and_accepted(team, system, MECHANICAL)
    walk.do_stage(team, stage_of(system, PRE), until="pe-060")
    line = CheckLine.objects.get(stage=stage_of(system, PRE), key="pe-060")
    lines.prove_dead(
        actor=team.engineer,
        line=line,
        point_of_work="rectifier input terminals",
        detector="two-pole voltage detector VD-07",
        proved_before=True,
        proved_after=True,
    )
    walk.measure(team, line, {"measured": "0.52", "temperature": "14", "circuit_voltage": "400", "test_voltage": "500"})
    items.raise_item(
        actor=team.engineer,
        system=system,
        stage=stage_of(system, PRE),
        category="A",
        text="Insulation of the AC input is low: gland on the input cable is wet",
        equipment=system.equipment.get(tag="TTW-BRA10-U1"),
        line=line,
        owes=team.second_engineer,
        due_on=timezone.now().date() + timedelta(days=3),
    )


def telecom_supply_being_energised(team: Team, system: System) -> None:
    """Recorded LIVE, in the middle of its first energisation, with an alarm that nobody has explained yet."""
    walk.isolate(team, system)
    done_and_accepted(team, system, MECHANICAL, PRE)
    walk.do_stage(team, stage_of(system, ENERGISATION), until="en-160")
    alarms.log_alarm(actor=team.engineer, stage=stage_of(system, ENERGISATION), text="BATTERY DISCONNECTED")
    alarms.log_alarm(
        actor=team.engineer,
        stage=stage_of(system, ENERGISATION),
        text="BATTERY FUSE FAILURE",
        equipment=system.equipment.get(tag="TTW-GUB10-F2"),
    )
    walk.prove_signal(team, system.signals.get(tag="TTW-GUB10-K1"))


def outfall_waits(team: Team, system: System) -> None:
    """Started, nothing isolated yet: the product says 'not recorded - treat as LIVE' and refuses dead work."""
    stage = stages.start_stage(actor=team.engineer, stage=stage_of(system, MECHANICAL))
    line = CheckLine.objects.get(stage=stage, key="mc-010")
    lines.record_result(
        actor=team.engineer,
        line=line,
        outcome=Outcome.FAILED,
        remark="No lock fits the temporary supply's isolator: ordered for tomorrow.",
    )
