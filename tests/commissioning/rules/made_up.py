"""Projects made up day by day, to hold a forecast against what then happens, by two processes.

`crews` knows nothing of the forecast's model: on each site a crew works on weekdays, at up to three systems by turns,
in batches of lines; what is wrong is mended by others after days or weeks; a delivery may be waited for; gates are
signed on certain days of the week only. `own` draws from the model that the forecast assumes.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from functools import cache

from commissioning.rules.forecast import Begun, Gate
from commissioning.rules.pace import Worked

KINDS = ("mechanical_completion", "pre_energisation", "energisation", "battery_connected")


@dataclass
class Made:
    """A gate with its whole life: when it was free, when each thing was done, when it passed."""

    id: str
    site: str
    kind: str
    lines: int
    waits_for: list[str] = field(default_factory=list)
    free: float = math.inf
    done: list[float] = field(default_factory=list)  # lines
    raised: list[float] = field(default_factory=list)
    closed: list[float] = field(default_factory=list)
    passed: float = math.inf


def plant(dice: random.Random, *, sites: int, systems: int) -> list[list[Made]]:
    """Systems of three or four gates; now and then one waits for a gate of another system."""
    found: list[list[Made]] = []
    for number in range(sites * systems):
        kinds = KINDS if dice.random() < 0.6 else KINDS[:3]
        gates = [
            Made(f"{number}-{kind}", f"S{number % sites}", kind, dice.randint(4, 22), [f"{number}-{KINDS[at - 1]}"])
            for at, kind in enumerate(kinds)
        ]
        gates[0].waits_for = []
        if number >= sites and dice.random() < 0.3:
            gates[-1].waits_for.append(found[dice.randrange(number - sites, number)][1].id)
        found.append(gates)
    return found


@cache
def crews(seed: int, *, sites: int = 6, systems: int = 6, days: int = 900) -> list[Made]:
    """Work as crews do it: day by day."""
    dice = random.Random(seed)
    whole = plant(dice, sites=sites, systems=systems)
    gates = {gate.id: gate for system in whole for gate in system}
    speed = {f"S{site}": dice.lognormvariate(0, 0.35) for site in range(sites)}
    hard = {kind: dice.uniform(0.6, 1.6) for kind in KINDS}
    held_up = {name: dice.paretovariate(1.6) * 4 if dice.random() < 0.12 else 0.0 for name in gates}
    signs = dice.sample(range(5), 3)
    for day in range(days):
        for site, crew in speed.items():
            open_here = [
                gate
                for system in whole
                if system[0].site == site
                for gate in system
                if gate.passed == math.inf and all(gates[one].passed <= day for one in gate.waits_for)
            ]
            # A crew has three systems in hand at most; the others wait their turn.
            in_hand = [gate for gate in open_here if gate.waits_for or gate.free < math.inf]
            fresh = [gate for gate in open_here if not gate.waits_for and gate.free == math.inf]
            if fresh and len(in_hand) < 3 and day % 7 < 5 and dice.random() < 0.15:
                in_hand.append(fresh[0])
            for gate in in_hand:
                if gate.free == math.inf:
                    gate.free = max((gates[one].passed for one in gate.waits_for), default=float(day))
            if day % 7 < 5 and in_hand:
                _work(dice, dice.choice(in_hand), day, crew, hard, held_up)
            for gate in in_hand:
                ready = len(gate.done) == gate.lines and all(one <= day for one in gate.closed)
                if ready and day % 7 in signs and dice.random() < 0.6:
                    gate.passed = day + dice.uniform(0.3, 0.7)
    return list(gates.values())


def _work(
    dice: random.Random, gate: Made, day: int, crew: float, hard: dict[str, float], held_up: dict[str, float]
) -> None:
    if day < gate.free + held_up[gate.id]:
        return
    batch = min(gate.lines - len(gate.done), int(dice.expovariate(1 / (4 * crew / hard[gate.kind])) + 0.5))
    for _ in range(batch):
        gate.done.append(day + dice.uniform(0.3, 0.7))
        if dice.random() < 0.15:
            gate.raised.append(gate.done[-1])
            gate.closed.append(gate.done[-1] + dice.lognormvariate(1.3, 0.9))


def own(seed: int, *, sites: int = 6, systems: int = 6) -> list[Made]:
    """Work as the model has it: a pace for the gate, things in bursts, systems begun one after the other."""
    dice = random.Random(seed)
    whole = plant(dice, sites=sites, systems=systems)
    gates = {gate.id: gate for system in whole for gate in system}
    site_of = {f"S{site}": dice.gauss(0, 0.35) for site in range(sites)}
    kind_of = {kind: dice.gauss(0, 0.3) for kind in KINDS}
    begins = 0.0
    for system in whole:
        begins += dice.expovariate(1 / 6)
        for gate in system:
            gate.free = max((gates[one].passed for one in gate.waits_for), default=begins)
            pace = math.exp(-0.3 + site_of[gate.site] + kind_of[gate.kind] + dice.gauss(0, 0.4))
            items = sum(dice.random() < 0.15 for _ in range(gate.lines))
            at = gate.free
            for place in range(gate.lines + items + 1):
                at += dice.gammavariate(1 / 3, 3) * pace
                if place < gate.lines:
                    gate.done.append(at)
                elif place < gate.lines + items:
                    gate.raised.append(dice.choice(gate.done))
                    gate.closed.append(at)
            gate.passed = at
    return list(gates.values())


def as_known(gates: list[Made], now: float) -> tuple[list[Worked], list[Gate], Begun]:
    """What is on record at a moment: nothing that happens later."""
    by_id = {gate.id: gate for gate in gates}
    left = [gate for gate in gates if gate.passed > now]
    begun = [gate for gate in gates if not gate.waits_for and gate.free <= now]
    first = [gate for gate in left if not gate.waits_for and gate.free > now]
    return (
        [_worked(gate, now) for gate in gates if gate.free < now],
        [_gate(gate, by_id, now) for gate in left],
        Begun(tuple(now - gate.free for gate in begun), tuple(gate.id for gate in first)),
    )


def _worked(gate: Made, now: float) -> Worked:
    passed = gate.passed <= now
    times = sorted([one for one in (*gate.done, *gate.closed) if one <= now] + ([gate.passed] if passed else []))
    return Worked(
        site=gate.site,
        kind=gate.kind,
        days=(gate.passed if passed else now) - gate.free,
        done=len(times),
        passed=passed,
        lines=sum(one <= now for one in gate.done),
        raised=sum(one <= now for one in gate.raised),
        gaps=tuple(later - sooner for sooner, later in zip([gate.free, *times], times, strict=False)),
    )


def _gate(gate: Made, by_id: dict[str, Made], now: float) -> Gate:
    return Gate(
        id=gate.id,
        site=gate.site,
        kind=gate.kind,
        lines=sum(one > now for one in gate.done) + gate.lines - len(gate.done),
        items=sum(raised <= now < closed for raised, closed in zip(gate.raised, gate.closed, strict=True)),
        waits_for=tuple(one for one in gate.waits_for if by_id[one].passed > now),
        in_hand_days=now - gate.free if gate.free <= now else None,
        done=sum(one <= now for one in (*gate.done, *gate.closed)),
    )
