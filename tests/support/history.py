"""A project's past, written straight into the tables: systems with stages that passed, lines done and items closed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from commissioning.models import Acceptance, CheckLine, Site, Stage, StageDependency, System, SystemKind
from punchlist.models import PunchItem
from tests.commissioning.rules.made_up import Made
from tests.support.world import World


def write_history(world: World, gates: Sequence[Made], *, now: float, ends: datetime) -> dict[str, Stage]:
    """The gates as they stand at `now`, which is the moment `ends`; nothing later is written."""
    sites = {code: Site(project=world.project, code=code, name=f"Outstation {code[1:]}") for code in
             sorted({gate.site for gate in gates})}  # fmt: skip
    Site.objects.bulk_create(sites.values())
    systems: dict[str, System] = {}
    for gate in gates:
        number = gate.id.partition("-")[0]
        if number not in systems:
            systems[number] = System(
                project=world.project,
                site=sites[gate.site],
                tag=f"GUB{int(number) + 100}",
                name="Telecom supply",
                kind=SystemKind.DC_POWER_VRLA,
            )
    System.objects.bulk_create(systems.values())
    stages = {gate.id: _stage(gate, systems, now, ends) for gate in gates}
    Stage.objects.bulk_create(stages.values())
    for gate in gates:
        _write(world, gate, stages, now, ends)
    world.project.punch_count = PunchItem.objects.filter(project=world.project).count()
    world.project.save(update_fields=["punch_count"])
    return stages


def _stage(gate: Made, systems: dict[str, System], now: float, ends: datetime) -> Stage:
    number, _, kind = gate.id.partition("-")
    state = "accepted" if gate.passed <= now else "started" if gate.free <= now else "not_started"
    order = ("mechanical_completion", "pre_energisation", "energisation", "battery_connected").index(kind) + 1
    started = None if gate.free > now else ends - timedelta(days=now - gate.free)
    return Stage(system=systems[number], kind=kind, order=order, state=state, started_at=started)


def _write(world: World, gate: Made, stages: dict[str, Stage], now: float, ends: datetime) -> None:
    stage = stages[gate.id]

    def moment(day: float) -> datetime | None:
        return ends - timedelta(days=now - day) if day <= now else None

    times = [moment(day) for day in gate.done] + [None] * (gate.lines - len(gate.done))
    CheckLine.objects.bulk_create(
        CheckLine(
            stage=stage,
            key=f"line-{place}",
            order=place,
            title=f"Terminals tight, row {place}",
            procedure_key="dc_power_vrla",
            state="passed" if at else "open",
            done_at=at,
            done_by=world.engineer if at else None,
        )
        for place, at in enumerate(times)
    )
    seen = [(moment(at), moment(closed)) for at, closed in zip(gate.raised, gate.closed, strict=True)]
    PunchItem.objects.bulk_create(_items(world, stage, [one for one in seen if one[0]]))
    if at := moment(gate.passed):
        Acceptance.objects.create(
            stage=stage,
            signed_by=world.manager,
            signed_name=world.manager.name,
            signed_role="manager",
            signed_at=at,
            signed_content={},
            signed_hash="0" * 64,
        )
    others = [name for name in gate.waits_for if stages[name].system_id != stage.system_id]
    StageDependency.objects.bulk_create(StageDependency(stage=stage, requires=stages[name]) for name in others)


def _items(world: World, stage: Stage, times: list[tuple[datetime | None, datetime | None]]) -> list[PunchItem]:
    first = PunchItem.objects.filter(project=world.project).count() + 1
    return [
        PunchItem(
            project=world.project,
            number=number,
            system=stage.system,
            stage=stage,
            category="A",
            state="closed" if closed else "open",
            text="Label missing on way 7",
            raised_by=world.engineer,
            raised_at=raised,
            owes_company=("Pellwick Electrical", "Tarnholt Cabling", "Grebe Switchgear")[number % 3],
            changed_at=closed or raised,
            closed_by=world.manager if closed else None,
            closed_at=closed,
        )
        for number, (raised, closed) in enumerate(times, start=first)
    ]
