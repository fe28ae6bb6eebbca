"""Does the work of a stage as its people would: line by line, by the services, each under their own name."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import timedelta
from io import BytesIO

from django.utils import timezone

from commissioning.models import (
    Acceptance,
    CheckLine,
    Instrument,
    LineState,
    Outcome,
    Point,
    Role,
    SignalPoint,
    Stage,
    SupplyState,
    System,
    User,
)
from commissioning.services import lines, readings, recordings, signals, stages, supplies
from deploy.demo.logs import LOGGER
from deploy.demo.readings import sound_inputs

NOT_LOGGED = "The maker's own log of the works test stands for it; its report is in the maker's file."


@dataclass(frozen=True)
class Team:
    """Who does what, and the password that the signers sign with."""

    manager: User
    engineer: User
    second_engineer: User
    client: User
    passwords: dict[int, str]
    meters: tuple[Instrument, ...] = ()
    logger: Callable[[CheckLine], bytes] | None = None

    def password(self, user: User) -> str:
        return self.passwords[user.pk]

    def witness(self, line: CheckLine) -> User:
        return self.client if (line.party or Role.CLIENT) == Role.CLIENT else self.manager

    def meter(self, unit: str) -> Instrument | None:
        """The first instrument with a range in the unit."""
        return next((one for one in self.meters if any(row.unit == unit for row in one.ranges.all())), None)


def isolate(team: Team, system: System) -> None:
    for number, supply in enumerate(system.supplies.order_by("tag"), start=1):
        supplies.isolate_supply(actor=team.engineer, supply=supply, lock_number=f"{system.tag[-4:]}-{number:02d}")


def release(team: Team, stage: Stage, *, battery: bool) -> None:
    """A permission for the stage by the authorised person, then each supply that it names."""
    named = list(stage.system.supplies.all() if battery else stage.system.supplies.exclude(kind="battery"))
    permission = supplies.sign_permission(
        signed_by=team.manager,
        stage=stage,
        supplies=named,
        valid_until=timezone.now() + timedelta(hours=10),
        password=team.password(team.manager),
        precautions="Barriers up, second person at the incomer, emergency stop shown to everybody in the room.",
    )
    for supply in named:
        if supply.state != SupplyState.RELEASED:
            supplies.release_supply(actor=team.engineer, supply=supply, permission=permission)


def do_line(team: Team, line: CheckLine) -> None:
    """One line, soundly: proof of dead where a voltage is injected, the answer, and the witness that it names."""
    if line.injects_voltage:
        lines.prove_dead(
            actor=team.engineer,
            line=line,
            point_of_work="at the terminals under test",
            detector="two-pole voltage detector VD-07",
            proved_before=True,
            proved_after=True,
        )
    if any(spec["kind"] == "recording" for spec in line.inputs.values()):
        log_test(team, line)
    elif line.calculation:
        measure(team, line, sound_inputs(line))
    else:
        lines.record_result(actor=team.engineer, line=line, outcome=Outcome.PASSED, values=sound_inputs(line))
    witness(team, line)


def log_test(team: Team, line: CheckLine) -> None:
    """The log of the team's logger: uploaded, its columns confirmed as guessed, read. Without one it is left out."""
    if team.logger is None:
        lines.record_result(actor=team.engineer, line=line, outcome=Outcome.NOT_APPLICABLE, remark=NOT_LOGGED)
        return
    recording = recordings.upload_recording(
        actor=team.engineer,
        system=line.stage.system,
        line=line,
        file=BytesIO(team.logger(line)),
        name=f"{line.stage.system.tag} discharge test, synthetic.csv",
    )
    thermometer = team.meter("°C")
    recording = recordings.confirm_columns(
        actor=team.engineer,
        recording=recording,
        column_map=recording.column_map,
        inputs=LOGGER,
        instruments={"temperature": thermometer} if thermometer else {},
    )
    recordings.read_now_if_small(recording)
    if recording.error or recording.reading is None:
        raise RuntimeError(f"The log of the demo was not read: {recording.error}")


def measure(team: Team, line: CheckLine, typed: dict[str, str]) -> None:
    """A reading, with an instrument for each input that one of the team's can show."""
    used = {
        name: meter
        for name, spec in line.inputs.items()
        if spec["kind"] == "measured" and (meter := team.meter(spec.get("unit", "")))
    }
    readings.record_reading(actor=team.engineer, line=line, typed=typed, instruments=used)


def witness(team: Team, line: CheckLine) -> None:
    if line.point in (Point.HOLD, Point.WITNESS):
        lines.witness_line(actor=team.witness(line), line=line)


def open_lines(stage: Stage) -> Iterable[CheckLine]:
    return stage.lines.filter(retired_at__isnull=True, state=LineState.OPEN).order_by("order")


def do_stage(team: Team, stage: Stage, *, until: str = "") -> Stage:
    """Start a stage and do its open lines, up to the line of the key `until` if one is given."""
    stage = stages.start_stage(actor=team.engineer, stage=stage)
    if stage.kind in ("energisation", "battery_connected"):
        release(team, stage, battery=stage.kind == "battery_connected")
    for line in open_lines(stage):
        if line.key == until:
            return stage
        do_line(team, line)
    for point in stage.system.signals.filter(stage_kind=stage.kind):
        prove_signal(team, point)
    return stage


def prove_signal(team: Team, point: SignalPoint) -> None:
    proof = signals.force_signal(actor=team.engineer, point=point)
    seen_at = proof.forced_at + timedelta(seconds=1.4)
    signals.see_signal(actor=team.second_engineer, proof=proof, at=seen_at)
    signals.restore_signal(actor=team.engineer, proof=proof)


def accept(team: Team, stage: Stage) -> Acceptance:
    return stages.accept_stage(stage=stage, signed_by=team.client, password=team.password(team.client))
